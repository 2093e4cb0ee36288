#include "sky/clear.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "sun/angle.h"

namespace fw::sky {

Irradiance clear_ineichen(double apparent_elevation_deg, double airmass_absolute, double linke_turbidity,
                          double altitude_m, double dni_extra_wm2) {
  if (apparent_elevation_deg <= 0) return {};
  const double cos_zenith = sun::sin_deg(apparent_elevation_deg);
  const double fh1 = std::exp(-altitude_m / 8000.0), fh2 = std::exp(-altitude_m / 1250.0);
  const double cg1 = 5.09e-5 * altitude_m + 0.868, cg2 = 3.92e-5 * altitude_m + 0.0387;
  const double ghi =
      cg1 * dni_extra_wm2 * cos_zenith * std::exp(-cg2 * airmass_absolute * (fh1 + fh2 * (linke_turbidity - 1)));
  const double b = 0.664 + 0.163 / fh1;
  const double beam = dni_extra_wm2 * std::max(b * std::exp(-0.09 * airmass_absolute * (linke_turbidity - 1)), 0.0);
  const double beam_limit =
      ghi * std::max((1 - (0.1 - 0.2 * std::exp(-linke_turbidity)) / (0.1 + 0.882 / fh1)) / cos_zenith, 0.0);
  const double dni = std::min(beam, beam_limit);
  return {ghi, dni, std::max(ghi - dni * cos_zenith, 0.0)};
}

double clear_haurwitz_wm2(double apparent_elevation_deg) {
  if (apparent_elevation_deg <= 0) return 0;
  const double cos_zenith = sun::sin_deg(apparent_elevation_deg);
  return 1098.0 * cos_zenith * std::exp(-0.059 / cos_zenith);
}

Turbidity default_turbidity(const sun::Place& place, Climate climate) {
  const double aside = std::min(std::abs(place.latitude_deg) / 30.0, 1.0);  // 0 equator .. 1 beyond the tropics
  const double height = std::exp(-std::max(place.altitude_m, 0.0) / 2000.0);
  const double air = climate == Climate::dry ? 0.8 : climate == Climate::humid ? 1.25 : 1.0;
  Turbidity t{};
  for (int month = 0; month < 12; ++month) {
    const double phase = 2 * std::numbers::pi * (month - 6.5) / 12.0;  // warmest in mid July to August
    const double summer = 0.5 * (1 + (place.latitude_deg >= 0 ? 1 : -1) * std::cos(phase));
    const double at_sea = 2.5 + (1 - aside) + aside * summer;
    t[month] = 1 + (at_sea - 1) * height * air;
  }
  return t;
}

double turbidity_on(const Turbidity& monthly, int day_of_year) {
  const double m = (day_of_year - 15.5) / 30.5;
  const double floor_m = std::floor(m);
  const int before = (static_cast<int>(floor_m) + 12) % 12;
  const double f = m - floor_m;
  return monthly[before] * (1 - f) + monthly[(before + 1) % 12] * f;
}

}  // namespace fw::sky
