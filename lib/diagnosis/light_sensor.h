#pragma once
// What a light sensor says of the light of the strings. It may lie under snow itself or in a shadow of its own, and then
// shows a part of the light and still follows it.
#include "diagnosis/evidence.h"

namespace fw::diagnosis {

/// Scatter (ln) of a light sensor about the light of the strings: more while clouds pass over one after the other.
double irradiance_sd(const Motion& motion);
/// A measured irradiance over the clear-sky one, against a node's share, by a sensor under the same sky.
double irradiance_likelihood(double share, double at_node, double sd);
/// The same while an obstacle stands before the sun for the strings: it may stand before the sensor as well or not, and
/// does so for as long, so that the best of both counts.
double irradiance_behind_likelihood(double share, double at_node, double sd);
/// By a sensor of which nothing is known: any reading is as likely.
inline constexpr double irradiance_unknown_likelihood = 0.3;

/// What is believed of the sensor, for one explanation of what lies on the strings.
struct LightSensor {
  double dimmed = 0;      ///< chance that something lies on it or shades it; 0: not looked at yet
  double pass_ln = 0;     ///< ln of what it then shows, as far as met
  bool met = false;

  /// Likelihood by node of the share it shows (over a clear sky's light). covered: snow lies on the strings. Thinks anew, slowly,
  /// of whether it is dimmed.
  std::array<double, share_count> says(double share, const SkyShares& sky, double sd, bool covered);
  /// Takes the minute's share. light: belief about the light by node, any sum.
  void learn(double share, const SkyShares& sky, double sd, const std::array<double, share_count>& light);

 private:
  double dimmed_likelihood(double share, double at_node, double sd) const;
};

}  // namespace fw::diagnosis
