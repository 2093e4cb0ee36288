#pragma once
// What the jack at its ends, or another heading at the next stop, would give.
#include <optional>
#include <vector>

#include "outlook/roof_ahead.h"

namespace fw::outlook {

struct AttitudeGain {
  double now_kwh = 0;            ///< clean strings as the rig stands, from now to the end of the weather given
  std::optional<double> pitch_deg;  ///< the better end of the jack's range
  double pitch_kwh = 0;          ///< more than now by that, today only
  double pitch_all_kwh = 0;      ///< and over the days given
  int turn_deg = 0;              ///< best of 90, 180, 270 clockwise
  double turn_all_kwh = 0;       ///< more than now by that, over the days given
};

/// planes are those in use (calibrated); the change of attitude turns them. today_until: end of today.
AttitudeGain attitude_gain(const rig::Rig& rig, const RoofAhead& roof, const sky::Site& site, Utc today_until,
                           const roof::Attitude& now);

}  // namespace fw::outlook
