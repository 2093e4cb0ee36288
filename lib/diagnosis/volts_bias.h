#pragma once
// How a string's working voltage differs from its model: by a constant and with the light, for the sheet says little of
// weak light. Learned from minutes in which the glass was clean.
#include <algorithm>
#include <array>
#include <cmath>

namespace fw::diagnosis {

class VoltsBias {
 public:
  /// light: share of full clear light in the string, 0..1.4; excess_ln: ln(volts / the model's).
  void learn(double light, double excess_ln) {
    const double x = depth(light);
    const double keep = sums_[0] > most_minutes ? most_minutes / sums_[0] : 1;
    for (double& s : sums_) s *= keep;
    sums_[0] += 1;
    sums_[1] += x;
    sums_[2] += x * x;
    sums_[3] += excess_ln;
    sums_[4] += x * excess_ln;
  }

  /// Expected excess in a light.
  double at(double light) const {
    // least squares, held near zero until there is something to rest on
    const double a = sums_[0] + 6, b = sums_[1], c = sums_[2] + 12;
    const double det = a * c - b * b;
    const double constant = (c * sums_[3] - b * sums_[4]) / det, slope = (a * sums_[4] - b * sums_[3]) / det;
    return std::clamp(constant + slope * depth(light), -0.2, 0.2);
  }
  double sigma(double light) const {
    return 0.012 + 0.035 / (1 + sums_[0] / 20) + 0.022 * depth(light) / (1 + sums_[2] / 25);
  }

  using Kept = std::array<double, 5>;
  const Kept& kept() const { return sums_; }
  void set(const Kept& k) { sums_ = k; }

 private:
  static constexpr double most_minutes = 1500;
  static double depth(double light) { return std::clamp(-std::log(std::max(light, 0.01)), 0.0, 4.0); }
  Kept sums_{};   ///< minutes, sums of depth, depth squared, excess, depth times excess
};

}  // namespace fw::diagnosis
