#pragma once
// Light under a cloudless sky.
#include <array>

#include "sky/irradiance.h"
#include "sun/position.h"

namespace fw::sky {

/// Cloudless irradiance. apparent_elevation_deg -90..90 (at or below 0 all is 0); airmass_absolute
/// from sun/air.h; linke_turbidity 1..10; altitude_m -430..9000; dni_extra_wm2 above the air.
/// Leaves out cloud and the effect of snow on the ground on the sky.
/// Source: Ineichen & Perez 2002, Solar Energy 73, 151, with the upper limit on the beam.
Irradiance clear_ineichen(double apparent_elevation_deg, double airmass_absolute, double linke_turbidity,
                          double altitude_m, double dni_extra_wm2);

/// Cloudless global irradiance in W/m2 from the elevation alone.
/// Source: Haurwitz 1945, J. Meteorology 2, 154.
double clear_haurwitz_wm2(double apparent_elevation_deg);

/// How clean and dry a place's air usually is, where its owner knows no turbidity.
enum class Climate { dry, ordinary, humid };

/// Linke turbidity at the middle of each month.
using Turbidity = std::array<double, 12>;

/// A default by latitude, altitude, season and climate: 2.5 at sea level in a mid-latitude winter,
/// 3.5 in summer and in the tropics; what exceeds 1 shrinks by height with a scale of 2 km, as water
/// vapour does. Our own fit to what is published for rural sites (winter: 2.6 low, 1.4 to 2.1 high
/// and dry); a site value is better.
Turbidity default_turbidity(const sun::Place& place, Climate climate = Climate::ordinary);

/// Turbidity on a day, 1..366, straight between the middles of the months.
double turbidity_on(const Turbidity& monthly, int day_of_year);

}  // namespace fw::sky
