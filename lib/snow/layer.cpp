#include "snow/layer.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace fw::snow {
namespace {

constexpr double fresh_reach_cm = 2.2, old_reach_mm = 3.5, fresh_kgm3 = 100, old_kgm3 = 250;
constexpr double melt_wh_per_mm = 334.0 / 3.6;  // latent heat of fusion of 1 kg/m2
constexpr double albedo = 0.7;                  // between fresh (0.85) and old wet snow (0.55); textbook
constexpr double cells_warm = 0.7;              // of the light at the cells: absorbed, less what becomes current
constexpr double back_loses_wm2k = 1.5;         // a panel over a roof, sheltered
constexpr double glow_wm2 = 60;                 // to a clear sky
constexpr double conducts_wmk = 0.12;           // young snow; textbook
constexpr double patch_mm = 2;                  // thinner than this it breaks into patches
constexpr double glass_wh_m2k = 2.5;            // heat held by glass, cells and frame
constexpr double ice_wh_kgk = 1.2;              // twice dry ice's: some water stays in the layer and freezes
constexpr double longest_step_h = 0.5;
constexpr double nothing_mm = 0.02;

double reach_mm(double density_kgm3) {
  const double fresh_mm = fresh_reach_cm * std::min(density_kgm3, fresh_kgm3) / 100;
  return fresh_mm + (old_reach_mm - fresh_mm) * std::clamp((density_kgm3 - fresh_kgm3) / (old_kgm3 - fresh_kgm3), 0.0, 1.0);
}

/// Heat held per kelvin, Wh/m2, with the water that would freeze again.
double holds_wh_m2k(double water_mm) { return glass_wh_m2k + ice_wh_kgk * std::max(water_mm, patch_mm); }

double air_exchange_wm2k(double wind_ms) { return 6.5 + 3.5 * std::clamp(wind_ms, 0.0, 8.0); }

void step(Layer& l, const Exposure& e, double h) {
  if (e.fresh_cm > 0) {
    const double stays_cm = e.fresh_cm * staying_share(e.tilt_deg), fresh = water_of_fresh_mm(stays_cm, e.air_c);
    if (l.water_mm + fresh <= 0) return;
    l.density_kgm3 = (l.water_mm + fresh) / (l.water_mm / l.density_kgm3 + stays_cm / 100);
    l.water_mm += fresh;
    if (l.water_mm <= nothing_mm) return;  // the first flakes
  }
  // Settles towards 250 kg/m3 in some three days, faster near thaw.
  l.density_kgm3 += (250 - l.density_kgm3) * std::min(1.0, h / (e.air_c > -1 ? 24 : 72));

  // Patches keep their thickness and shrink.
  const double thick = std::max(l.water_mm, patch_mm), share = l.water_mm / thick;
  const double through = light_through(thick, l.density_kgm3);
  const double holds = holds_wh_m2k(l.water_mm);
  const double below_freezing = e.air_c + l.cold_wh_m2 / holds;  // air over layer, K
  double top = e.sun_wm2 * (1 - albedo) * (1 - through) + air_exchange_wm2k(e.wind_ms) * below_freezing -
               glow_wm2 * std::clamp(e.clear_share, 0.0, 1.0);
  if (top < 0) top /= 1 + air_exchange_wm2k(e.wind_ms) * thick / l.density_kgm3 / 2 / conducts_wmk;
  const double glass = e.sun_wm2 * through * cells_warm + back_loses_wm2k * below_freezing + e.heat_below_wm2;
  l.cold_wh_m2 -= (top + glass) * h;
  // A clear night takes it a little below the air, no further.
  l.cold_wh_m2 = std::min(l.cold_wh_m2, holds * std::max(0.0, 4 - e.air_c));
  if (l.cold_wh_m2 < 0) {
    const double melted = -l.cold_wh_m2 / melt_wh_per_mm;
    l.density_kgm3 = std::min(500.0, l.density_kgm3 + 10 * melted);
    l.water_mm -= melted * share;
    l.cold_wh_m2 = 0;
  }
  if (e.tilt_deg >= least_sliding_tilt_deg && can_slide(e.air_c, e.sun_wm2)) l.water_mm *= std::max(0.0, 1 - slide_share_per_h(e.tilt_deg) * h);
  if (l.water_mm <= nothing_mm && e.fresh_cm <= 0) l = Layer{};
  l.water_mm = std::max(0.0, l.water_mm);
}

}  // namespace

double new_snow_density_kgm3(double air_c) {
  return std::min(67.92 + 51.25 * std::exp(std::min(air_c, 10.0) / 2.59), 200.0);
}

double water_of_fresh_mm(double fresh_cm, double air_c) {
  return std::max(0.0, fresh_cm) * new_snow_density_kgm3(air_c) / 100;
}

double light_through(double water_mm, double density_kgm3) { return water_mm <= 0 ? 1 : std::exp(-water_mm / reach_mm(density_kgm3)); }

double water_for_cover(double cover, double density_kgm3) {
  if (cover <= 0.01) return 0;
  return -reach_mm(density_kgm3) * std::log(1 - std::min(cover, 0.985));
}

Layer seen_as(const Layer& layer, double water_mm, double air_c) {
  if (water_mm <= nothing_mm) return {};
  const double below_k = layer.water_mm > 0 ? layer.cold_wh_m2 / holds_wh_m2k(layer.water_mm) : std::max(0.0, -air_c);
  return {water_mm, below_k * holds_wh_m2k(water_mm), layer.density_kgm3};
}

Layer layer_after(Layer l, const Exposure& exposure, double hours) {
  if (l.water_mm <= nothing_mm && exposure.fresh_cm <= 0) return {};
  const double steps = std::max(1.0, std::ceil(hours / longest_step_h));
  Exposure e = exposure;
  e.fresh_cm /= steps;
  for (double i = 0; i < steps; ++i) step(l, e, hours / steps);
  return l;
}

bool can_slide(double air_c, double poa_wm2) { return air_c > poa_wm2 / -80.0; }

double staying_share(double tilt_deg) { return std::clamp((60 - tilt_deg) / 30, 0.0, 1.0); }

double slide_share_per_h(double tilt_deg) { return 0.197 * std::sin(tilt_deg * std::numbers::pi / 180.0); }

}  // namespace fw::snow
