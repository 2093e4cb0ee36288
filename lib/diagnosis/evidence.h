#pragma once
// What a minute says for or against a hidden state: one function per kind of evidence, each a likelihood
// (not normalised, the same measure for all states). To add a piece of evidence, write its function here
// and use it in filter.cpp where the others are multiplied.
#include <array>

#include "diagnosis/look.h"
#include "diagnosis/sky_regime.h"
#include "diagnosis/string_state.h"

namespace fw::diagnosis {

/// Light of a clear sky left over at each node: of the beam and of the diffuse part, and of the whole.
struct SkyShares {
  std::array<double, share_count> beam{}, diffuse{}, global{};
};

/// Power the string would make at a node in a state.
double predicted_w(const StringLook& look, const SkyShares& sky, int node, const StringState& state);

/// Measured power given the power predicted, when the controller tracks the maximum. deviation: ln(measured
/// over predicted), used when the string carries; sigma: its scatter; width: of the state's row (ln), within which the level
/// is free and, once there, stays: it widens the match but does not thin it out; bias: |ln| within which a deviation
/// says nothing.
double power_likelihood(const StringLook& look, double predicted_w, double deviation, double sigma, double width, double bias);

/// Measured power given the power available, when the output is held back.
double held_back_likelihood(const StringLook& look, double available_w, double deviation);

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

/// A measured irradiance over the clear-sky one, against a node's share.
double irradiance_likelihood(double share, double at_node);

/// Odds (natural logarithm) that output is held back, from all but power and voltage.
double held_back_hint(const SiteLook& site, std::optional<Stage> stage);

}  // namespace fw::diagnosis
