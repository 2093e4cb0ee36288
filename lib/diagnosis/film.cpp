#include "diagnosis/film.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace fw::diagnosis {

namespace {

constexpr double day_counts_from = 40;   ///< clear minutes
constexpr double memory_min = 40;        ///< of the present figure
/// Day-to-day scatter of clear-moment performance: 2.6 % (robust) measured on real clear days, less where
/// the string's own days agree better; never under `least`.
constexpr double full_day_min = 180, least_scatter = 0.013, first_scatter = 0.02, first_days = 3, largest_step = 0.04;
constexpr double claim_from = 0.065, best_day_luck = 1.0, most_in_a_day = 0.07;
constexpr double washed_share = 0.4;   // of the loss: less than this left is washed; an estimate
constexpr int washed_minutes = 12;
constexpr double in_common = 0.5;   // of a loss that one string shows and the others do not, this much is doubted; an estimate

}  // namespace

void Film::learn(std::int32_t day, double over_clean, const roof::Calibration& c, std::optional<double> others) {
  if (!(over_clean > 0.2) || over_clean > 1.6) return;
  if (day != day_) {
    minutes_ = std::min(minutes_, 8.0);
    before_ = loss_;
  }
  day_ = day;
  minutes_ = std::min(minutes_ + 1, memory_min);
  now_ += (over_clean - now_) / minutes_;

  std::vector<std::pair<double, double>> scales;   // with their weight: an hour shows less than a day
  std::vector<double> steps;
  double before = 0, weights = 0;
  for (const auto& [d, s] : c.day_scales()) {
    if (d >= day || s.minutes < day_counts_from) continue;
    const double weight = std::min(1.0, s.minutes / full_day_min);
    scales.push_back({s.scale, weight});
    weights += weight;
    if (before > 0) steps.push_back(std::abs(s.scale / before - 1));
    before = s.scale;
  }
  known_ = weights >= 1.5 && minutes_ >= 20;
  if (!known_) return;
  // near the best, not the best: a day among bright snow is no standard
  std::sort(scales.begin(), scales.end());
  double above = 0, best = scales.front().first;
  for (auto it = scales.rbegin(); it != scales.rend(); ++it) {
    above += it->second;
    if (above < std::min(0.25 * weights, 1.5)) continue;
    best = it->first;
    break;
  }
  // steps from day to day; one that dirt or rain made counts no more than a large one of chance
  double sum_sq = first_days * first_scatter * first_scatter;
  for (const double s : steps) sum_sq += 0.5 * std::min(s, largest_step) * std::min(s, largest_step);
  scatter_ = std::max(least_scatter, std::sqrt(sum_sq / (first_days + static_cast<double>(steps.size()))));
  // one day after rain or a cleaning shows what the glass can do, less what chance may have added
  double top = 0;
  for (const auto& [scale, weight] : scales)
    if (weight > 0.9) top = std::max(top, scale);
  best = std::max(best, top * (1 - best_day_luck * scatter_));
  // dirt does not come all at once: a sudden step is something else
  own_loss_ = 1 - now_ * c.scale() / best;
  const double shared = others ? std::min(own_loss_, in_common * *others + (1 - in_common) * own_loss_) : own_loss_;
  loss_ = std::clamp(shared, 0.0, std::min(0.6, before_ + most_in_a_day));
  const double from = std::max(claim_from, 2.2 * scatter_);
  claimed_ = claimed_ ? loss_ > 0.7 * from : loss_ > from;
}

void Film::see_washed(double over_clean) {
  washed_ = over_clean > 1 - washed_share * loss_ ? washed_ + 1 : 0;
  if (washed_ < washed_minutes) return;
  loss_ = own_loss_ = before_ = washed_share * loss_;
  minutes_ = 0;
  claimed_ = false;
  washed_ = 0;
}

void Film::set(const Kept& k) {
  day_ = k.day;
  minutes_ = k.minutes;
  now_ = k.now;
  loss_ = own_loss_ = k.loss;
  scatter_ = k.scatter;
  before_ = k.before;
  known_ = k.known;
  claimed_ = k.claimed;
}

}  // namespace fw::diagnosis
