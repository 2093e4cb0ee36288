#pragma once
// What a minute says for or against a hidden state: one function per kind of evidence, each a likelihood
// (not normalised, the same measure for all states). To add a piece of evidence, write its function here
// and use it in filter.cpp where the others are multiplied.
#include <array>

#include "diagnosis/look.h"
#include "diagnosis/quad.h"
#include "diagnosis/sky_regime.h"
#include "diagnosis/string_state.h"

namespace fw::diagnosis {

/// Light of a clear sky left over at each node: of the beam and of the diffuse part, and of the whole.
struct SkyShares {
  std::array<double, share_count> beam{}, diffuse{}, global{};
};

/// Watts that the light at a node would make in a clean string without a film: what shade stands before, and the rest.
template <class T>
struct Light {
  T beam_w{}, rest_w{};
};
Light<double> light_at(const StringLook& look, const SkyShares& sky, int node);

/// Power the string would make in that light in a state.
template <class T>
FW_INLINE T predicted_w(const StringLook& l, const Light<T>& at, const StringState& s) {
  T w = s.kind == Kind::shade ? at.beam_w * s.pass + at.rest_w * (0.5 + 0.5 * s.pass) : (at.beam_w + at.rest_w) * s.pass;
  w = w * l.film_pass;
  const T dim = T(1.0) - less_of(T(1.0), w / more_of(1.0, l.clear_w));
  w = w * (T(1.0) + T(l.dim_gain) * dim);
  return less_of(w, T(l.limit_w));
}
inline double predicted_w(const StringLook& look, const SkyShares& sky, int node, const StringState& state) {
  return predicted_w(look, light_at(look, sky, node), state);
}

/// Measured power given the power predicted, when the controller tracks the maximum. deviation: ln(measured
/// over predicted), used when the string carries; sigma: its scatter; width: of the state's row (ln), within which the level
/// is free and, once there, stays: it widens the match but does not thin it out; bias: |ln| within which a deviation
/// says nothing.
double power_likelihood(const StringLook& look, double predicted_w, double deviation, double sigma, double width, double bias);
/// The same for a run of nodes, each with its scatter and bias. lasting: the part of the scatter (its variance) that stays
/// for hours, and like a width does not thin out the match.
void power_likelihoods(const StringLook& look, int quads, const Quad* predicted_w, const Quad* deviation, const Quad* sigma, const Quad* lasting,
                       double width, const Quad* bias, Quad* likelihood);

/// Measured power given the power available, when the output is held back.
double held_back_likelihood(const StringLook& look, double available_w, double deviation);
void held_back_likelihoods(const StringLook& look, int quads, const Quad* available_w, const Quad* deviation, Quad* likelihood);

/// Voltage in a state, the controller tracking.
double voltage_likelihood(const StringLook& look, const StringState& state, bool several_rows);

/// Voltage when held back: between the working point and open circuit of the light that a state lets through.
double held_back_voltage_likelihood(const StringLook& look, const StringState& state);

/// How much the light moves: from minute to minute and over twenty minutes, against a regime.
struct Motion {
  bool known = false;
  double flicker = 0, spread = 0;  ///< of ln(power): minute to minute, over 20 min
  double noise = 0;                ///< the share of it that the sensor makes
  int minutes = 0;                 ///< seen of the twenty
};
double motion_likelihood(const Motion& motion, Regime regime);

/// Density of the normal distribution, nought beyond some eight sd.
double normal_density(double x, double mean, double sd);

/// Odds (natural logarithm) that output is held back, from all but power and voltage.
double held_back_hint(const SiteLook& site, std::optional<Stage> stage);

}  // namespace fw::diagnosis
