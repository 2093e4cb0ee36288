#include "outlook/roof_ahead.h"

#include <algorithm>
#include <cmath>

namespace fw::outlook {
namespace {
constexpr double flat_below_deg = 15;
constexpr double falling_cm_per_h = 0.1;   // a forecast smears snowfall out; an hour with this much is one of snowfall
constexpr double recovered_after_h = 0.75;
constexpr double faint_wm2 = 20;
constexpr double unbroken_share = 0.8;     // of the layer's water
constexpr double recovered_cover = 0.9;     // share of the light that is gone by then

/// The share of the cloudless light in an hour; a forecast of the light itself counts as much as one of the clouds, alone
/// where there is no other.
double share_of_clear(const WeatherHour& w, const sky::Site& site, sun::Ephemeris& ephemeris) {
  if (!w.irradiance_wm2) return w.clear_share;
  const double clear = sky::clear_state(site, w.from + minutes{30}, ephemeris, w.air_c).now.ghi_wm2;
  if (clear < faint_wm2) return w.clear_share;
  const double share = std::clamp(*w.irradiance_wm2 / clear, 0.02, 1.15);
  return w.by_cloud ? (share + w.clear_share) / 2 : share;
}
}  // namespace

RoofAhead roof_ahead(const rig::Rig& rig, const std::vector<StringNow>& strings, const sky::Site& site, Utc now,
                     const std::vector<WeatherHour>& weather) {
  RoofAhead out;
  out.strings = strings;
  out.strings.resize(rig.strings.size());
  out.clean_w.resize(rig.strings.size());
  out.plane_wm2.resize(rig.strings.size());
  std::vector<std::optional<roof::StringModel>> paper(rig.strings.size());
  for (std::size_t s = 0; s < rig.strings.size(); ++s) {
    out.tilt_deg.push_back(rig.strings[s].tilt_deg);
    if (!out.strings[s].calibration) paper[s] = roof::string_model(rig.strings[s]);
  }
  if (weather.empty()) return out;
  thread_local sun::Ephemeris ephemeris;   // the next plan looks at nearly the same days
  const Utc end = weather.back().from + hours{1};
  std::vector<double> shares;
  for (const auto& w : weather) shares.push_back(share_of_clear(w, site, ephemeris));
  Utc dark_until = now;
  for (Utc t = now; t < end;) {
    const Span length = t < now + near_span ? step_length : far_step_length;
    const Utc next = std::min(end, floor_to(t, length) + length);
    const Utc middle = t + (next - t) / 2;
    const auto i = std::clamp<std::ptrdiff_t>((middle - weather.front().from) / hours{1}, 0, std::ssize(weather) - 1);
    const WeatherHour& w = weather[static_cast<std::size_t>(i)];
    const double clear_share = shares[static_cast<std::size_t>(i)];
    const double h = hours_of(next - t);
    StepWeather step{t, h, clear_share, w.share_error, w.air_c, w.snow_cm * h, 0, -1, w.wind_ms};
    sky::State sky;
    if (middle >= dark_until) {
      sky = sky::under_share_of_clear(sky::clear_state(site, middle, ephemeris, w.air_c), clear_share);
      step.ghi_wm2 = sky.now.ghi_wm2;
      step.sun_elevation_deg = sky.sun.apparent_elevation_deg;
      // The sun climbs 15 degrees an hour at the most.
      if (step.sun_elevation_deg < -1) dark_until = middle + Span{static_cast<std::int64_t>((-1 - step.sun_elevation_deg) / 15.1 * 3.6e6)};
    }
    const roof::Weather air{w.air_c, w.wind_ms.value_or(1)};
    for (std::size_t s = 0; s < rig.strings.size(); ++s) {
      double power = 0, light = 0;
      if (step.ghi_wm2 > 0) {
        const double bank_v = rig.bank.nominal_v * 1.04;
        if (const auto* known = out.strings[s].calibration) {
          const roof::CalibratedPower p = known->power(sky, air, bank_v);
          power = p.limited_w;
          light = p.open.poa.global_wm2();
        } else {
          const roof::Expected e = roof::expected(*paper[s], sky, air, bank_v);
          power = e.limited_w;
          light = e.poa.global_wm2();
        }
      }
      out.clean_w[s].push_back(power);
      out.plane_wm2[s].push_back(light);
    }
    out.steps.push_back(step);
    t = next;
  }
  return out;
}

namespace {
snow::Exposure exposure(const RoofAhead& roof, int string, std::size_t i) {
  const StepWeather& s = roof.steps[i];
  return {roof.plane_wm2[string][i], s.air_c, s.snow_cm, roof.tilt_deg[string], s.wind_ms.value_or(1), s.clear_share};
}
}  // namespace

LeftAlone left_alone(const RoofAhead& roof, int string) {
  LeftAlone out;
  const std::size_t n = roof.steps.size();
  out.water_mm.reserve(n + 1);
  out.power_w.reserve(n);
  const auto& now = roof.strings[string];
  snow::Layer layer = now.layer;
  out.water_mm.push_back(layer.water_mm);
  double before = light_through(layer) * now.thick_pass;
  for (std::size_t i = 0; i < n; ++i) {
    layer = layer_after(layer, exposure(roof, string, i), roof.steps[i].hours);
    double after = light_through(layer);
    if (layer.water_mm > unbroken_share * now.layer.water_mm) after *= now.thick_pass;
    out.power_w.push_back(roof.clean_w[string][i] * now.standing_share * (before + after) / 2);
    out.water_mm.push_back(layer.water_mm);
    before = after;
  }
  return out;
}

void cleared_power(const RoofAhead& roof, int string, const LeftAlone& left, std::size_t cleared_at, std::size_t end,
                   std::vector<double>& power_w) {
  const double tilt = roof.tilt_deg[string], standing = roof.strings[string].standing_share;
  snow::Layer layer;
  double snowing_on_bare_h = 0, before = 1;
  for (std::size_t i = cleared_at; i < end; ++i) {
    const auto& s = roof.steps[i];
    if (layer.water_mm > 0 || s.snow_cm > 0) layer = layer_after(layer, exposure(roof, string, i), s.hours);
    if (tilt < flat_below_deg && s.snow_cm / s.hours >= falling_cm_per_h) {
      snowing_on_bare_h += s.hours;
      layer.water_mm = std::max(layer.water_mm, snow::water_for_cover(recovered_cover * std::min(1.0, snowing_on_bare_h / recovered_after_h), layer.density_kgm3));
    }
    layer.water_mm = std::min(layer.water_mm, left.water_mm[i + 1]);
    const double after = layer.water_mm > 0 ? light_through(layer) : 1;
    // two layers of the same water may differ in what they let through; cleared glass is never the worse for it
    power_w[i] = std::max(roof.clean_w[string][i] * standing * (before + after) / 2, left.power_w[i]);
    before = after;
  }
}

}  // namespace fw::outlook
