#include "journal/five.h"

#include <algorithm>
#include <utility>

namespace fw::journal {

namespace {

std::int64_t bucket(std::int64_t minute) {
  const std::int64_t r = minute % 5;
  return minute - (r < 0 ? r + 5 : r);
}

/// Rounded half away from zero.
std::int64_t divided(std::int64_t sum, std::int64_t n) { return (2 * sum + (sum < 0 ? -n : n)) / (2 * n); }

struct Mean {
  std::int64_t sum = 0, n = 0;
  void take(std::optional<std::int64_t> v) {
    if (v) sum += *v, ++n;
  }
  std::optional<std::int64_t> value() const { return n ? std::optional{divided(sum, n)} : std::nullopt; }
};

void lower(std::optional<std::int64_t>& a, std::optional<std::int64_t> b) {
  if (b && (!a || *b < *a)) a = b;
}
void higher(std::optional<std::int64_t>& a, std::optional<std::int64_t> b) {
  if (b && (!a || *b > *a)) a = b;
}

StringSample joined(const std::vector<StringSample>& m) {
  StringSample f = m.front();
  f.minute = bucket(f.minute);
  f.minutes = f.live = 0;
  f.split = {};

  std::array<int, cause_count> held{};
  for (const auto& s : m) ++held[static_cast<std::size_t>(s.cause)];
  const auto longest = std::max_element(m.begin(), m.end(), [&](const auto& a, const auto& b) {
    return held[static_cast<std::size_t>(a.cause)] < held[static_cast<std::size_t>(b.cause)];
  });
  f.cause = longest->cause;

  Mean power, voltage, current, confidence, expected, measured, sun, cover, depth, soil, soil_low, soil_high;
  std::vector<std::pair<int, int>> reasons;  // reason, minutes; in order of appearance
  std::int64_t both_measured = 0, both_expected = 0;
  for (const auto& s : m) {
    f.minutes += s.minutes;
    f.live += s.live;
    f.trusted = f.trusted && s.trusted;
    if (s.stage) f.stage = s.stage;
    power.take(s.power_dw);
    voltage.take(s.voltage_cv);
    current.take(s.current_ca);
    expected.take(s.expected_dw);
    measured.take(s.measured_dw);
    sun.take(s.sun_cdeg);
    cover.take(s.cover_pm);
    depth.take(s.depth_mm);
    soil.take(s.soiling_pm);
    soil_low.take(s.soiling_low_pm);
    soil_high.take(s.soiling_high_pm);
    for (std::size_t i = 0; i < f.split.size(); ++i) f.split[i] += s.split[i];
    if (s.index_pm && s.measured_dw) both_measured += *s.measured_dw, both_expected += s.expected_dw;
    if (s.cause != f.cause) continue;
    confidence.take(s.confidence_pm);
    const auto at = std::find_if(reasons.begin(), reasons.end(), [&](const auto& r) { return r.first == s.reason; });
    if (at == reasons.end()) reasons.emplace_back(s.reason, 1);
    else ++at->second;
  }
  f.reason = std::max_element(reasons.begin(), reasons.end(), [](const auto& a, const auto& b) { return a.second < b.second; })->first;
  f.confidence_pm = confidence.value().value_or(0);
  f.power_dw = power.value();
  f.voltage_cv = voltage.value();
  f.current_ca = current.value();
  f.expected_dw = expected.value().value_or(0);
  f.measured_dw = measured.value();
  f.sun_cdeg = sun.value().value_or(0);
  f.cover_pm = cover.value();
  f.depth_mm = depth.value();
  f.soiling_pm = soil.value();
  f.soiling_low_pm = soil_low.value();
  f.soiling_high_pm = soil_high.value();
  f.index_pm = both_expected > 0 ? std::optional{divided(both_measured * 1000, both_expected)} : std::nullopt;
  return f;
}

BankSample joined(const std::vector<BankSample>& m) {
  BankSample f = m.front();
  f.minute = bucket(f.minute);
  f.minutes = 0;
  Mean soc, voltage, current, air, cabin, load;
  for (const auto& s : m) {
    f.minutes += s.minutes;
    f.trusted = f.trusted && s.trusted;
    lower(f.cell_min_cc, s.cell_min_cc);
    higher(f.cell_max_cc, s.cell_max_cc);
    lower(f.permit, s.permit);
    lower(f.limit_da, s.limit_da);
    soc.take(s.soc_bp);
    voltage.take(s.voltage_mv);
    current.take(s.current_ma);
    air.take(s.air_cc);
    cabin.take(s.cabin_cc);
    load.take(s.load_dw);
  }
  f.soc_bp = soc.value();
  f.voltage_mv = voltage.value();
  f.current_ma = current.value();
  f.air_cc = air.value();
  f.cabin_cc = cabin.value();
  f.load_dw = load.value();
  return f;
}

template <class S>
std::vector<S> taken(std::vector<S>& rows) {
  std::sort(rows.begin(), rows.end(), [](const S& a, const S& b) { return a.seq < b.seq; });
  return std::exchange(rows, {});
}

}  // namespace

void StringFives::take(const StringSample& s) {
  auto& open = open_[s.string];
  if (!open.empty() && bucket(open.front().minute) != bucket(s.minute)) {
    closed_.push_back(joined(open));
    open.clear();
  }
  open.push_back(s);
}

std::vector<StringSample> StringFives::closed() { return taken(closed_); }

std::vector<StringSample> StringFives::finish() {
  for (auto& [string, open] : open_)
    if (!open.empty()) closed_.push_back(joined(open));
  open_.clear();
  return taken(closed_);
}

std::optional<std::int64_t> StringFives::first_open() const {
  std::optional<std::int64_t> first;
  for (const auto& [string, open] : open_)
    if (!open.empty()) lower(first, open.front().seq);
  return first;
}

void BankFives::take(const BankSample& s) {
  if (!open_.empty() && bucket(open_.front().minute) != bucket(s.minute)) {
    closed_.push_back(joined(open_));
    open_.clear();
  }
  open_.push_back(s);
}

std::vector<BankSample> BankFives::closed() { return taken(closed_); }

std::vector<BankSample> BankFives::finish() {
  if (!open_.empty()) closed_.push_back(joined(open_));
  open_.clear();
  return taken(closed_);
}

std::optional<std::int64_t> BankFives::first_open() const {
  return open_.empty() ? std::nullopt : std::optional{open_.front().seq};
}

}  // namespace fw::journal
