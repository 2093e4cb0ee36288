#pragma once
// From the belief about hidden states to one cause with its confidence.
#include <array>
#include <string>

#include "diagnosis/filter.h"
#include "records/verdict.h"

namespace fw::diagnosis {

/// Of clear-sky light: less is called a cloud.
inline constexpr double cloud_below = 0.90;
/// Of light through the cover: less is snow. What seems to take a seventh or less is the model, film or haze more often.
inline constexpr double snow_below = 0.85;

struct Opinion {
  Cause cause = Cause::unsure;
  std::string reason;
  double confidence = 0;
  std::array<double, cause_count> probability{};
  double snow = 0;          ///< probability of snow that takes a tenth or more, frost not counted
  double frost = 0;
  double snow_pass = 1;     ///< mean share let through, given snow
  double half = 0, open = 0, leaf = 0, shade = 0;
  double held_back = 0;
};

/// share: present share of clear-sky light; cloudy: chance that it is low enough to be called a cloud;
/// settled: the string's own figure is known, so that what it makes tells a cloud; icy: snow lay here and cannot all have gone; behind: chance that the sun stands behind an obstacle; shade_now: present power behind fixed shade over that without.
Opinion opinion_of(const StringStates& states, const Belief& belief, double held_back, const StringLook& look, double share,
                   double cloudy, double behind, double shade_now, bool settled, bool icy);

}  // namespace fw::diagnosis
