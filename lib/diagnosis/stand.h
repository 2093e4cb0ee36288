#pragma once
// Where and how the rig stands, from its live position and attitude where it reports them, else as described.
// A raised jack, a turned nose or another place counts once it has held for five minutes at rest.
#include <vector>

#include "records/minute.h"
#include "rig/rig.h"
#include "roof/attitude.h"
#include "sky/plane.h"

namespace fw::diagnosis {

class Stand {
 public:
  explicit Stand(const rig::Rig& rig);

  struct Change {
    bool attitude = false;  ///< the strings' planes are others now
    bool place = false;     ///< more than a kilometre away
  };
  Change follow(const RigMinute& minute);

  bool moving() const { return moving_; }
  double latitude_deg() const { return latitude_deg_; }
  double longitude_deg() const { return longitude_deg_; }
  /// By string, in the world.
  std::vector<sky::Plane> planes() const;

 private:
  const rig::Rig& rig_;
  std::vector<sky::Plane> mounted_;
  roof::Attitude attitude_, next_attitude_;
  double latitude_deg_, longitude_deg_, next_latitude_deg_ = 0, next_longitude_deg_ = 0;
  int attitude_minutes_ = 0, place_minutes_ = 0;
  bool moving_ = false;
};

}  // namespace fw::diagnosis
