#include "outlook/cleaning.h"

#include <algorithm>

namespace fw::outlook {

Cleaning cleaning_gain(const rig::Rig& rig, const RoofAhead& roof, const std::vector<double>& soiling_loss, double taken_share,
                       bool bank_short) {
  constexpr double noise = 0.05;  // a film thinner than this is not known well enough to climb for
  Cleaning out;
  double hours_ahead = 0, lost_wh = 0, snow_cm = 0;
  bool thaw = false;
  for (std::size_t i = 0; i < roof.steps.size(); ++i) {
    const auto& step = roof.steps[i];
    hours_ahead += step.hours;
    snow_cm += step.snow_cm;
    thaw |= snow_cm > 0.5 && step.air_c > 1;
    for (std::size_t s = 0; s < rig.strings.size() && s < soiling_loss.size(); ++s)
      if (soiling_loss[s] >= noise) lost_wh += roof.clean_w[s][i] * soiling_loss[s] * step.hours;
  }
  if (hours_ahead <= 0) return out;
  out.kwh_a_week = lost_wh / 1000 * std::clamp(taken_share, 0.0, 1.0) * 168 / hours_ahead;
  out.snow_will_do = thaw;
  out.worth_it = !thaw && out.kwh_a_week >= rig.advice.min_gain_kwh * (bank_short ? 1 : 2);
  return out;
}

}  // namespace fw::outlook
