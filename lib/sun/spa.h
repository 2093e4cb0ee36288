#pragma once
// The NREL solar position algorithm: the geocentric sun, everything that does not depend on the
// observer. Source: Reda & Andreas, "Solar Position Algorithm for Solar Radiation Applications",
// NREL/TP-560-34302, revised 2008. Valid for the years -2000 to 6000; the report gives 0.0003 deg.
#include "units/time.h"

namespace fw::sun {

/// The sun as seen from the Earth's centre at one instant.
struct Geocentric {
  double heliocentric_longitude_deg = 0;  ///< L, 0..360
  double heliocentric_latitude_deg = 0;   ///< B
  double distance_au = 1;                 ///< R
  double nutation_longitude_deg = 0;      ///< delta psi
  double nutation_obliquity_deg = 0;      ///< delta epsilon
  double true_obliquity_deg = 0;          ///< epsilon
  double apparent_longitude_deg = 0;      ///< lambda, 0..360
  double right_ascension_deg = 0;         ///< alpha, 0..360
  double declination_deg = 0;             ///< delta
  double mean_longitude_deg = 0;          ///< M, 0..360
  double equation_of_time_min = 0;        ///< apparent minus mean solar time, -20..20
};

/// The geocentric sun at a UTC instant. UT1 is taken equal to UTC (they differ by under 0.9 s).
/// delta_t_s: TT - UT1 in seconds, see delta_t_s().
Geocentric geocentric(Utc at, double delta_t_s);

/// Apparent sidereal time at Greenwich, 0..360 deg.
/// equation_of_equinoxes_deg: nutation in longitude times the cosine of the true obliquity.
double greenwich_sidereal_deg(Utc at, double equation_of_equinoxes_deg);

/// TT - UT1 in seconds for a year with fraction (2025.5 is mid 2025), -2000..6000.
/// Polynomials of Espenak & Meeus 2006 before 2005; yearly observed values (IERS, from memory, to
/// 0.1 s) until 2026; from there a straight line to the same polynomials in 2150.
/// One second of error moves the sun by 0.00001 deg against the stars.
double delta_t_s(double year);
double delta_t_s(Utc at);

}  // namespace fw::sun
