#include "diagnosis/retrospect.h"

#include <algorithm>
#include <cmath>

namespace fw::diagnosis {

namespace {

constexpr std::size_t most_kept = 200, calm_min = 8, longest_edge = 5, shortest_shade = 8;

}  // namespace

void Retrospect::keep(const Minute& m) {
  if (!kept_.empty() && (m.day != kept_.back().day || m.sky.at - kept_.back().sky.at > minutes{6})) kept_.clear();
  kept_.push_back(m);
  if (kept_.size() > most_kept) kept_.erase(kept_.begin(), kept_.begin() + 20);
}

void Retrospect::look_back(roof::Calibration& calibration) {
  const std::size_t n = kept_.size();
  if (n < calm_min + shortest_shade + 1) return;
  const double now = kept_.back().share;
  if (now < 0.7 || now > 1.2) return;
  // the calm spell
  for (std::size_t i = n - calm_min; i < n; ++i)
    if (std::abs(kept_[i].share / now - 1) > 0.04) return;
  // the edge before it
  const std::size_t foot_from = n - calm_min > longest_edge ? n - calm_min - longest_edge : 0;
  std::size_t foot = n;
  for (std::size_t i = n - calm_min; i-- > foot_from;)
    if (kept_[i].share < 0.74 * now) {
      foot = i;
      break;
    }
  if (foot == n || kept_[foot].learned) return;
  // the low spell: smooth, for a cloud's edge flutters
  std::size_t from = foot;
  while (from > 0 && kept_[from - 1].share < 0.80 * now && std::abs(kept_[from - 1].share - kept_[from].share) < 0.09 * now &&
         !kept_[from - 1].learned)
    --from;
  if (foot + 1 - from < shortest_shade) return;
  // a sweep makes the same edge: only with a low sun is a hill the likelier
  double snow = 0;
  for (std::size_t i = from; i <= foot; ++i) snow += kept_[i].snow / static_cast<double>(foot + 1 - from);
  if (snow > 0.4 && kept_[foot].sky.sun.elevation_deg > 15) return;
  double moved = 0;
  for (std::size_t i = from + 1; i <= foot; ++i) moved += std::abs(kept_[i].share - kept_[i - 1].share);
  if (moved > 0.014 * now * static_cast<double>(foot - from)) return;
  for (std::size_t i = from; i <= foot; ++i) {
    calibration.learn(kept_[i].day, kept_[i].sky, kept_[i].paper, kept_[i].measured_w);
    kept_[i].learned = true;
  }
}

}  // namespace fw::diagnosis
