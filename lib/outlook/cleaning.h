#pragma once
// Whether washing the glass pays: what dirt costs of the coming days' sun, and who will do it for free.
#include <vector>

#include "outlook/roof_ahead.h"

namespace fw::outlook {

struct Cleaning {
  double kwh_a_week = 0;         ///< that bank and loads would have taken
  bool snow_will_do = false;     ///< snow and thaw ahead: melt takes the film along
  bool worth_it = false;
};

/// soiling_loss per string, 0..0.6. taken_share: share of the strings' energy that finds a taker in the plan, 0..1.
/// Worth it from twice the owner's threshold a week; from the threshold when the bank is short.
Cleaning cleaning_gain(const rig::Rig& rig, const RoofAhead& roof, const std::vector<double>& soiling_loss, double taken_share,
                       bool bank_short);

}  // namespace fw::outlook
