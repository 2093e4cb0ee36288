#pragma once
// Air in the sunlight's way, and the light above it.
#include "units/time.h"

namespace fw::sun {

/// Relative optical air mass (1 for the sun overhead) for an apparent elevation in degrees, -90..90.
/// Below the horizon the horizon's value (37.92) is returned; there is no beam then.
/// Source: Kasten & Young 1989, Applied Optics 28, 4735.
double airmass_relative(double apparent_elevation_deg);

/// Relative air mass scaled by pressure in Pa at the place.
double airmass_absolute(double relative, double pressure_pa);

/// Pressure of the standard atmosphere in Pa; altitude_m -500..11000.
/// Source: ISO 2533 standard atmosphere, troposphere.
double pressure_pa(double altitude_m);

/// Day of the year, 1..366, of the UTC date.
int day_of_year(Utc at);

/// (r0/r)^2: how much stronger sunlight is than at the mean distance; day of year 1..366.
/// Source: Spencer 1971.
double distance_factor(int day_of_year);

/// Irradiance on a plane facing the sun above the air, W/m2. The constant 1366.1 W/m2 is the one
/// the clear-sky model was published with (ASTM E490).
double extraterrestrial_wm2(int day_of_year, double solar_constant_wm2 = 1366.1);

}  // namespace fw::sun
