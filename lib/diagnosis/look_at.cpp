// From a minute's readings to what the evidence terms see.
#include <algorithm>
#include <cmath>

#include "diagnosis/state.h"
#include "sky/cloud.h"
#include "snow/layer.h"
#include "sun/angle.h"

namespace fw::diagnosis {

namespace {

constexpr double lowest_sun_deg = 2.5;   ///< below it nothing is looked at
constexpr double over_voltage_near = 0.995;  ///< of the controller's limit
constexpr double fixed_shade_doubt = 0.3;
// Estimates: an hour or two of forecast snow covers; without a forecast some snow every few cold days; how long it lies.
constexpr double snowfall_covers_min = 60, unforeseen_min = 4 * 1440, warm_melts_min = 240, thaw_melts_min = 1440, cold_lasts_min = 3 * 1440;
constexpr double fallen_counts_min = 720;
constexpr double bare_from = 0.7;   ///< of clear power: no snow worth a word lies there
constexpr double bright_from = 0.5;
constexpr double lean_rad = 0.01;   ///< how far a plane leans otherwise than believed; an estimate
constexpr double half_off = 0.02;   ///< so much a settled string with rows cut off may make too little for days; an estimate
constexpr Span frozen_after = minutes{30};
constexpr double at_rest_v = 0.5, in_daylight = 0.4;   ///< V; of open-circuit voltage, which little light suffices for

/// Snow now, by forecast and air. A forecast is off by hours at times.
double snowing_now(const RigMinute& m, std::optional<double> air) {
  if (air && *air > 2.5) return 0;
  if (!m.forecast) return 0;
  double chance = 0;
  for (const auto& row : m.forecast->rows) {
    if (!row.snow_cm || *row.snow_cm < 0.03) continue;
    const Span away = m.start < row.from ? row.from - m.start : m.start - (row.from + hours{1});
    if (away <= Span{0}) chance = std::max(chance, std::min(0.9, 0.5 + *row.snow_cm));
    else if (away < hours{2}) chance = std::max(chance, 0.25);
  }
  return chance;
}

/// The fall forecast about now, an hour early or late.
double fall_cm_h(const RigMinute& m, std::optional<double> air) {
  if ((air && *air > 2.5) || !m.forecast) return 0;
  double cm = 0;
  for (const auto& row : m.forecast->rows) {
    if (!row.snow_cm) continue;
    const Span since = m.start - row.from;
    cm += *row.snow_cm * (since < hours{-1} || since >= hours{2} ? 0 : since < hours{0} || since >= hours{1} ? 0.2 : 0.6);
  }
  return cm;
}

bool snow_forecast_near(const RigMinute& m) {
  if (!m.forecast) return false;
  for (const auto& row : m.forecast->rows)
    if (row.snow_cm && *row.snow_cm > 0.03 && row.from - hours{3} <= m.start && m.start <= row.from + hours{4}) return true;
  return false;
}

}  // namespace

/// A minute on, the chance that snow lies: it comes with the forecast, or unforeseen on cold days, and goes with warmth and time.
void Diagnosis::State::follow_snow_weather() {
  const double air = site_look.air_c.value_or(0);
  const double comes = (air > 2.5 ? 0 : site_look.has_forecast ? site_look.snowing / snowfall_covers_min : 1 / unforeseen_min);
  const double goes = air > 4 ? 1 / warm_melts_min : air > 1 ? 1 / thaw_melts_min : 1 / cold_lasts_min;
  snow_may_lie += (1 - snow_may_lie) * comes - snow_may_lie * goes;
}

void Diagnosis::State::look_at(const RigMinute& m) {
  SiteLook& l = site_look;
  l = {};
  l.since_bright_min = last_bright ? static_cast<double>((m.start - *last_bright) / minutes{1}) : 1e6;
  const ForecastHour* hour = m.forecast ? m.forecast->at(m.start) : nullptr;
  l.air_c = m.air_c ? m.air_c : (hour ? hour->air_c : std::nullopt);
  if (hour && hour->cloud) l.forecast_cloud = std::clamp(*hour->cloud, 0.0, 1.0);
  l.has_forecast = hour && hour->snow_cm;
  l.snowing = snowing_now(m, l.air_c);
  l.forecast_snow = snow_forecast_near(m);
  l.fall_cm_h = fall_cm_h(m, l.air_c);
  fallen_cm += l.fall_cm_h / 60 - fallen_cm / fallen_counts_min;
  l.fallen_cm = fallen_cm;
  if (l.forecast_snow) snow_was_forecast = m.start;
  l.snow_lately = !l.has_forecast || (snow_was_forecast && m.start - *snow_was_forecast < snow::forecast_counts_for);
  follow_snow_weather();
  l.soc = m.soc;
  l.bank_v = m.bank_voltage_v;
  l.bank_nominal_v = rig.bank.nominal_v;
  if (m.bank_current_a && rig.bank.capacity_ah > 0) l.bank_c_rate = *m.bank_current_a / rig.bank.capacity_ah;
  l.charge_allowed = m.charge_allowed;
  l.permit = !m.permit_known || m.permit;

  sky = sky::clear_state(site, m.start + seconds{30}, ephemeris, l.air_c.value_or(5));
  l.sun_elevation_deg = sky.sun.apparent_elevation_deg;
  highest_sun_deg = std::max(highest_sun_deg - 1.0 / 1440, l.sun_elevation_deg);
  if (l.sun_elevation_deg > 1) minutes_of_sun += 1;
  else minutes_of_sun = 0;
  if (m.irradiance_wm2 && sky.clear.ghi_wm2 > 30) l.irradiance_share = *m.irradiance_wm2 / sky.clear.ghi_wm2;

  if (l.sun_elevation_deg > 0)
    for (int k = 0; k < under_sky; ++k) {
      const auto i = static_cast<std::size_t>(k);
      const double share = share_at(k);
      const auto light = sky::under_share(sky.clear, share, l.sun_elevation_deg);
      sky_shares.global[i] = share;
      sky_shares.beam[i] = sky.clear.dni_wm2 > 0 ? light.dni_wm2 / sky.clear.dni_wm2 : 0;
      sky_shares.diffuse[i] = sky.clear.dhi_wm2 > 0 ? light.dhi_wm2 / sky.clear.dhi_wm2 : share;
    }
  if (l.sun_elevation_deg > 0)
    for (int k = under_sky; k < share_count; ++k) {
      const auto i = static_cast<std::size_t>(k);
      sky_shares.beam[i] = 0;
      sky_shares.diffuse[i] = rest_at(k);
      sky_shares.global[i] = sky.clear.ghi_wm2 > 0 ? rest_at(k) * sky.clear.dhi_wm2 / sky.clear.ghi_wm2 : 0.2;
    }
  l.hidden = l.sun_elevation_deg > -1 ? skyline.hidden(l.sun_elevation_deg, sky.sun.azimuth_deg) : Skyline::above_flat();
  l.hidden_before = hidden_before;
  hidden_before = l.hidden;
  bool looked = false;
  double brightest = 0;
  for (std::size_t i = 0; i < strings.size(); ++i) {
    const StringLook& look = strings[i].look = look_at(m, static_cast<int>(i));
    if (!look.usable) continue;
    looked = true;
    const double share = look.measured_w / std::max(1.0, look.clear_w);
    if (share > bare_from) strings[i].last_bare = m.start;
    brightest = std::max(brightest, share);
  }
  if (looked) l.brightest = brightest;
  if (looked && brightest > bright_from) last_bright = m.start;
}

StringLook Diagnosis::State::look_at(const RigMinute& m, int string) {
  StringMemory& s = strings[static_cast<std::size_t>(string)];
  const StringMinute& in = m.strings[static_cast<std::size_t>(string)];
  StringLook l;
  if (site_look.sun_elevation_deg <= 0) {
    s.frozen = false;
    return l;
  }
  const roof::Weather weather{site_look.air_c.value_or(5), m.wind_ms.value_or(1)};
  const roof::StringModel& real = s.calibration.corrected();
  const double bank_v = m.bank_voltage_v.value_or(rig.bank.nominal_v * 1.04);
  const roof::Expected e = roof::expected(real, sky, weather, bank_v);
  s.paper_expected = roof::expected(s.calibration.paper(), sky, weather, bank_v);
  const double haze = s.calibration.haze_factor(sky.airmass_absolute);
  const roof::Shade shade = s.calibration.shade(sky.sun.apparent_elevation_deg, sky.sun.azimuth_deg);
  l.clear_w = e.power_w * haze;
  l.open_beam_w = e.beam_w * haze;
  l.open_diffuse_w = l.clear_w - l.open_beam_w;
  l.glow_w = e.glow_w * haze;
  l.ground_w = e.ground_w * haze;
  l.even_sky_w = e.even_sky_w * haze;
  l.beam_w = l.open_beam_w * shade.beam;
  l.diffuse_w = l.open_diffuse_w * shade.diffuse;
  l.shade_total = shade.known ? shade.total : 1;
  l.seen = shade.seen;
  l.limit_w = roof::controller_limit_w(real.sheet().controller, bank_v);
  l.dim_gain = std::clamp(-real.sheet().module.gamma_per_k * (e.cell_c - weather.air_c), 0.0, 0.25);
  const double rated = real.rated_w();
  l.wake_w = std::clamp(0.008 * rated, 2.0, 6.0);
  const double tilt = real.sheet().plane.tilt_deg * 0.01745;
  l.plane_sigma = 0.22 * std::sin(std::min(tilt, 1.57));
  const double doubt = s.calibration.uncertainty();
  const double low = 0.25 / std::max(3.0, site_look.sun_elevation_deg);
  const double rounding = 0.8 / std::max(4.0, in.power_w.value_or(0));
  const double tilt_doubt = s.calibration.settled() ? 0 : 0.1 * std::sin(tilt);
  l.sigma = std::sqrt(0.02 * 0.02 + low * low + rounding * rounding + 0.25 * doubt * doubt);
  const double low_sun_deg = std::max(3.0, site_look.sun_elevation_deg);
  l.lean_sigma = lean_rad * sun::cos_deg(low_sun_deg) / sun::sin_deg(low_sun_deg) * l.open_beam_w / std::max(1.0, l.clear_w);
  l.bias = std::clamp(std::hypot(1.4 * std::hypot(doubt, tilt_doubt), 0.30 / std::max(3.0, site_look.sun_elevation_deg)), 0.035, 0.22);
  // a tree is not a wall, and its edge moves with the days
  l.bias = std::min(0.4, l.bias + fixed_shade_doubt * (1 - l.shade_total));
  if (s.calibration.settled()) l.half_bias = std::min(l.bias, half_off);
  l.film_pass = s.film.pass();

  // a value that stands still while the sun moves is not a measurement
  const bool at_limit = in.power_w && *in.power_w > 0.97 * l.limit_w;
  // ... nor is a night's voltage by day: a connected string would have more, one cut off stands near nothing
  const bool of_the_night = in.voltage_v && *in.voltage_v > at_rest_v && *in.voltage_v < in_daylight * e.v_oc_v && site_look.sun_elevation_deg > lowest_sun_deg;
  s.frozen = in.live && in.still_for >= frozen_after && (in.power_w.value_or(0) > l.wake_w || of_the_night) && !at_limit;
  l.usable = in.live && in.power_w && !s.frozen && site_look.sun_elevation_deg > lowest_sun_deg &&
             l.shaded_clear_w() > std::max(1.5 * l.wake_w, 0.012 * rated) && !s.off_by_owner;
  l.measured_w = in.power_w.value_or(0);
  if (l.usable && l.carries()) l.ratio_ln = std::log(l.measured_w / std::max(1.0, l.shaded_clear_w()));

  const double limit_v = real.sheet().controller.max_pv_voltage_v;
  l.over_voltage = in.live && in.voltage_v && limit_v < 1e8 && !l.carries() && *in.voltage_v > over_voltage_near * limit_v;
  if (l.over_voltage) {
    l.usable = false;
    l.volts = *in.voltage_v;
  }
  if (in.voltage_v && e.v_oc_v > 1 && real.module().voltage_known()) {
    l.has_volts = true;
    l.volts = *in.voltage_v;
    l.volts_to_open = l.volts / e.v_oc_v;
    if (l.carries() && l.clear_w > 1) {
      const int series = real.sheet().series;
      const auto expected_v = [&](double light_share) {
        const double effective = std::max(2.0, e.effective_wm2 * light_share);
        return real.module().v_mp_v(effective, weather.air_c + (e.cell_c - weather.air_c) * light_share) * series;
      };
      const double implied = std::clamp(l.measured_w / l.clear_w, 0.005, 1.4);
      const int rows = real.sheet().parallel;
      const double v = expected_v(implied);
      const double v2 = rows > 1 ? expected_v(std::min(1.5, implied * rows / (rows - 1.0))) : v;
      l.volts_ln = std::log(std::max(0.5, l.volts) / std::max(0.5, v)) - s.volts_bias.at(implied);
      l.volts_ln_doubled = std::log(std::max(0.5, l.volts) / std::max(0.5, v2)) - s.volts_bias.at(implied);
      l.volts_sigma = s.volts_bias.sigma(implied);
    }
  }
  return l;
}

}  // namespace fw::diagnosis
