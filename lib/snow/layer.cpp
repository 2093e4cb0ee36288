#include "snow/layer.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "snow/cover.h"

namespace fw::snow {
namespace {

constexpr double mm_per_wh_m2 = 3600.0 / 334000.0;  // latent heat of fusion
constexpr double bond_wh_m2 = 60;
constexpr double full_cover_cm = 0.2;    // new snow that hides bare glass
constexpr double patchy_water_mm = 2;    // thinner than this it melts into patches

double exchange_wm2k(double wind_ms) { return 10.0 + 3.0 * wind_ms; }

// What the glass itself gains under the snow: light through it and warmth from below, against the
// cold through it. Conductivity after Anderson 1976 (from memory).
double thaw_wm2(const Layer& l, const Conditions& c) {
  const double conductivity = 0.021 + 2.5e-6 * l.density_kgm3 * l.density_kgm3;
  const double depth_m = std::max(l.depth_cm() / 100.0, 0.001);
  const double through = 1.0 / (depth_m / conductivity + 1.0 / exchange_wm2k(c.wind_ms));
  return 0.9 * c.poa_wm2 * snow_transmission(l.depth_cm()) + c.heat_below_wm2 + through * c.air_c;
}

void add_snow(Layer& l, double cm, double air_c) {
  if (cm <= 0) return;
  const double water = cm * new_snow_density_kgm3(air_c) / 100.0;
  const double old_total = l.water_mm * l.covered_share;
  const double old_depth_total = l.depth_cm() * l.covered_share;
  l.covered_share = std::min(1.0, l.covered_share + cm / full_cover_cm);
  const double total = old_total + water, depth_total = old_depth_total + cm;
  l.water_mm = total / l.covered_share;
  l.density_kgm3 = std::clamp(100.0 * total / depth_total, 30.0, 600.0);
}

void melt(Layer& l, double mm) {
  if (mm <= 0) return;
  const double left = std::max(l.water_mm - mm, 0.0);
  if (l.water_mm > patchy_water_mm) {
    l.water_mm = left;
  } else {
    l.covered_share *= l.water_mm > 0 ? left / l.water_mm : 0.0;
  }
  l.density_kgm3 = std::min(l.density_kgm3 + 10 * mm, 500.0);
}

void one_step(Layer& l, const Conditions& c, double h) {
  add_snow(l, c.snowfall_cm_per_h * h, c.air_c);
  if (l.covered_share <= 0) return;
  // Settling: towards 250 in some three days, faster near thaw.
  const double rate = c.air_c > -1 ? 1.0 / 24 : 1.0 / 72;
  if (l.density_kgm3 < 250) l.density_kgm3 += (250 - l.density_kgm3) * (1 - std::exp(-rate * h));
  l.thaw_wh_m2 = std::clamp(l.thaw_wh_m2 + thaw_wm2(l, c) * h, 0.0, bond_wh_m2);
  melt(l, melt_power_wm2(l, c) * h * mm_per_wh_m2);
  if (c.tilt_deg >= least_sliding_tilt_deg && can_slide(c.air_c, c.poa_wm2))
    l.covered_share = std::max(l.covered_share - slide_share_per_h(c.tilt_deg) * h, 0.0);
  if (l.covered_share < 0.005 || l.water_mm < 0.01) l = Layer{};
}

}  // namespace

double new_snow_density_kgm3(double air_c) {
  return std::min(67.92 + 51.25 * std::exp(std::min(air_c, 10.0) / 2.59), 200.0);
}

double melt_power_wm2(const Layer& l, const Conditions& c) {
  if (l.covered_share <= 0 || l.water_mm <= 0) return 0;
  constexpr double sky_glow_wm2 = 50;
  const double through = snow_transmission(l.depth_cm());
  const double reflected = (c.air_c > -1 ? 0.65 : 0.8) * (1 - through) + 0.05 * through;
  const double power = c.poa_wm2 * (1 - reflected) + exchange_wm2k(c.wind_ms) * c.air_c - sky_glow_wm2 + c.heat_below_wm2;
  return std::max(power, 0.0);
}

Layer layer_after(Layer l, const Conditions& c, double hours) {
  constexpr double longest_step_h = 0.5;
  while (hours > 0) {
    const double h = std::min(hours, longest_step_h);
    one_step(l, c, h);
    hours -= h;
  }
  return l;
}

double layer_transmission(const Layer& l) {
  const double covered = std::clamp(l.covered_share, 0.0, 1.0);
  return 1 - covered + covered * snow_transmission(l.depth_cm());
}

bool can_slide(double air_c, double poa_wm2) { return air_c > poa_wm2 / -80.0; }

double slide_share_per_h(double tilt_deg) { return 0.197 * std::sin(tilt_deg * std::numbers::pi / 180.0); }

std::optional<double> hours_to_soften(const Layer& l, const Conditions& c) {
  if (l.covered_share <= 0 || l.thaw_wh_m2 >= bond_wh_m2) return 0.0;
  const double power = thaw_wm2(l, c);
  if (power <= 0) return std::nullopt;
  return (bond_wh_m2 - l.thaw_wh_m2) / power;
}

}  // namespace fw::snow
