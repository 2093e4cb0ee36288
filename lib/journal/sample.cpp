#include "journal/sample.h"

#include <charconv>
#include <cmath>

#include "units/text.h"

namespace fw::journal {

namespace {

/// Scaled and rounded; what cannot be (NaN, beyond any sense) is 0.
std::int64_t scaled(double v, double per_unit) {
  const double s = v * per_unit;
  return std::isfinite(s) && std::fabs(s) < 1e15 ? std::llround(s) : 0;
}
std::optional<std::int64_t> scaled(std::optional<double> v, double per_unit) {
  if (!v || !std::isfinite(*v)) return std::nullopt;
  return scaled(*v, per_unit);
}

}  // namespace

std::int64_t clear_sky(const Split& s) {
  std::int64_t sum = 0;
  for (auto v : s) sum += v;
  return sum;
}

std::string_view name(Part p) {
  static constexpr std::array<std::string_view, part_count> names{"made",      "cloud", "snow",   "soiling", "shade",
                                                                  "curtailed", "cold",  "outage", "no_data", "unexplained"};
  return names[static_cast<std::size_t>(p)];
}

std::int64_t minute_of(Utc t) { return ms_of(floor_to(t, minutes{1})) / 60'000; }

StringSample packed(const StringRow& r) {
  StringSample s;
  const Verdict& v = r.verdict;
  s.minute = minute_of(r.when.utc);
  s.trusted = r.when.trusted;
  s.date = day_in(r.local_date).value_or(static_cast<int>(ms_of(floor_to(r.when.utc, days{1})) / 86'400'000));
  s.cause = v.cause;
  if (r.stage) s.stage = static_cast<int>(*r.stage);
  s.power_dw = scaled(r.power_w, 10);
  s.voltage_cv = scaled(r.voltage_v, 100);
  s.current_ca = scaled(r.current_a, 100);
  s.confidence_pm = scaled(v.confidence, 1000);
  s.index_pm = scaled(v.performance_index, 1000);
  s.expected_dw = scaled(v.expected_w, 10);
  s.measured_dw = scaled(v.measured_w, 10);
  s.live = s.measured_dw ? 1 : 0;
  s.sun_cdeg = scaled(v.sun_elevation_deg, 100);
  const LossSplit& l = v.split;
  s.split = {scaled(l.made_w, 10),      scaled(l.cloud_w, 10), scaled(l.snow_w, 10),   scaled(l.soiling_w, 10), scaled(l.shade_w, 10),
             scaled(l.curtailed_w, 10), scaled(l.cold_w, 10),  scaled(l.outage_w, 10), scaled(l.no_data_w, 10), 0};
  s.split[unexplained] = scaled(v.clear_sky_w, 10) - clear_sky(s.split);
  s.cover_pm = scaled(v.snow_cover, 1000);
  s.depth_mm = scaled(v.snow_cm, 10);
  s.soiling_pm = scaled(v.soiling_loss, 1000);
  s.soiling_low_pm = scaled(v.soiling_low, 1000);
  s.soiling_high_pm = scaled(v.soiling_high, 1000);
  return s;
}

BankSample packed(const BankRow& r) {
  BankSample s;
  s.minute = minute_of(r.when.utc);
  s.trusted = r.when.trusted;
  s.cell_min_cc = scaled(r.cell_min_c, 100);
  s.cell_max_cc = scaled(r.cell_max_c, 100);
  s.soc_bp = scaled(r.soc, 10'000);
  s.voltage_mv = scaled(r.voltage_v, 1000);
  s.current_ma = scaled(r.current_a, 1000);
  s.air_cc = scaled(r.air_c, 100);
  s.cabin_cc = scaled(r.cabin_c, 100);
  s.load_dw = scaled(r.load_w, 10);
  if (r.permit) s.permit = *r.permit ? 1 : 0;
  s.limit_da = scaled(r.current_limit_a, 10);
  return s;
}

std::optional<int> day_in(std::string_view iso) {
  if (iso.size() != 10 || iso[4] != '-' || iso[7] != '-') return std::nullopt;
  const auto part = [&](std::size_t at, std::size_t n) {
    int v = -1;
    const auto [end, ec] = std::from_chars(iso.data() + at, iso.data() + at + n, v);
    return ec == std::errc{} && end == iso.data() + at + n ? v : -1;
  };
  const int y = part(0, 4), m = part(5, 2), d = part(8, 2);
  if (y < 0 || m < 0 || d < 0) return std::nullopt;
  const std::chrono::year_month_day ymd{std::chrono::year{y}, std::chrono::month{static_cast<unsigned>(m)},
                                        std::chrono::day{static_cast<unsigned>(d)}};
  if (!ymd.ok()) return std::nullopt;
  return static_cast<int>(std::chrono::sys_days{ymd}.time_since_epoch().count());
}

std::string iso_day(int day) { return iso_utc(utc_ms(std::int64_t{day} * 86'400'000)).substr(0, 10); }

}  // namespace fw::journal
