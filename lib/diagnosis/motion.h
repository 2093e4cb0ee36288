#pragma once
// How much a string's share of the clear-sky power moved lately.
#include <array>
#include <cmath>
#include <cstddef>

#include "diagnosis/evidence.h"

namespace fw::diagnosis {

class Track {
 public:
  static constexpr std::size_t kept = 20;

  /// ratio_ln: ln(power over clear power); noise: relative, of one minute's mean. NaN: nothing seen.
  void add(double ratio_ln, double noise) {
    at_ = (at_ + 1) % kept;
    values_[at_] = ratio_ln;
    noise_[at_] = noise;
    if (count_ < kept) ++count_;
  }
  void clear() { count_ = 0; }

  /// Value `ago` minutes back, NaN when unknown.
  double back(std::size_t ago) const { return ago < count_ ? values_[(at_ + kept - ago) % kept] : NAN; }

  Motion motion() const {
    Motion m;
    double sum_sq = 0, noise = 0;
    int diffs = 0;
    for (std::size_t i = 0; i < 7; ++i) {
      const double x = back(i), before = back(i + 1);
      if (std::isnan(x) || std::isnan(before)) continue;
      sum_sq += (x - before) * (x - before);
      noise += noise_[(at_ + kept - i) % kept];
      ++diffs;
    }
    if (diffs < 3) return m;
    m.known = true;
    m.flicker = std::sqrt(sum_sq / diffs);
    m.noise = 1.4 * noise / diffs;
    m.spread = spread(m.minutes);
    return m;
  }

 private:
  double spread(int& seen) const {
    double sum = 0, sum_sq = 0;
    int n = 0;
    for (std::size_t i = 0; i < kept; ++i) {
      const double x = back(i);
      if (std::isnan(x)) continue;
      sum += x;
      sum_sq += x * x;
      ++n;
    }
    seen = n;
    return n > 1 ? std::sqrt(std::max(0.0, sum_sq / n - (sum / n) * (sum / n))) : 0;
  }
  std::array<double, kept> values_{}, noise_{};
  std::size_t at_ = 0, count_ = 0;
};

}  // namespace fw::diagnosis
