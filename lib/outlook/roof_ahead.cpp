#include "outlook/roof_ahead.h"

#include <algorithm>
#include <cmath>

namespace fw::outlook {
namespace {
constexpr double flat_below_deg = 15;
constexpr double falling_cm_per_h = 0.1;   // a forecast smears snowfall out; an hour with this much is one of snowfall
constexpr double recovered_after_h = 0.75;
constexpr double recovered_mm = 8;         // passes about an eighth of the light
}  // namespace

RoofAhead roof_ahead(const rig::Rig& rig, const std::vector<StringNow>& strings, const sky::Site& site, Utc now,
                     const std::vector<WeatherHour>& weather) {
  RoofAhead out;
  out.strings = strings;
  out.strings.resize(rig.strings.size());
  out.clean_w.resize(rig.strings.size());
  std::vector<roof::StringModel> paper;
  for (const auto& s : rig.strings) {
    out.tilt_deg.push_back(s.tilt_deg);
    paper.push_back(roof::string_model(s));
  }
  if (weather.empty()) return out;
  sun::Ephemeris ephemeris;
  const Utc end = weather.back().from + hours{1};
  for (Utc t = now; t < end;) {
    const Utc next = std::min(end, floor_to(t, step_length) + step_length);
    const Utc middle = t + (next - t) / 2;
    const auto i = std::clamp<std::ptrdiff_t>((middle - weather.front().from) / hours{1}, 0, std::ssize(weather) - 1);
    const WeatherHour& w = weather[static_cast<std::size_t>(i)];
    StepWeather step{t, hours_of(next - t), w.clear_share, w.share_error, w.air_c, w.snow_cm * hours_of(next - t), 0, 0, w.wind_ms};
    const double albedo = sky::State::albedo_default;
    const sky::State sky = sky::under_share_of_clear(sky::clear_state(site, middle, ephemeris, w.air_c, albedo), w.clear_share);
    step.ghi_wm2 = sky.now.ghi_wm2;
    step.sun_elevation_deg = sky.sun.apparent_elevation_deg;
    for (std::size_t s = 0; s < rig.strings.size(); ++s) {
      double power = 0;
      if (step.ghi_wm2 > 0) {
        const roof::Weather air{w.air_c, w.wind_ms.value_or(1)};
        power = out.strings[s].calibration
                    ? out.strings[s].calibration->power(sky, air, rig.bank.nominal_v * 1.04).limited_w
                    : roof::expected(paper[s], sky, air, rig.bank.nominal_v * 1.04).limited_w;
      }
      out.clean_w[s].push_back(power);
    }
    out.steps.push_back(step);
    t = next;
  }
  return out;
}

namespace {
/// Walks a layer through the steps; calls seen(step, layer at its middle).
template <class F>
void walk(const RoofAhead& roof, int string, std::optional<std::size_t> cleared_at, F&& seen) {
  snow::Layer layer = roof.strings[string].layer, left = layer;
  double snowing_on_bare_h = 0;
  const double tilt = roof.tilt_deg[string];
  bool cleared = false;
  for (std::size_t i = 0; i < roof.steps.size(); ++i) {
    const auto& s = roof.steps[i];
    if (cleared_at == i) {
      layer = {};
      snowing_on_bare_h = 0;
      cleared = true;
    }
    const snow::Exposure e{s.ghi_wm2, s.air_c, s.snow_cm, tilt, s.wind_ms.value_or(1), s.clear_share};
    snow::Layer next = layer_after(layer, e, s.hours);
    if (cleared && tilt < flat_below_deg && s.snow_cm / s.hours >= falling_cm_per_h) {
      snowing_on_bare_h += s.hours;
      next.water_mm = std::max(next.water_mm, recovered_mm * std::min(1.0, snowing_on_bare_h / recovered_after_h));
    }
    left = layer_after(left, e, s.hours);
    next.water_mm = std::min(next.water_mm, left.water_mm);
    seen(i, layer, next);
    layer = next;
  }
}
}  // namespace

std::vector<double> string_power(const RoofAhead& roof, int string, std::optional<std::size_t> cleared_at) {
  std::vector<double> out(roof.steps.size(), 0.0);
  walk(roof, string, cleared_at, [&](std::size_t i, const snow::Layer& a, const snow::Layer& b) {
    const double through = (snow::light_through(a.water_mm) + snow::light_through(b.water_mm)) / 2;
    out[i] = roof.clean_w[string][i] * roof.strings[string].standing_share * through;
  });
  return out;
}

std::vector<snow::Layer> layers_ahead(const RoofAhead& roof, int string) {
  std::vector<snow::Layer> out;
  walk(roof, string, std::nullopt, [&](std::size_t, const snow::Layer& a, const snow::Layer&) { out.push_back(a); });
  return out;
}

}  // namespace fw::outlook
