#include "roof/expected.h"

#include <algorithm>
#include <cmath>

#include "roof/cell.h"
#include "sun/angle.h"

namespace fw::roof {

double Expected::aoi_deg() const { return std::acos(std::clamp(cos_aoi, -1.0, 1.0)) * sun::deg_per_rad; }

Expected expected(const StringModel& string, const sky::State& sky, const Weather& weather, double bank_v) {
  const StringSheet& sheet = string.sheet();
  Expected e;
  e.cos_aoi = sky::cos_incidence(sky.towards_sun, string.normal());
  e.cell_c = weather.air_c;
  if (sky.now.ghi_wm2 <= 0) return e;

  sky::Irradiance light = sky.now;
  if (sky.sun_behind_horizon) light.dni_wm2 = 0;
  const double cos_zenith = sky.towards_sun.up;
  const double cos_tilt = string.cos_tilt();
  const double tilt_deg = sheet.plane.tilt_deg;
  const double sky_diffuse =
      sheet.perez ? sky::sky_diffuse_perez_wm2(light, sky.dni_extra_wm2, sky.sun.apparent_zenith_deg(),
                                               sky.airmass_relative, e.cos_aoi, tilt_deg)
                  : sky::sky_diffuse_hay_davies_wm2(light, sky.dni_extra_wm2, cos_zenith, e.cos_aoi, cos_tilt);
  // The glow around the sun comes and goes with the beam when something stands in the way.
  const double glow =
      sky.dni_extra_wm2 > 0
          ? std::min(light.dhi_wm2 * light.dni_wm2 / sky.dni_extra_wm2 * std::max(e.cos_aoi, 0.0) /
                         std::max(cos_zenith, 0.01745),
                     sky_diffuse)
          : 0.0;
  e.poa.direct_wm2 = sky::direct_wm2(light.dni_wm2, e.cos_aoi);
  e.poa.sky_diffuse_wm2 = glow + (sky_diffuse - glow) * sky.sky_share;
  e.poa.ground_diffuse_wm2 = sky::ground_diffuse_wm2(light.ghi_wm2, sky.albedo, cos_tilt);

  const DiffuseIam& diffuse_iam = string.diffuse_iam();
  const double beam = e.poa.direct_wm2 * iam_beam(e.cos_aoi, sheet.glass) + glow * diffuse_iam.sky;
  const double rest = (e.poa.sky_diffuse_wm2 - glow) * diffuse_iam.sky + e.poa.ground_diffuse_wm2 * diffuse_iam.ground;
  e.effective_wm2 = beam + rest;
  e.cell_c = cell_faiman_c(e.poa.global_wm2(), weather.air_c, weather.wind_ms);
  if (e.effective_wm2 <= 0) return e;

  const Module& module = string.module();
  const double at_modules = module.p_mp_w(e.effective_wm2, e.cell_c) * string.modules() * (1 - sheet.loss_share);
  e.power_w = at_modules * (1 - std::min(sheet.wire_loss_share * at_modules / string.rated_w(), 0.5));
  e.beam_w = e.power_w * beam / e.effective_wm2;
  e.diffuse_w = e.power_w - e.beam_w;
  const double w_per_wm2 = e.power_w / e.effective_wm2;
  e.glow_w = glow * diffuse_iam.sky * w_per_wm2;
  e.ground_w = e.poa.ground_diffuse_wm2 * diffuse_iam.ground * w_per_wm2;
  e.even_sky_w = light.dhi_wm2 * 0.5 * (1 + cos_tilt) * sky.sky_share * diffuse_iam.sky * w_per_wm2;
  e.limited_w = std::min(e.power_w, controller_limit_w(sheet.controller, bank_v));
  e.v_mp_v = module.v_mp_v(e.effective_wm2, e.cell_c) * sheet.series;
  e.v_oc_v = module.v_oc_v(e.effective_wm2, e.cell_c) * sheet.series;
  e.i_mp_a = e.v_mp_v > 0 ? e.power_w / e.v_mp_v : 0.0;
  return e;
}

DayTable day_table(const StringModel& string, const sky::Site& site, Utc from, Utc to, Span step,
                   const Weather& weather, double albedo, double bank_v) {
  DayTable table;
  if (step <= Span::zero()) return table;
  sun::Ephemeris ephemeris;
  for (Utc at = from; at < to; at += step) {
    const sky::State sky = sky::clear_state(site, at, ephemeris, weather.air_c, albedo);
    table.rows.push_back({at, sky, expected(string, sky, weather, bank_v)});
    table.energy_wh += table.rows.back().expected.limited_w * hours_of(step);
  }
  return table;
}

}  // namespace fw::roof
