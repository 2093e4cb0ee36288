#include "outlook/layer.h"

#include <algorithm>
#include <cmath>

namespace fw::outlook {
namespace {
constexpr double depth_factor = 0.713, depth_exponent = 0.514;  // -ln(through) = a w^b
constexpr double melt_wh_per_mm = 92.8;                         // latent heat of 1 kg/m2
constexpr double snow_absorbs = 0.15;                           // 1 - albedo of settled snow (textbook)
constexpr double cells_absorb = 0.80;
constexpr double slide_from_tilt_deg = 8;
}  // namespace

double water_of_fresh_mm(double fresh_cm) { return std::max(0.0, fresh_cm); }

double light_through(double water_mm) {
  if (water_mm <= 0) return 1;
  return std::exp(-depth_factor * std::pow(water_mm, depth_exponent));
}

double water_for_cover(double cover) {
  if (cover <= 0.01) return 0;
  return std::pow(-std::log(1 - std::min(cover, 0.975)) / depth_factor, 1 / depth_exponent);
}

Layer after(Layer layer, const Exposure& e, double hours) {
  const double before = layer.water_mm;
  double w = before + water_of_fresh_mm(e.fresh_cm);
  if (w <= 0) return {0};
  const double through = light_through(w);
  const double absorbed_wm2 = std::max(0.0, e.ghi_wm2) * (snow_absorbs * (1 - through) + cells_absorb * through);
  // Convection and thermal radiation together, per kelvin (flat plate in light wind; textbook).
  const double to_air = 6.5 + 3.5 * std::clamp(e.wind_ms, 0.0, 8.0);
  const double heat_wm2 = absorbed_wm2 + to_air * e.air_c;
  if (heat_wm2 > 0) w -= heat_wm2 * hours / melt_wh_per_mm;
  if (e.tilt_deg >= slide_from_tilt_deg && e.air_c > -e.ghi_wm2 / 80.0) {
    const double per_hour = 0.197 * std::sin(e.tilt_deg * 3.14159265358979 / 180);
    w -= before * std::min(1.0, per_hour * hours * 3);  // share of the slant height, times three: half bare frees the row
  }
  return {std::max(0.0, w)};
}

}  // namespace fw::outlook
