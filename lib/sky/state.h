#pragma once
// The sky over one place at one instant: computed once, used for every string.
#include "sky/clear.h"
#include "sky/horizon.h"
#include "sky/irradiance.h"
#include "sun/position.h"

namespace fw::sky {

/// A place with what is known of its air and surroundings.
struct Site {
  sun::Place place;
  Turbidity turbidity{2.5, 2.5, 2.5, 2.5, 2.5, 2.5, 2.5, 2.5, 2.5, 2.5, 2.5, 2.5};
  Horizon horizon;
};

/// A site with the default turbidity for its place.
Site site_at(const sun::Place& place, Climate climate = Climate::ordinary);

struct State {
  Utc at{};
  sun::Position sun;
  sun::Direction towards_sun;    ///< apparent
  double dni_extra_wm2 = 0;
  double airmass_relative = 0, airmass_absolute = 0;
  Irradiance clear;              ///< cloudless, flat horizon
  Irradiance now;                ///< under the sky assumed or measured, flat horizon
  double clear_share = 1;        ///< now.ghi over clear.ghi, 0 at night
  double albedo = albedo_default;
  double sky_share = 1;          ///< of diffuse light that comes over the horizon
  bool sun_behind_horizon = false;  ///< no beam reaches the roof
  static constexpr double albedo_default = 0.2;
};

/// The cloudless sky. air_temperature_c only bends the light of a low sun.
State clear_state(const Site& site, Utc at, double air_temperature_c = 5, double albedo = State::albedo_default);
/// The same with a shared ephemeris, for many instants in a row.
State clear_state(const Site& site, Utc at, sun::Ephemeris& ephemeris, double air_temperature_c = 5,
                  double albedo = State::albedo_default);

/// The same instant under a cloud cover of 0..1, a share of the cloudless light (0..1.5), or a
/// measured global irradiance in W/m2.
State under_cloud(State state, double cloud_cover);
State under_share_of_clear(State state, double share);
State under_measured_ghi(State state, double ghi_wm2);

}  // namespace fw::sky
