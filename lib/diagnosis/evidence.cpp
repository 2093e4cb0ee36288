#include "diagnosis/evidence.h"

#include <algorithm>
#include <cmath>

#include "diagnosis/exp_ln.h"
#include "diagnosis/quad.h"

namespace fw::diagnosis {

namespace {

constexpr double least_likely = 4e-4;   ///< what no state explains
constexpr double volts_per_ln_light = 0.04;    ///< of the open-circuit voltage, per ln of light; from memory
constexpr double glow_over_obstacle = 0.3;   ///< of the glow around the sun, still seen when something stands before it; an estimate
constexpr double unplugged = 0.05;       ///< of the open-circuit voltage, at most
constexpr double repeat = 0.3;          ///< a voltage that stays says the same thing every minute

}  // namespace

double normal_density(double x, double mean, double sd) {
  const double z = (x - mean) / sd;
  return z * z > 60 ? 0 : std::exp(-0.5 * z * z) / (2.5066 * sd);
}

Light<double> light_at(const StringLook& l, const SkyShares& sky, int node) {
  const auto n = static_cast<std::size_t>(node);
  // under cloud the light from elsewhere hardly knows of the obstacle
  const double known_rest = node < under_sky ? (l.diffuse_w - l.open_diffuse_w) * std::min(1.0, sky.global[n]) : 0;
  // the less beam, the more evenly the sky shines; the ground gives back what falls on it
  const double clear_like = node < under_sky ? std::min(1.0, sky.beam[n]) : 1;
  const double rest_of_sky = (l.open_diffuse_w - l.ground_w) * clear_like + l.even_sky_w * (1 - clear_like);
  const double over_it = node < under_sky ? 0 : glow_over_obstacle * l.glow_w;
  const double diffuse = (rest_of_sky + over_it) * sky.diffuse[n] + l.ground_w * sky.global[n] + known_rest;
  const double through = l.open_beam_w > 0 ? l.beam_w / l.open_beam_w : 1;
  const double beam = (l.open_beam_w - l.glow_w + l.glow_w * sky.diffuse[n]) * sky.beam[n] * through;
  return {beam, diffuse};
}

namespace {

// asleep: all we know is that the power was below what wakes the controller
template <class T>
FW_INLINE T asleep(const T& predicted, double wake_w) {
  const T q = predicted / wake_w;
  return T(1.0) / (T(1.0) + q * q * q) + T(1e-4);
}

template <class T>
FW_INLINE T tracking(const T& predicted, const T& x, const T& sigma, const T& lasting, double width, const T& bias) {
  const T off = more_of(more_of(x, T(0.0) - x) - bias, T(0.0));
  const T z_sq = off * off / (sigma * sigma + lasting + T(width * width / 3));
  const T match = exp_of(T(-0.5) * less_of(z_sq, T(25.0))) / (T(2.5066) * sigma);
  return choose((T(25.0) < z_sq) | (predicted < T(0.05)), T(0.0), match) + T(least_likely);
}

template <class T>
FW_INLINE T held_back(const T& available, const T& x, double scatter_sq) {
  const T below = more_of(less_of(x, T(1.0)), T(0.0));
  const T match = T(0.35) * exp_of(more_of(T(-0.5) * below * below / scatter_sq, T(-700.0))) + T(least_likely);
  return choose((available < T(0.05)) | (T(1.0) < x), T(least_likely), choose(T(0.0) < x, match, T(0.35)));
}

double held_back_scatter_sq(const StringLook& l) { return 4 * l.sigma * l.sigma + l.bias * l.bias; }

}  // namespace

double power_likelihood(const StringLook& l, double predicted, double x, double sigma, double width, double bias) {
  return l.carries() ? tracking(predicted, x, sigma, 0.0, width, bias) : asleep(predicted, l.wake_w);
}

FW_WIDE void power_likelihoods(const StringLook& l, int quads, const Quad* predicted, const Quad* x, const Quad* sigma, const Quad* lasting, double width,
                               const Quad* bias, Quad* out) {
  const bool carries = l.carries();
  for (int k = 0; k < quads; ++k) out[k] = carries ? tracking(predicted[k], x[k], sigma[k], lasting[k], width, bias[k]) : asleep(predicted[k], l.wake_w);
}

double held_back_likelihood(const StringLook& l, double available, double x) {
  return l.carries() ? held_back(available, x, held_back_scatter_sq(l)) : 0.5;
}

FW_WIDE void held_back_likelihoods(const StringLook& l, int quads, const Quad* available, const Quad* x, Quad* out) {
  const bool carries = l.carries();
  const double scatter_sq = held_back_scatter_sq(l);
  for (int k = 0; k < quads; ++k) out[k] = carries ? held_back(available[k], x[k], scatter_sq) : Quad(0.5);
}

namespace {

double voltage_density(const StringLook& l, const StringState& s, bool several_rows) {
  if (!l.carries()) {
    const double u = l.volts_to_open;
    if (s.kind == Kind::open) return (u < unplugged ? 0.5 / unplugged : 0) + 0.4 * normal_density(u, 0.98, 0.04) + 0.02;
    // under deep snow a controller may hold the string near its working voltage or leave it open, the cells as cold as
    // the air; the voltage, too, may fail
    if (s.kind == Kind::snow && s.pass < 0.05) return 0.5 * normal_density(u, 0.70, 0.11) + 0.3 * normal_density(u, 0.92, 0.05) + 0.2;
    if (s.pass < 0.3 && s.kind != Kind::shade) return 0.9 * normal_density(u, 0.72, 0.13) + 0.02;
    return 0.9 * normal_density(u, 0.85, 0.10) + 0.02;
  }
  const double z = l.volts_ln, sd = l.volts_sigma;
  const double even = normal_density(z, 0, sd);
  const double below = z < 0 && z > -1.3 ? 0.8 * std::exp(z / 1.0) : 0;  // part of the row bypassed
  const double above = z > 0 && z < 0.16 ? 1 / 0.16 : 0;                // a few bright patches
  const double floor = 0.02;
  switch (s.kind) {
    case Kind::clean:
    case Kind::film:
    case Kind::frost: return even + floor;
    // which of the three it is stays so for hours: being even must not count against a cover minute by minute
    case Kind::snow: return even + 0.40 * below + 0.15 * above + floor;
    case Kind::shade: return even + 0.30 * below + 0.10 * above + floor;
    case Kind::leaf: return normal_density(z, std::log(s.pass), sd + 0.01) + floor;
    // the heat of the cells that work on is not known so well, and stays unknown for hours
    case Kind::half: return (several_rows ? normal_density(l.volts_ln_doubled, 0, std::hypot(sd, 0.03)) : even) + floor;
    case Kind::open: return floor;
  }
  return 1;
}

/// A string that is tracked works well under its open circuit, whatever covers it; near that it is held back.
double near_open(const StringLook& l) {
  constexpr double from = 0.92, over = 0.03;
  const double x = (l.volts_to_open - from) / over;
  return x <= 0 ? 0 : 1 - std::exp(-0.5 * x * x);
}

}  // namespace

double voltage_likelihood(const StringLook& l, const StringState& s, bool several_rows) {
  if (!l.has_volts) return 1;
  const double tracked = l.carries() ? std::max(0.02, 1 - near_open(l)) : 1;
  return std::pow(voltage_density(l, s, several_rows), repeat) * tracked;
}

double held_back_voltage_likelihood(const StringLook& l, const StringState& s) {
  if (!l.has_volts) return 1;
  if (!l.carries()) {
    if (s.kind == Kind::open) return normal_density(l.volts_to_open, 0.97, 0.06);
    // open circuit falls with the logarithm of the light; ahead of it lies an unknown sky
    const double open = 0.97 + volts_per_ln_light * std::log(std::max(s.pass, 0.003));
    const double below = l.volts_to_open < open ? 0.03 : 0;
    return 0.9 * normal_density(l.volts_to_open, open, 0.05 + below) + 0.05;
  }
  const double z = l.volts_ln;
  return (z > 0.01 && (z < 0.45 || near_open(l) > 0.5) ? 2.2 : 0) + 0.05;
}

double motion_likelihood(const Motion& m, Regime regime) {
  const RegimeRow& r = regime_rows[static_cast<std::size_t>(regime)];
  const auto term = [&](double seen, double typical, double scatter) {
    const double expected = std::sqrt(typical * typical + m.noise * m.noise);
    const double x = std::log(std::max(seen, 0.0008) / expected);
    return normal_density(x, 0, scatter) + 0.02;
  };
  double l = term(m.flicker, r.flicker, 0.8);
  if (m.minutes >= 12) l *= term(m.spread, r.spread, 0.9);
  if (regime != Regime::behind) return l;
  // beyond the obstacle clouds may pass: their light comes over it, softened
  double passing = term(m.flicker, 0.06, 0.9);
  if (m.minutes >= 12) passing *= term(m.spread, 0.15, 0.9);
  return 0.6 * l + 0.4 * passing;
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
