#include "diagnosis/sky_regime.h"

#include <cmath>

namespace fw::diagnosis {

double share_at(int node) {
  static const auto shares = [] {
    std::array<double, share_count> all;
    for (int k = 0; k < share_count; ++k) all[static_cast<std::size_t>(k)] = std::exp((cloudless_node - k) * share_step);
    return all;
  }();
  return shares[static_cast<std::size_t>(node)];
}

double rest_at(int node) { return 0.4 * std::exp((node - under_sky) * 0.1); }

namespace {

double bell(double x, double mean, double sd) {
  const double z = (x - mean) / sd;
  return std::exp(-0.5 * z * z);
}

std::array<std::array<double, share_count>, regime_count> make() {
  std::array<std::array<double, share_count>, regime_count> d{};
  for (int i = under_sky; i < share_count; ++i) {
    // the rest is near the model's diffuse light or some times that
    d[static_cast<std::size_t>(Regime::behind)][static_cast<std::size_t>(i)] = bell(std::log(rest_at(i)), std::log(1.2), 0.75);
  }
  for (int i = 0; i < under_sky; ++i) {
    const double k = share_at(i), x = std::log(k);
    const auto at = [&](Regime r) -> double& { return d[static_cast<std::size_t>(r)][static_cast<std::size_t>(i)]; };
    at(Regime::cloudless) = i == cloudless_node ? 1 : 0;
    at(Regime::thin) = (k < 1.0 && k > 0.55) ? 1 : 0;
    // gaps at full sun or a little more, and the shadows between them
    at(Regime::broken) = bell(k, 1.03, 0.07) * 0.5 + (k < 1.3 && k > 0.15 ? 0.12 * std::min(1.0, k / 0.3) : 0);
    at(Regime::overcast) = k < 0.85 ? bell(x, std::log(0.28), 0.60) : 0;
    at(Regime::thick) = k < 0.4 ? bell(x, std::log(0.12), 0.6) : 0;   // calm as a clear sky
  }
  for (auto& row : d) {
    double sum = 0;
    for (double v : row) sum += v;
    for (double& v : row) v /= sum;
  }
  return d;
}

}  // namespace

const std::array<std::array<double, share_count>, regime_count>& share_density() {
  static const auto d = make();
  return d;
}

double leave_per_minute(Regime regime, double before, double now) {
  const double usual = 1 / regime_rows[static_cast<std::size_t>(regime)].dwell_min;
  // the better it is known that nothing stands there, the sooner it was something else
  if (regime == Regime::behind) return std::max(std::min(0.2, usual * std::max(1.0, (1 - now) / std::max(now, 1e-3))), 1 - now / std::max(before, 1e-3));
  if (regime == Regime::overcast || regime == Regime::thick) return usual;
  return std::max(usual, (now - before) / std::max(1 - before, 1e-3));
}

std::array<double, regime_count> regime_prior(double c, double hidden) {
  std::array<double, regime_count> p{};
  for (int i = 0; i < regime_count; ++i) p[static_cast<std::size_t>(i)] = regime_rows[static_cast<std::size_t>(i)].typical;
  if (c >= 0) {
    // a forecast moves the odds, it does not settle them
    p[0] *= 0.2 + 1.6 * (1 - c) * (1 - c);
    p[1] *= 0.6 + 0.8 * (1 - std::abs(c - 0.4));
    p[2] *= 0.3 + 2.0 * c * (1 - c) * 2;
    p[3] *= 0.1 + 1.9 * c * c;
    p[4] *= 0.05 + 2.2 * c * c;
  }
  double sum = 0;
  for (double v : p) sum += v;
  for (double& v : p) v /= sum;
  for (int i = 0; i < 3; ++i) {
    p[5] += hidden * p[static_cast<std::size_t>(i)];
    p[static_cast<std::size_t>(i)] *= 1 - hidden;
  }
  return p;
}

}  // namespace fw::diagnosis
