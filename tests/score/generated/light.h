#pragma once
// Sun and clear sky of the generated world. Deliberately not the product's models: the sun after the short
// formulae of an almanac, the clear sky after Bird and Hulstrom (SERI/TR-642-761, 1981), light on a plane after
// Hay and Davies; all from memory. Test only.

namespace fw::score {

struct SunAt {
  double elevation_deg = -90;   ///< with refraction
  double azimuth_deg = 0;       ///< clockwise from north
  double earth_factor = 1;      ///< (mean distance / distance) squared
};
SunAt sun_at(double unix_s, double lat_deg, double lon_deg);

struct Air {
  double aerosol = 0.06;        ///< optical depth, broad band
  double water_cm = 0.5;
  double ozone_cm = 0.32;
};
struct Light {
  double beam = 0;              ///< W/m2, normal to the beam
  double diffuse = 0;           ///< W/m2, on the horizontal
};
Light clear_light(const SunAt& sun, double altitude_m, const Air& air, double albedo);

struct PlaneLight {
  double beam = 0;              ///< W/m2 in the plane behind the glass, from the sun
  double glow = 0;              ///< from the bright sky about it
  double diffuse = 0;           ///< from the rest of the sky and the ground
  double sum() const { return beam + glow + diffuse; }
};
PlaneLight on_plane(const SunAt& sun, const Light& light, double albedo, double tilt_deg, double azimuth_deg);

}  // namespace fw::score
