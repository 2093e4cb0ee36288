#include "diagnosis/evidence.h"

#include <algorithm>
#include <cmath>

namespace fw::diagnosis {

namespace {

constexpr double least_likely = 4e-4;   ///< what no state explains
constexpr double repeat = 0.3;          ///< a voltage that stays says the same thing every minute

double bell(double x, double mean, double sd) {
  const double z = (x - mean) / sd;
  return z * z > 60 ? 0 : std::exp(-0.5 * z * z) / (2.5066 * sd);
}

}  // namespace

double predicted_w(const StringLook& l, const SkyShares& sky, int node, const StringState& s) {
  const auto n = static_cast<std::size_t>(node);
  // under cloud the light from elsewhere hardly knows of the obstacle
  const double known_rest = node < under_sky ? (l.diffuse_w - l.open_diffuse_w) * std::min(1.0, sky.global[n]) : 0;
  const double diffuse = (l.open_diffuse_w + known_rest) * sky.diffuse[n];
  double w = s.kind == Kind::shade ? l.beam_w * sky.beam[n] * s.pass + diffuse * 0.92 : (l.beam_w * sky.beam[n] + diffuse) * s.pass;
  w *= l.film_pass;
  const double dim = 1 - std::min(1.0, w / std::max(1.0, l.clear_w));
  w *= 1 + l.dim_gain * dim;
  return std::min(w, l.limit_w);
}

double power_likelihood(const StringLook& l, double predicted, double x, double sigma, double bias) {
  if (!l.carries()) {
    // asleep: all we know is that the power was below what wakes the controller
    const double q = predicted / l.wake_w;
    return 1 / (1 + q * q * q) + 1e-4;
  }
  if (predicted < 0.05) return least_likely;
  const double off = std::abs(x) - bias;
  return (off > 5 * sigma ? 0 : bell(std::max(0.0, off), 0, sigma)) + least_likely;
}

double held_back_likelihood(const StringLook& l, double available, double x) {
  if (!l.carries()) return 0.5;
  if (available < 0.05) return least_likely;
  if (x <= 0) return 0.35;
  if (x > 1) return least_likely;
  return 0.35 * std::exp(-0.5 * x * x / (4 * l.sigma * l.sigma + l.bias * l.bias)) + least_likely;
}

namespace {

double voltage_density(const StringLook& l, const StringState& s, bool several_rows) {
  if (!l.carries()) {
    const double u = l.volts_to_open;
    if (s.kind == Kind::open) return (u < 0.12 ? 0.5 / 0.12 : 0) + 0.4 * bell(u, 0.98, 0.04) + 0.05;
    if (s.pass < 0.3 && s.kind != Kind::shade) return 0.9 * bell(u, 0.72, 0.13) + 0.02;
    return 0.9 * bell(u, 0.85, 0.10) + 0.02;
  }
  const double z = l.volts_ln, sd = l.volts_sigma;
  const double even = bell(z, 0, sd);
  const double below = z < 0 && z > -1.3 ? 0.8 * std::exp(z / 1.0) : 0;  // part of the row bypassed
  const double above = z > 0 && z < 0.16 ? 1 / 0.16 : 0;                // a few bright patches
  const double floor = 0.02;
  switch (s.kind) {
    case Kind::clean:
    case Kind::film:
    case Kind::frost: return even + floor;
    case Kind::snow: return 0.45 * even + 0.40 * below + 0.15 * above + floor;
    case Kind::shade: return 0.50 * even + 0.35 * below + 0.10 * above + floor;
    case Kind::leaf: return bell(z, std::log(s.pass), sd + 0.01) + floor;
    case Kind::half: return (several_rows ? bell(l.volts_ln_doubled, 0, sd) : even) + floor;
    case Kind::open: return floor;
  }
  return 1;
}

}  // namespace

double voltage_likelihood(const StringLook& l, const StringState& s, bool several_rows) {
  return l.has_volts ? std::pow(voltage_density(l, s, several_rows), repeat) : 1;
}

double held_back_voltage_likelihood(const StringLook& l) {
  if (!l.has_volts) return 1;
  if (!l.carries()) return 0.9 * bell(l.volts_to_open, 0.97, 0.06) + 0.05;
  const double z = l.volts_ln;
  return (z > 0.01 && z < 0.45 ? 2.2 : 0) + 0.05;
}

double motion_likelihood(const Motion& m, Regime regime) {
  const RegimeRow& r = regime_rows[static_cast<std::size_t>(regime)];
  const auto term = [&](double seen, double typical, double scatter) {
    const double expected = std::sqrt(typical * typical + m.noise * m.noise);
    const double x = std::log(std::max(seen, 0.0008) / expected);
    return bell(x, 0, scatter) + 0.02;
  };
  double l = term(m.flicker, r.flicker, 0.8);
  if (m.minutes >= 12) l *= term(m.spread, r.spread, 0.9);
  return l;
}

double irradiance_likelihood(double share, double at_node) {
  return bell(std::log(std::max(share, 0.005)), std::log(std::max(at_node, 0.005)), 0.08) + 0.01;
}

double held_back_hint(const SiteLook& s, std::optional<Stage> stage) {
  double odds = 0;
  if (s.charge_allowed && !*s.charge_allowed) odds += 7;
  if (!s.permit) odds += 7;
  if (stage) {
    switch (*stage) {
      case Stage::inhibited: return odds + 7;
      case Stage::floating: return odds + 4;
      case Stage::absorption: return odds + 2.5;
      case Stage::equalize: return odds + 1;
      case Stage::bulk: return odds - (s.soc && *s.soc < 0.9 ? 7 : 4);
      case Stage::off: return odds;
    }
  }
  if (s.soc) odds += *s.soc >= 0.985 ? 2.5 : *s.soc >= 0.96 ? 1 : *s.soc >= 0.90 ? -2 : -5;
  if (s.bank_v) {
    const double v = *s.bank_v / s.bank_nominal_v;
    odds += v >= 1.085 ? 2 : v >= 1.06 ? 0.5 : v < 1.03 ? -3 : 0;
  }
  return odds;
}

}  // namespace fw::diagnosis
