#include "outlook/layer.h"

#include <algorithm>
#include <cmath>

#include "snow/layer.h"

namespace fw::outlook {
namespace {
constexpr double depth_factor = 0.713, depth_exponent = 0.514;  // -ln(through) = a w^b
constexpr double melt_wh_per_mm = 92.8;                         // latent heat of 1 kg/m2
constexpr double albedo_thawing = 0.65;                         // textbook; dry snow does not melt on top
constexpr double cells_warm = 0.7;                              // what they absorb less what they turn into current
constexpr double back_loses_w_m2k = 1.5;                         // panel over a roof, sheltered
constexpr double patch_mm = 2;                                  // thinner than this it breaks into patches
constexpr double glow_wm2 = 50;                                 // to a clear sky
constexpr double snow_conducts_w_mk = 0.1;                      // young snow, textbook
constexpr double young_snow_kgm3 = 130;
}  // namespace

double water_of_fresh_mm(double fresh_cm, double air_c) {
  return std::max(0.0, fresh_cm) * snow::new_snow_density_kgm3(air_c) / 100;
}

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
  double w = before + water_of_fresh_mm(e.fresh_cm, e.air_c);
  if (w <= 0.02) return {0};
  const double ghi = std::max(0.0, e.ghi_wm2);
  // Patches keep their thickness and shrink; bare glass beside them helps at their edges.
  const double thick = std::max(w, patch_mm);
  const double share = std::sqrt(w / thick);
  const double through = light_through(thick);
  const double to_air = 6.5 + 3.5 * std::clamp(e.wind_ms, 0.0, 8.0);  // W/(m2 K), flat plate in light wind
  const bool thawing = e.air_c > -1;
  const double top = thawing ? ghi * (1 - albedo_thawing) * (1 - through) + to_air * std::max(0.0, e.air_c) -
                                   glow_wm2 * std::clamp(e.clear_share, 0.0, 1.0)
                             : 0;
  const double depth_m = thick / young_snow_kgm3;
  const double through_snow = 1 / (depth_m / snow_conducts_w_mk + 1 / to_air);
  const double glass = ghi * through * cells_warm + (through_snow + back_loses_w_m2k) * std::min(0.0, e.air_c);
  w -= (std::max(0.0, top) + std::max(0.0, glass)) * share * hours / melt_wh_per_mm;
  if (e.tilt_deg >= snow::least_sliding_tilt_deg && snow::can_slide(e.air_c, ghi))
    w -= before * std::min(1.0, snow::slide_share_per_h(e.tilt_deg) * hours);
  return {std::max(0.0, w)};
}

}  // namespace fw::outlook
