#include "outlook/load_model.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

namespace fw::outlook {
namespace {
constexpr std::size_t hours_kept = 21 * 24;
constexpr Span sustained = minutes{12};       // longer than a kettle
constexpr double heavy_above_w = 150;
constexpr Span heavy_at_least = hours{3};
constexpr double present_fades_h = 2;

double median(std::vector<double> v) {
  if (v.empty()) return 0;
  auto mid = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), mid, v.end());
  return *mid;
}
}  // namespace

void LoadModel::learn(Utc minute, int minute_of_day, double load_w, std::optional<double> air_c) {
  load_w = std::max(0.0, load_w);
  const Utc hour = floor_to(minute, hours{1});
  if (hour != hour_) {
    close_hour();
    hour_ = hour;
    hour_of_day_ = minute_of_day / 60;
  }
  minutes_.push_back(load_w);
  if (air_c) {
    air_sum_ += *air_c;
    ++air_count_;
  }
  recent_.emplace_back(minute, load_w);
  while (!recent_.empty() && minute - recent_.front().first >= minutes{30}) recent_.pop_front();
  last_ = {minute_of_day / 60, air_c};

  // Heavy: well above the habit of this hour and above what such hours have seen for a quarter of an hour.
  const double habit = usual(minute_of_day / 60, air_c).watts;
  const double limit = std::max(habit + heavy_above_w, std::max(habit * 1.5, top_of_usual(minute_of_day / 60) * 1.15));
  if (hours_.size() + minutes_.size() / 30 < 1) {
    heavy_since_.reset();
  } else if (load_w > limit) {
    if (!heavy_since_) heavy_since_ = minute;
  } else if (heavy_since_) {
    // A thermostat's short rest is no end: the last ten minutes on the whole decide.
    double sum = 0;
    int n = 0;
    for (const auto& [t, w] : recent_)
      if (minute - t < minutes{10}) sum += w, ++n;
    if (n == 0 || sum / n <= limit * 0.8) heavy_since_.reset();
  }
  heavy_.reset();
  if (heavy_since_ && minute - *heavy_since_ >= sustained) {
    std::vector<double> last;
    for (const auto& [t, w] : recent_)
      if (minute - t < minutes{10}) last.push_back(w);
    const double now_w = median(last);
    heavy_ = HeavyLoad{now_w, std::max(0.0, now_w - habit), minute - *heavy_since_ + minutes{1}};
  }
}

void LoadModel::close_hour() {
  if (minutes_.size() >= 20) {
    double sum = 0;
    for (double w : minutes_) sum += w;
    double peak = 0;
    const std::size_t n = minutes_.size();
    for (std::size_t i = 0; i + 12 <= n; ++i) {
      double low = minutes_[i];
      for (std::size_t k = i; k < i + 12; ++k) low = std::min(low, minutes_[k]);
      peak = std::max(peak, low);
    }
    auto sorted = minutes_;
    std::sort(sorted.begin(), sorted.end());
    hours_.push_back({hour_, hour_of_day_, sum / static_cast<double>(n), sorted[n / 4], peak,
                      air_count_ > 0 ? std::optional<double>(air_sum_ / air_count_) : std::nullopt});
    while (hours_.size() > hours_kept) hours_.pop_front();
    fit();
  }
  minutes_.clear();
  air_sum_ = 0;
  air_count_ = 0;
}

// Slope over day means (Theil 1950, Sen 1968), drawn toward none while the days are few or alike.
void LoadModel::fit() {
  struct Day { double load, air; };
  std::vector<Day> means;
  double air_all = 0;
  int n_all = 0;
  for (std::size_t end = hours_.size(); end >= 24; end -= 24) {
    double load = 0, air = 0;
    int n = 0;
    for (std::size_t i = end - 24; i < end; ++i)
      if (hours_[i].air_c) {
        load += hours_[i].mean_w;
        air += *hours_[i].air_c;
        ++n;
      }
    if (n >= 18) means.push_back({load / n, air / n});
  }
  for (const auto& h : hours_)
    if (h.air_c) air_all += *h.air_c, ++n_all;
  air_mean_ = n_all > 0 ? air_all / n_all : 0;
  std::vector<double> slopes;
  for (std::size_t i = 0; i < means.size(); ++i)
    for (std::size_t k = i + 1; k < means.size(); ++k)
      if (std::abs(means[i].air - means[k].air) >= 2) slopes.push_back((means[i].load - means[k].load) / (means[k].air - means[i].air));
  const double pairs = static_cast<double>(slopes.size());
  slope_ = slopes.empty() ? 0 : std::max(0.0, median(slopes)) * pairs / (pairs + 4);
}

double LoadModel::top_of_usual(int hour_of_day) const {
  double top = 0;
  for (const auto& h : hours_) {
    const int apart = std::abs(h.hour_of_day - hour_of_day);
    if (std::min(apart, 24 - apart) <= 1) top = std::max(top, h.peak_w);
  }
  return top;
}

LoadAhead LoadModel::usual(int hour_of_day, std::optional<double> air_c) const {
  if (hours_.empty()) {
    if (minutes_.empty() && recent_.empty()) return {};
    std::vector<double> w = minutes_;
    if (w.empty())
      for (const auto& r : recent_) w.push_back(r.second);
    const double m = median(w);
    return {m, m * 0.5};
  }
  auto at_air = [&](const Hour& h) { return std::max(0.0, h.mean_w - (air_c && h.air_c ? slope_ * (*air_c - *h.air_c) : 0)); };
  std::vector<double> all;
  for (const auto& h : hours_) all.push_back(at_air(h));
  // One kettle is not a habit: on the first day an hour counts little over the typical level, after three days up
  // to three times that and a kettle's worth.
  const double known = std::clamp((static_cast<double>(all.size()) - 12) / 60, 0.0, 1.0);
  const double cap = (1.25 + 1.75 * known) * median(all) + 250 * known;
  double sum = 0, weight = 0, sum2 = 0, all_sum = 0, all_weight = 0;
  for (std::size_t i = 0; i < hours_.size(); ++i) {
    const double age_days = static_cast<double>(hours_.size() - 1 - i) / 24;
    const double recency = std::exp(-age_days / 6);
    const double w = std::min(all[i], cap);
    all_sum += recency * w;
    all_weight += recency;
    const int d = std::abs(hours_[i].hour_of_day - hour_of_day);
    const int apart = std::min(d, 24 - d);
    const double near = apart == 0 ? 1 : apart == 1 ? 0.35 : apart == 2 ? 0.1 : 0;
    sum += near * recency * w;
    sum2 += near * recency * w * w;
    weight += near * recency;
  }
  const double overall = all_sum / all_weight;
  const double prior = 0.7;
  const double mean = (sum + prior * overall) / (weight + prior);
  const double variance = std::max(0.0, (sum2 + prior * overall * overall) / (weight + prior) - mean * mean);
  return {mean, std::sqrt(variance) + mean * 0.3 / (1 + weight)};
}

LoadAhead LoadModel::ahead(Span ahead, int hour_of_day, std::optional<double> air_c) const {
  LoadAhead u = usual(hour_of_day, air_c);
  if (heavy_) {
    const Span goes_on = std::max<Span>(heavy_at_least, heavy_->lasting);
    if (ahead < goes_on) return {std::max(u.watts, heavy_->watts), u.error_w};
    return u;
  }
  const auto now_w = present_w();
  if (now_w && last_) {
    const double off = *now_w - usual(last_->first, last_->second).watts;
    u.watts = std::max(0.0, u.watts + off * 0.7 * std::exp(-hours_of(ahead) / present_fades_h));
  }
  return u;
}

std::optional<double> LoadModel::present_w() const {
  if (recent_.empty()) return {};
  std::vector<double> w;
  for (const auto& r : recent_) w.push_back(r.second);
  return median(w);
}

std::optional<double> LoadModel::standing_w() const {
  std::vector<double> low;
  for (std::size_t i = hours_.size() > 24 ? hours_.size() - 24 : 0; i < hours_.size(); ++i) low.push_back(hours_[i].low_w);
  if (low.empty()) return present_w();
  std::sort(low.begin(), low.end());
  return low[low.size() / 5];
}

std::string LoadModel::snapshot() const {
  nlohmann::json rows = nlohmann::json::array();
  for (const auto& h : hours_) {
    nlohmann::json row{ms_of(h.from), h.hour_of_day, h.mean_w, h.low_w, h.peak_w, nullptr};
    if (h.air_c) row[5] = *h.air_c;
    rows.push_back(row);
  }
  return nlohmann::json{{"v", 1}, {"h", rows}}.dump();
}

void LoadModel::restore(std::string_view text) {
  *this = LoadModel{};
  const auto j = nlohmann::json::parse(text, nullptr, false);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  const auto rows = j.value("h", nlohmann::json::array());
  if (!rows.is_array()) return;
  for (const auto& row : rows) {
    if (!row.is_array() || row.size() != 6 || !row[0].is_number_integer() || !row[1].is_number_integer()) continue;
    if (!row[2].is_number() || !row[3].is_number() || !row[4].is_number()) continue;
    Hour h{utc_ms(row[0].get<std::int64_t>()), std::clamp(row[1].get<int>(), 0, 23), row[2].get<double>(), row[3].get<double>(),
           row[4].get<double>(), {}};
    if (row[5].is_number()) h.air_c = row[5].get<double>();
    hours_.push_back(h);
    if (hours_.size() > hours_kept) hours_.pop_front();
  }
  fit();
}

}  // namespace fw::outlook
