#pragma once
// Light on a tilted plane.
#include "sky/irradiance.h"
#include "sun/position.h"

namespace fw::sky {

struct Plane {
  double tilt_deg = 0;       ///< 0 faces up, 90 faces the horizon
  double azimuth_deg = 180;  ///< direction the face leans to, from north, clockwise
};

/// Unit normal of a plane.
sun::Direction normal(const Plane& plane);

/// Cosine of the angle of incidence, -1..1.
double cos_incidence(const sun::Direction& sun, const sun::Direction& plane_normal);

/// Irradiance in the plane of the array, W/m2.
struct PlaneIrradiance {
  double direct_wm2 = 0, sky_diffuse_wm2 = 0, ground_diffuse_wm2 = 0;
  double global_wm2() const { return direct_wm2 + sky_diffuse_wm2 + ground_diffuse_wm2; }
};

/// Beam in the plane; 0 when the sun is behind it or at or below the horizon.
double direct_wm2(double dni_wm2, double cos_aoi);

/// Sky diffuse in the plane. Source: Hay & Davies 1980; cos of the zenith not under 0.01745.
double sky_diffuse_hay_davies_wm2(const Irradiance& light, double dni_extra_wm2, double cos_zenith, double cos_aoi,
                                  double cos_tilt);

/// Sky diffuse in the plane. Source: Perez et al. 1990, Solar Energy 44, 271, table 1; cos of the
/// zenith not under cos 85 deg.
double sky_diffuse_perez_wm2(const Irradiance& light, double dni_extra_wm2, double apparent_zenith_deg,
                             double airmass_relative, double cos_aoi, double tilt_deg);

/// Light from the ground, W/m2, albedo 0..1.
double ground_diffuse_wm2(double ghi_wm2, double albedo, double cos_tilt);

/// Albedo of ordinary ground and of settled snow (textbook values, from memory).
inline constexpr double albedo_ground = 0.2;
inline constexpr double albedo_snow = 0.7;

}  // namespace fw::sky
