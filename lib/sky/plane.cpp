#include "sky/plane.h"

#include <algorithm>
#include <cmath>

#include "sun/angle.h"

namespace fw::sky {

sun::Direction normal(const Plane& plane) { return sun::direction(90.0 - plane.tilt_deg, plane.azimuth_deg); }

double cos_incidence(const sun::Direction& s, const sun::Direction& n) {
  return std::clamp(s.east * n.east + s.north * n.north + s.up * n.up, -1.0, 1.0);
}

double direct_wm2(double dni_wm2, double cos_aoi) { return dni_wm2 * std::max(cos_aoi, 0.0); }

double sky_diffuse_hay_davies_wm2(const Irradiance& light, double dni_extra_wm2, double cos_zenith, double cos_aoi,
                                  double cos_tilt) {
  const double anisotropy = dni_extra_wm2 > 0 ? light.dni_wm2 / dni_extra_wm2 : 0.0;
  const double rb = std::max(cos_aoi, 0.0) / std::max(cos_zenith, 0.01745);
  return std::max(light.dhi_wm2 * (1 - anisotropy) * 0.5 * (1 + cos_tilt), 0.0) +
         std::max(light.dhi_wm2 * anisotropy * rb, 0.0);
}

double sky_diffuse_perez_wm2(const Irradiance& light, double dni_extra_wm2, double apparent_zenith_deg,
                             double airmass_relative, double cos_aoi, double tilt_deg) {
  if (light.dhi_wm2 <= 0 || dni_extra_wm2 <= 0) return 0;
  // Rows: sky clearness from overcast to very clear; columns f11 f12 f13 f21 f22 f23.
  static constexpr double f[8][6] = {
      {-0.008, 0.588, -0.062, -0.060, 0.072, -0.022}, {0.130, 0.683, -0.151, -0.019, 0.066, -0.029},
      {0.330, 0.487, -0.221, 0.055, -0.064, -0.026},  {0.568, 0.187, -0.295, 0.109, -0.152, -0.014},
      {0.873, -0.392, -0.362, 0.226, -0.462, 0.001},  {1.132, -1.237, -0.412, 0.288, -0.823, 0.056},
      {1.060, -1.600, -0.359, 0.264, -1.127, 0.131},  {0.678, -0.327, -0.250, 0.156, -1.377, 0.251}};
  static constexpr double edges[7] = {1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2};
  const double z = apparent_zenith_deg * sun::rad_per_deg;
  const double kz3 = 1.041 * z * z * z;
  const double clearness = ((light.dhi_wm2 + light.dni_wm2) / light.dhi_wm2 + kz3) / (1 + kz3);
  const auto row = std::upper_bound(std::begin(edges), std::end(edges), clearness) - std::begin(edges);
  const double brightness = light.dhi_wm2 * airmass_relative / dni_extra_wm2;
  const double* k = f[row];
  const double f1 = std::max(k[0] + k[1] * brightness + k[2] * z, 0.0);
  const double f2 = k[3] + k[4] * brightness + k[5] * z;
  const double a = std::max(cos_aoi, 0.0);
  const double b = std::max(std::cos(z), sun::cos_deg(85.0));
  return std::max(light.dhi_wm2 * (0.5 * (1 - f1) * (1 + sun::cos_deg(tilt_deg)) + f1 * a / b +
                                   f2 * sun::sin_deg(tilt_deg)),
                  0.0);
}

double ground_diffuse_wm2(double ghi_wm2, double albedo, double cos_tilt) {
  return ghi_wm2 * albedo * 0.5 * (1 - cos_tilt);
}

}  // namespace fw::sky
