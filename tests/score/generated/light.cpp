#include "score/generated/light.h"

#include <algorithm>
#include <cmath>

namespace fw::score {

namespace {
constexpr double rad = 0.017453292519943295;
}

SunAt sun_at(double unix_s, double lat_deg, double lon_deg) {
  const double n = unix_s / 86400.0 - 10957.5;   // days from 2000-01-01 12:00
  const double mean_long = 280.460 + 0.9856474 * n;
  const double anomaly = (357.528 + 0.9856003 * n) * rad;
  const double ecliptic = (mean_long + 1.915 * std::sin(anomaly) + 0.020 * std::sin(2 * anomaly)) * rad;
  const double tilt = (23.439 - 4e-7 * n) * rad;
  const double right_ascension = std::atan2(std::cos(tilt) * std::sin(ecliptic), std::cos(ecliptic));
  const double declination = std::asin(std::sin(tilt) * std::sin(ecliptic));
  const double sidereal_deg = 280.46061837 + 360.98564736629 * n + lon_deg;
  const double hour = sidereal_deg * rad - right_ascension;
  const double lat = lat_deg * rad;
  const double sin_el = std::sin(lat) * std::sin(declination) + std::cos(lat) * std::cos(declination) * std::cos(hour);
  double el = std::asin(std::clamp(sin_el, -1.0, 1.0)) / rad;
  SunAt s;
  s.azimuth_deg = std::atan2(std::sin(hour), std::cos(hour) * std::sin(lat) - std::tan(declination) * std::cos(lat)) / rad + 180;
  if (el > -1) el += 1.02 / std::tan((el + 10.3 / (el + 5.11)) * rad) / 60;
  s.elevation_deg = el;
  const double r = 1.00014 - 0.01671 * std::cos(anomaly) - 0.00014 * std::cos(2 * anomaly);
  s.earth_factor = 1 / (r * r);
  return s;
}

Light clear_light(const SunAt& sun, double altitude_m, const Air& air, double albedo) {
  if (sun.elevation_deg <= 0.2) return {};
  const double cos_z = std::sin(sun.elevation_deg * rad);
  const double mass = 1 / (cos_z + 0.50572 * std::pow(sun.elevation_deg + 6.07995, -1.6364));
  const double pressed = mass * std::exp(-altitude_m / 8400);
  const double i0 = 1361 * sun.earth_factor;
  const double rayleigh = std::exp(-0.0903 * std::pow(pressed, 0.84) * (1 + pressed - std::pow(pressed, 1.01)));
  const double xo = air.ozone_cm * mass;
  const double ozone = 1 - 0.1611 * xo * std::pow(1 + 139.48 * xo, -0.3035) - 0.002715 * xo / (1 + 0.044 * xo + 0.0003 * xo * xo);
  const double gases = std::exp(-0.0127 * std::pow(pressed, 0.26));
  const double xw = air.water_cm * mass;
  const double water = 1 - 2.4959 * xw / (std::pow(1 + 79.034 * xw, 0.6828) + 6.385 * xw);
  const double t = air.aerosol;
  const double aerosol = std::exp(-std::pow(t, 0.873) * (1 + t - std::pow(t, 0.7088)) * std::pow(mass, 0.9108));
  const double absorbed = 1 - 0.1 * (1 - mass + std::pow(mass, 1.06)) * (1 - aerosol);
  const double scattered = aerosol / absorbed;
  const double sky_albedo = 0.0685 + 0.16 * (1 - scattered);
  Light l;
  l.beam = 0.9662 * i0 * rayleigh * ozone * gases * water * aerosol;
  const double down = 0.79 * i0 * cos_z * ozone * gases * water * absorbed * (0.5 * (1 - rayleigh) + 0.84 * (1 - scattered)) /
                      (1 - mass + std::pow(mass, 1.02));
  const double all = (l.beam * cos_z + down) / (1 - albedo * sky_albedo);
  l.diffuse = std::max(0.0, all - l.beam * cos_z);
  return l;
}

PlaneLight on_plane(const SunAt& sun, const Light& light, double albedo, double tilt_deg, double azimuth_deg) {
  if (sun.elevation_deg <= 0.2) return {};
  const double cos_z = std::sin(sun.elevation_deg * rad), sin_z = std::cos(sun.elevation_deg * rad);
  const double ct = std::cos(tilt_deg * rad), st = std::sin(tilt_deg * rad);
  const double cos_i = cos_z * ct + sin_z * st * std::cos((sun.azimuth_deg - azimuth_deg) * rad);
  const auto glass = [](double c) { return c < 0.02 ? 0.0 : std::max(0.0, 1 - 0.05 * (1 / c - 1)); };
  PlaneLight p;
  const double share = std::clamp(light.beam / (1361 * sun.earth_factor), 0.0, 1.0);   // of the diffuse that sits about the sun
  const double ratio = std::max(0.0, cos_i) / std::max(0.05, cos_z);
  p.beam = light.beam * std::max(0.0, cos_i) * glass(cos_i);
  p.glow = share * light.diffuse * ratio * glass(cos_i);
  const double ground = light.beam * cos_z + light.diffuse;
  p.diffuse = 0.95 * (light.diffuse * (1 - share) * (1 + ct) / 2 + ground * albedo * (1 - ct) / 2);
  return p;
}

}  // namespace fw::score
