#include "roof/glass.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "sun/angle.h"

namespace fw::roof {
namespace {

using std::numbers::pi;

double physical_transmittance(double cos_aoi) {
  constexpr double n = 1.526, extinction_per_m = 4.0, thickness_m = 0.002;
  const double cos_inside = std::sqrt(1 - (1 - cos_aoi * cos_aoi) / (n * n));
  const double s = (cos_aoi - n * cos_inside) / (cos_aoi + n * cos_inside);
  const double p = (cos_inside - n * cos_aoi) / (cos_inside + n * cos_aoi);
  return (1 - 0.5 * (s * s + p * p)) * std::exp(-extinction_per_m * thickness_m / cos_inside);
}

const double straight_through = physical_transmittance(1.0);

// Share of the ring at `aoi` around the normal of a plane tilted by `tilt` that lies above the horizon.
double ring_above_horizon(double cos_aoi, double sin_aoi, double cos_tilt, double sin_tilt) {
  const double reach = sin_aoi * sin_tilt;
  if (reach <= 0) return cos_aoi * cos_tilt >= 0 ? 1 : 0;
  return std::acos(std::clamp(-cos_aoi * cos_tilt / reach, -1.0, 1.0)) / pi;
}

}  // namespace

double iam_beam(double cos_aoi, const GlassModel& glass) {
  if (cos_aoi <= 0) return 0;
  const double c = std::min(cos_aoi, 1.0);
  switch (glass.kind) {
    case Glass::physical:
      return physical_transmittance(c) / straight_through;
    case Glass::ashrae:
      return std::max(1 - 0.05 * (1 / c - 1), 0.0);
    case Glass::martin_ruiz:
      return (1 - std::exp(-c / glass.a_r)) / (1 - std::exp(-1 / glass.a_r));
  }
  return 1;
}

DiffuseIam iam_diffuse(double tilt_deg, const GlassModel& glass) {
  const double cos_tilt = sun::cos_deg(tilt_deg), sin_tilt = sun::sin_deg(tilt_deg);
  constexpr int rings = 720;
  double sky = 0, sky_weight = 0, ground = 0, ground_weight = 0;
  for (int i = 0; i < rings; ++i) {
    const double aoi = (i + 0.5) / rings * pi / 2;
    const double c = std::cos(aoi), s = std::sin(aoi);
    const double above = ring_above_horizon(c, s, cos_tilt, sin_tilt);
    const double iam = iam_beam(c, glass);
    sky += iam * c * s * above;
    sky_weight += c * s * above;
    ground += iam * c * s * (1 - above);
    ground_weight += c * s * (1 - above);
  }
  // The horizon band, 0 to 0.5 deg, by two Gauss points in height.
  double band = 0, band_weight = 0;
  for (const double height_deg : {0.25 * (1 - 1 / std::sqrt(3.0)), 0.25 * (1 + 1 / std::sqrt(3.0))}) {
    constexpr int steps = 720;
    for (int i = 0; i < steps; ++i) {
      const double a = (i + 0.5) / steps * pi;
      const double c = sun::cos_deg(height_deg) * std::cos(a) * sin_tilt + sun::sin_deg(height_deg) * cos_tilt;
      if (c <= 0) continue;
      band += iam_beam(c, glass) * c;
      band_weight += c;
    }
  }
  return {sky / sky_weight, band_weight > 0 ? band / band_weight : 0.0,
          ground_weight > 1e-12 ? ground / ground_weight : 0.0};
}

namespace {

double martin_ruiz_part(double angle_term, double a_r) {
  const double c1 = 0.4244, c2 = 0.5 * a_r - 0.154;
  return 1 - std::exp(-(c1 * angle_term + c2 * angle_term * angle_term) / a_r);
}

}  // namespace

double iam_sky_martin_ruiz(double tilt_deg, double a_r) {
  const double b = tilt_deg * sun::rad_per_deg;
  return martin_ruiz_part(std::sin(b) + (pi - b - std::sin(b)) / (1 + std::cos(b)), a_r);
}

double iam_ground_martin_ruiz(double tilt_deg, double a_r) {
  const double b = tilt_deg * sun::rad_per_deg;
  if (b <= 0) return 0;
  return martin_ruiz_part(std::sin(b) + (b - std::sin(b)) / (1 - std::cos(b)), a_r);
}

}  // namespace fw::roof
