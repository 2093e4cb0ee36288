#include "sky/state.h"

#include <algorithm>

#include "sky/cloud.h"
#include "sun/air.h"
#include "sun/angle.h"

namespace fw::sky {
namespace {

sun::Air air_at(const Site& site, double temperature_c) { return {sun::pressure_pa(site.place.altitude_m), temperature_c}; }

State cloudless(const Site& site, Utc at, const sun::Position& sun, double pressure_pa, double albedo) {
  State s;
  s.at = at;
  s.sun = sun;
  s.towards_sun = sun::direction(sun.apparent_elevation_deg, sun.azimuth_deg);
  s.albedo = albedo;
  const int day = sun::day_of_year(at);
  s.dni_extra_wm2 = sun::extraterrestrial_wm2(day);
  s.airmass_relative = sun::airmass_relative(sun.apparent_elevation_deg);
  s.airmass_absolute = sun::airmass_absolute(s.airmass_relative, pressure_pa);
  s.clear = clear_ineichen(sun.apparent_elevation_deg, s.airmass_absolute, turbidity_on(site.turbidity, day),
                           site.place.altitude_m, s.dni_extra_wm2);
  s.now = s.clear;
  s.clear_share = s.clear.ghi_wm2 > 0 ? 1 : 0;
  s.sky_share = site.horizon.sky_share();
  s.sun_behind_horizon =
      !site.horizon.flat() && sun.apparent_elevation_deg < site.horizon.elevation_deg(sun.azimuth_deg);
  return s;
}

}  // namespace

Site site_at(const sun::Place& place, Climate climate) { return {place, default_turbidity(place, climate), {}}; }

State clear_state(const Site& site, Utc at, double air_temperature_c, double albedo) {
  const sun::Air air = air_at(site, air_temperature_c);
  return cloudless(site, at, sun::position(at, site.place, air), air.pressure_pa, albedo);
}

State clear_state(const Site& site, Utc at, sun::Ephemeris& ephemeris, double air_temperature_c, double albedo) {
  const sun::Air air = air_at(site, air_temperature_c);
  return cloudless(site, at, ephemeris.position(at, site.place, air), air.pressure_pa, albedo);
}

State under_cloud(State state, double cloud_cover) { return under_share_of_clear(state, share_under_cloud(cloud_cover)); }

State under_share_of_clear(State state, double share) {
  state.now = under_share(state.clear, share, state.sun.apparent_elevation_deg);
  state.clear_share = state.clear.ghi_wm2 > 0 ? std::max(share, 0.0) : 0;
  return state;
}

State under_measured_ghi(State state, double ghi_wm2) {
  if (state.clear.ghi_wm2 > 0) return under_share_of_clear(state, ghi_wm2 / state.clear.ghi_wm2);
  const double ghi = std::max(ghi_wm2, 0.0);
  state.now = {ghi, 0, ghi};
  state.clear_share = 0;
  return state;
}

}  // namespace fw::sky
