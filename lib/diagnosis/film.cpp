#include "diagnosis/film.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace fw::diagnosis {

namespace {

constexpr double day_counts_from = 25;   ///< clear minutes
constexpr double memory_min = 40;        ///< of the present figure
/// Day-to-day scatter of clear-moment performance: 2.6 % (robust) measured on real clear days, less where
/// the string's own days agree better; never under `least`.
constexpr double least_scatter = 0.013, first_scatter = 0.02;
constexpr double claim_from = 0.045, most_in_a_day = 0.07;

}  // namespace

void Film::learn(std::int32_t day, double over_clean, const roof::Calibration& c) {
  if (!(over_clean > 0.2) || over_clean > 1.6) return;
  if (day != day_) {
    minutes_ = std::min(minutes_, 8.0);
    before_ = loss_;
  }
  day_ = day;
  minutes_ = std::min(minutes_ + 1, memory_min);
  now_ += (over_clean - now_) / minutes_;

  std::vector<double> scales, steps;
  double before = 0;
  for (const auto& [d, s] : c.day_scales()) {
    if (d >= day || s.minutes < day_counts_from) continue;
    scales.push_back(s.scale);
    if (before > 0) steps.push_back(std::abs(s.scale / before - 1));
    before = s.scale;
  }
  known_ = !scales.empty() && minutes_ >= 8;
  if (!known_) return;
  std::sort(scales.begin(), scales.end());
  // near the best, not the best: a day among bright snow is no standard
  const double best = scales[static_cast<std::size_t>(0.75 * static_cast<double>(scales.size() - 1) + 0.5)];
  scatter_ = first_scatter;
  if (steps.size() >= 3) {
    // steps from day to day, which a slow film hardly moves
    std::nth_element(steps.begin(), steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2), steps.end());
    scatter_ = std::max(least_scatter, 1.05 * steps[steps.size() / 2]);
  }
  // dirt does not come all at once: a sudden step is something else
  loss_ = std::clamp(1 - now_ * c.scale() / best, 0.0, std::min(0.6, before_ + most_in_a_day));
  const double from = std::max(claim_from, 2.2 * scatter_);
  claimed_ = claimed_ ? loss_ > 0.7 * from : loss_ > from;
}

void Film::set(const Kept& k) {
  day_ = k.day;
  minutes_ = k.minutes;
  now_ = k.now;
  loss_ = k.loss;
  scatter_ = k.scatter;
  before_ = k.before;
  known_ = k.known;
  claimed_ = k.claimed;
}

}  // namespace fw::diagnosis
