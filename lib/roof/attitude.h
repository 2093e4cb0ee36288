#pragma once
// How the rig stands, and what raising or lowering its jack would change.
#include "roof/expected.h"

namespace fw::roof {

/// heading: where the nose points, 0..360 from north; pitch: nose up positive; roll: right side
/// down positive. Degrees.
struct Attitude {
  double heading_deg = 0, pitch_deg = 0, roll_deg = 0;
};

/// The plane in the world of a panel that is mounted at `mounted` on the rig (its azimuth counts from
/// the nose, clockwise seen from above). Rotations in the order roll, pitch, heading.
sky::Plane plane_on_rig(const sky::Plane& mounted, const Attitude& attitude);

/// The other way round: how a panel is mounted on a rig that stands so, when its plane in the world is known.
sky::Plane mounted_on_rig(const sky::Plane& in_the_world, const Attitude& attitude);

/// Energy of a day with the jack at its ends and at its best.
struct JackGain {
  double now_wh = 0;
  double low_wh = 0, high_wh = 0;  ///< nose down as far as it goes, nose up as far as it goes
  double best_pitch_deg = 0;
  double best_wh = 0;
};

/// pitch_low_deg..pitch_high_deg: range of the jack (nose down negative), around level, the roll
/// kept. share_of_clear 0..1.5: of the cloudless light all day. Steps of `step` from `from` to `to`.
JackGain jack_gain(const StringModel& string, const sky::Plane& mounted, const Attitude& now, double pitch_low_deg,
                   double pitch_high_deg, const sky::Site& site, Utc from, Utc to, const Weather& weather,
                   double share_of_clear = 1, double albedo = sky::State::albedo_default, Span step = minutes{15});

}  // namespace fw::roof
