#include "roof/module.h"

#include <algorithm>
#include <cmath>

namespace fw::roof {
namespace {

constexpr double ln_lowest_suns = -7.0;   // 0.9 W/m2
constexpr double ln_highest_suns = 0.5;   // 1650 W/m2
constexpr double kelvin_at_25c = 298.15;
// Crystalline silicon as sold: open-circuit voltage and thermal slope of one cell, common practice.
constexpr double v_oc_per_cell_v = 0.68;
constexpr double ideality = 1.05;
constexpr double thermal_v = 0.025693;

ModuleSheet completed(ModuleSheet s) {
  if (!s.v_mp_v && s.i_mp_a && *s.i_mp_a > 0) s.v_mp_v = s.rated_w / *s.i_mp_a;
  if (!s.v_mp_v && s.v_oc_v) s.v_mp_v = *s.v_oc_v * 0.83;
  if (!s.v_mp_v) s.v_mp_v = s.rated_w < 240 ? 18.5 : s.rated_w < 360 ? 33.0 : 41.0;  // 36, 60, 72 cells
  if (!s.v_oc_v) s.v_oc_v = *s.v_mp_v / 0.83;
  if (!s.i_mp_a) s.i_mp_a = s.rated_w / *s.v_mp_v;
  if (!s.i_sc_a) s.i_sc_a = *s.i_mp_a * 1.06;
  return s;
}

// Voltage at the maximum power point of a diode with series resistance. Along the curve the diode's own
// voltage u is the parameter: i = il - i0 (exp(u/a) - 1), v = u - i r; dP/du = 0 is found by Newton.
double diode_v_mp(double light_a, double i0_a, double a, double r) {
  double u = a * std::log(light_a / i0_a + 1.0);
  u -= a * std::log(1.0 + u / a);
  for (int n = 0; n < 12; ++n) {
    const double e = i0_a * std::exp(u / a);
    const double i = light_a - e + i0_a, di = -e / a, ddi = di / a;
    const double v = u - i * r, dv = 1.0 - di * r, ddv = -ddi * r;
    const double slope = di * v + i * dv;
    const double curve = ddi * v + 2 * di * dv + i * ddv;
    const double step = std::clamp(slope / curve, -a, a);
    u -= step;
    if (std::abs(step) < 1e-10 * a) break;
  }
  const double i = light_a - i0_a * (std::exp(u / a) - 1.0);
  return u - i * r;
}

}  // namespace

double dc_power_w(double rated_w, double effective_wm2, double cell_c, double gamma_per_k) {
  return std::max(rated_w * effective_wm2 / 1000.0 * (1.0 + gamma_per_k * (cell_c - 25.0)), 0.0);
}

Module::Module(const ModuleSheet& sheet)
    : sheet_(completed(sheet)), voltage_known_(sheet.v_mp_v || sheet.i_mp_a || sheet.v_oc_v) {
  const double v_oc = *sheet_.v_oc_v, v_mp = *sheet_.v_mp_v, i_mp = *sheet_.i_mp_a;
  const double i_sc = std::max(*sheet_.i_sc_a, i_mp * 1.02);
  const double cells = v_oc / v_oc_per_cell_v;
  slope_v_ = ideality * cells * thermal_v;
  const double r = std::max((v_oc - v_mp + slope_v_ * std::log(1.0 - i_mp / i_sc)) / i_mp, 0.0);
  const double i0 = i_sc / (std::exp(v_oc / slope_v_) - 1.0);
  const double one_sun = diode_v_mp(i_sc, i0, slope_v_, r);
  for (int k = 0; k < table_size; ++k) {
    const double suns =
        std::exp(ln_lowest_suns + (ln_highest_suns - ln_lowest_suns) * k / static_cast<double>(table_size - 1));
    ratio_[k] = diode_v_mp(i_sc * suns, i0, slope_v_, r) / one_sun;
  }
}

double Module::v_mp_ratio(double suns) const {
  if (suns <= 0) return 0;
  const double x = std::clamp((std::log(suns) - ln_lowest_suns) / (ln_highest_suns - ln_lowest_suns), 0.0, 1.0) *
                   (table_size - 1);
  const int k = std::min(static_cast<int>(x), table_size - 2);
  return ratio_[k] + (ratio_[k + 1] - ratio_[k]) * (x - k);
}

double Module::p_mp_w(double effective_wm2, double cell_c) const {
  return dc_power_w(sheet_.rated_w, effective_wm2, cell_c, sheet_.gamma_per_k) * v_mp_ratio(effective_wm2 / 1000.0);
}

double Module::v_mp_v(double effective_wm2, double cell_c) const {
  if (effective_wm2 <= 0) return 0;
  const double v_mp = *sheet_.v_mp_v;
  // The working voltage loses a little more per kelvin than the open one, and the loss in weak light
  // grows with the absolute temperature.
  const double per_k = 1.1 * sheet_.beta_per_k * *sheet_.v_oc_v;
  const double weak = v_mp * (v_mp_ratio(effective_wm2 / 1000.0) - 1.0);
  return std::max(v_mp + per_k * (cell_c - 25.0) + weak * (273.15 + cell_c) / kelvin_at_25c, 0.0);
}

double Module::v_oc_v(double effective_wm2, double cell_c) const {
  if (effective_wm2 <= 0) return 0;
  const double v_oc = *sheet_.v_oc_v;
  return std::max(v_oc * (1.0 + sheet_.beta_per_k * (cell_c - 25.0)) +
                      slope_v_ * (273.15 + cell_c) / kelvin_at_25c * std::max(std::log(effective_wm2 / 1000.0), ln_lowest_suns),
                  0.0);
}

double Module::i_sc_a(double effective_wm2) const { return *sheet_.i_sc_a * std::max(effective_wm2, 0.0) / 1000.0; }

double cold_v_oc_v(double v_oc_v, double beta_per_k, double cell_c, int series) {
  return series * v_oc_v * (1.0 + beta_per_k * (cell_c - 25.0));
}

std::optional<double> nec_cold_factor(double air_c) {
  static constexpr double factors[] = {1.02, 1.04, 1.06, 1.08, 1.10, 1.12, 1.14, 1.16, 1.18, 1.20, 1.21, 1.23, 1.25};
  if (air_c >= 25) return 1.0;
  if (air_c < -40) return std::nullopt;
  const int whole = static_cast<int>(std::floor(air_c));
  return factors[(24 - whole) / 5];
}

}  // namespace fw::roof
