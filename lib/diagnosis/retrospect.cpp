#include "diagnosis/retrospect.h"

#include <algorithm>
#include <cmath>

namespace fw::diagnosis {

namespace {

constexpr double low_below = 0.92;       // of the day's clear level
constexpr double least_level = 0.80, most_level = 1.25;
constexpr std::size_t full_minutes = 15;
constexpr double calm_step = 0.012;      // of ln(power), a minute
constexpr double rounding_w = 0.6;
constexpr double sure = 0.7;

}  // namespace

void Retrospect::close_day(roof::Calibration& calibration) {
  std::vector<Minute> day;
  day.swap(kept_);
  // what the string makes in the calm clear minutes of this day: something lasting would show there too
  std::vector<double> levels;
  for (std::size_t i = 1; i < day.size(); ++i) {
    if (day[i].share < least_level || day[i].share > most_level || day[i - 1].share <= 0 || day[i].cloudless < sure) continue;
    if (std::abs(std::log(day[i].share / day[i - 1].share)) < calm_step + rounding_w / std::max(1.0, day[i].measured_w)) levels.push_back(day[i].share);
  }
  if (levels.size() < full_minutes) return;
  const auto middle = levels.begin() + static_cast<std::ptrdiff_t>(levels.size() / 2);
  std::nth_element(levels.begin(), middle, levels.end());
  for (const Minute& m : day)
    if (!m.learned && m.cloudless > sure && m.share > 0.01 && m.share < low_below * *middle)
      calibration.learn(m.day, m.sky, m.paper, m.measured_w);
}

}  // namespace fw::diagnosis
