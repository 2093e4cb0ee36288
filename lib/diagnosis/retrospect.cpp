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
constexpr double sure = 0.7, no_snow = 0.1;
constexpr std::ptrdiff_t full_beside = 10;   // minutes
constexpr double beside_deg = 37;            // of the sun's hour angle: two hours and a half
constexpr double direction_deg = 3;
constexpr std::size_t least_minutes = 5;
// No cloud's edge stays this still for so long: calm and brighter than the model is a clear sky over a plane that leans
// otherwise than thought.
constexpr double very_calm_step = 0.008, brightest_level = 1.45, bright_level = 0.98;
constexpr std::size_t calm_run = 30;

/// The next minute, and no more change from one to the other than that.
bool calm(const Retrospect::Minute& before, const Retrospect::Minute& m, double step) {
  return before.share > 0 && m.share > 0 && std::abs(m.sky.sun.hour_angle_deg - before.sky.sun.hour_angle_deg) < 0.4 &&
         std::abs(std::log(m.share / before.share)) < step + rounding_w / std::max(1.0, m.measured_w);
}

void learn_calm_runs(const std::vector<Retrospect::Minute>& day, roof::Calibration& calibration) {
  for (std::size_t from = 0, to; from < day.size(); from = to) {
    for (to = from + 1; to < day.size() && calm(day[to - 1], day[to], very_calm_step); ++to) {}
    if (to - from < calm_run) continue;
    std::size_t above = 0;
    for (std::size_t i = from; i < to; ++i) above += day[i].share > bright_level && day[i].share < brightest_level;
    if (above < (to - from) * 9 / 10) continue;
    for (std::size_t i = from; i < to; ++i)
      if (!day[i].learned && day[i].share < brightest_level) calibration.learn(day[i].day, day[i].sky, day[i].paper, day[i].measured_w, 1, day[i].may_be_covered);
  }
}

/// What the day gave at most with the sun in each direction, where it shone in full before and after.
void learn_best(const std::vector<Retrospect::Minute>& day, double low, roof::Calibration& calibration) {
  const auto full = [&](const Retrospect::Minute& m) { return m.share >= low && m.share < most_level; };
  const auto direction = [](const Retrospect::Minute& m) { return static_cast<int>(m.sky.sun.azimuth_deg / direction_deg); };
  for (std::size_t from = 0, to; from < day.size(); from = to) {
    for (to = from + 1; to < day.size() && direction(day[to]) == direction(day[from]); ++to) {}
    if (to - from < least_minutes) continue;
    const auto near = [&](const Retrospect::Minute& m) { return std::abs(m.sky.sun.hour_angle_deg - day[from].sky.sun.hour_angle_deg) < beside_deg; };
    std::ptrdiff_t before = 0, after = 0;
    for (std::size_t i = from; i-- > 0 && near(day[i]);) before += full(day[i]);
    for (std::size_t i = to; i < day.size() && near(day[i]); ++i) after += full(day[i]);
    if (before + after < 2 * full_beside) continue;
    std::vector<double> ratios;
    for (std::size_t i = from; i < to; ++i)
      if (day[i].paper.power_w > 0) ratios.push_back(day[i].measured_w / day[i].paper.power_w);
    if (ratios.size() < least_minutes) continue;
    std::sort(ratios.begin(), ratios.end());
    const Retrospect::Minute& middle = day[(from + to) / 2];
    calibration.keep_best(middle.day, middle.sky, middle.paper, ratios[ratios.size() * 4 / 5]);
  }
}

}  // namespace

void Retrospect::close_day(roof::Calibration& calibration) {
  std::vector<Minute> day;
  day.swap(kept_);
  learn_calm_runs(day, calibration);
  // what the string makes in the calm clear minutes of this day: something lasting would show there too
  std::vector<double> levels;
  for (std::size_t i = 1; i < day.size(); ++i)
    if (day[i].share > least_level && day[i].share < most_level && day[i].cloudless > sure && calm(day[i - 1], day[i], calm_step)) levels.push_back(day[i].share);
  if (levels.size() < full_minutes) return;
  const auto middle = levels.begin() + static_cast<std::ptrdiff_t>(levels.size() / 2);
  std::nth_element(levels.begin(), middle, levels.end());
  // snow has no full power before it on a dry day; between full power and full power it was a shadow, whatever it seemed
  const double low = low_below * *middle;
  const auto full = [&](const Minute& m) { return m.cloudless > sure && m.share >= low; };
  learn_best(day, low, calibration);
  std::ptrdiff_t before = 0, after = std::count_if(day.begin(), day.end(), full);
  for (const Minute& m : day) {
    if (full(m)) ++before, --after;
    const bool between = before >= full_beside && after >= full_beside;
    if (!m.learned && m.cloudless > sure && (m.snow < no_snow || m.may_be_covered < no_snow || between) && m.share > 0.01 && m.share < low)
      calibration.learn(m.day, m.sky, m.paper, m.measured_w, 1, m.may_be_covered);
  }
}

}  // namespace fw::diagnosis
