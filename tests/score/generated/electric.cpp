#include "score/generated/electric.h"

#include <algorithm>
#include <cmath>

namespace fw::score {

Working working_point(const Cells& c, const std::vector<std::vector<double>>& light, double cell_c) {
  const int parts = c.series * 3;
  std::vector<std::vector<double>> sorted = light;
  double brightest = 0;
  for (auto& row : sorted) {
    std::sort(row.begin(), row.end(), std::greater<>());
    brightest = std::max(brightest, row.front());
  }
  Working w;
  if (brightest < 0.02) return w;
  const double dt = cell_c - 25;
  const double imp = c.stc_w / c.v_mp;
  // d ln P / dT = gamma; the voltage carries beta_mp of it, the current the rest.
  const double current_heat = 1 + (c.gamma_per_k - c.beta_mp_per_k) * dt;
  for (int n = 1; n <= parts; ++n) {
    double amps = 0, weakest = 1e9;
    for (const auto& row : sorted) {
      const double g = row[static_cast<std::size_t>(n - 1)];
      amps += g / 1000 * imp * current_heat * g / (g + 0.02 * c.dim_w);
      weakest = std::min(weakest, std::max(g, 1e-6));
    }
    const double level = amps / (imp * static_cast<double>(sorted.size())) * 1000;   // mean light of what carries the current
    const double part_v = c.v_mp / 3 * (1 + c.beta_mp_per_k * dt) * std::max(0.0, 1 + c.light_v * std::log(std::max(level, 0.05) / 1000));
    const double volts = n * part_v - (parts - n) * 0.45;
    const double dim = 1 - 0.6 * std::exp(-level / c.dim_w);
    if (volts * amps * dim > w.power_w) {
      w.power_w = volts * amps * dim;
      w.volts = volts;
    }
  }
  const double lit = std::log(std::max(brightest, 0.02) / 1000);
  w.open_volts = c.series * c.v_oc * (1 + c.beta_oc_per_k * dt) * std::max(0.1, 1 + 0.8 * c.light_v * lit) * brightest / (brightest + 0.15);
  w.volts = std::min(w.volts, 0.97 * w.open_volts);
  return w;
}

double throttled_volts(const Working& full, double share) {
  if (full.power_w <= 0 || full.open_volts <= full.volts) return full.open_volts;
  // One diode: I = 1 - exp((V - Voc) / a), a such that the maximum lies at the working voltage.
  const double r = full.volts / full.open_volts;
  double a = 0.06;
  for (int i = 0; i < 30; ++i) a = (1 - r) / std::log(1 + r / a);
  const auto power = [&](double v) { return v * (1 - std::exp((v - 1) / a)); };
  const double want = share * power(r);
  double lo = r, hi = 1;
  for (int i = 0; i < 25; ++i) {
    const double mid = (lo + hi) / 2;
    (power(mid) > want ? lo : hi) = mid;
  }
  return lo * full.open_volts;
}

}  // namespace fw::score
