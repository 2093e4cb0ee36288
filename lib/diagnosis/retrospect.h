#pragma once
// Fixed shade is seen from behind: while a hill or a tree stands before the sun the sky looks overcast, and
// only the sudden full power a little later tells what it was. The day's minutes are kept until then and go
// to the calibration, which wants two days to agree before it believes them.
#include <cstdint>
#include <vector>

#include "roof/calibration.h"

namespace fw::diagnosis {

class Retrospect {
 public:
  struct Minute {
    std::int32_t day = 0;
    sky::State sky;
    roof::Expected paper;
    double measured_w = 0, share = 0;   ///< share: of clear-sky power
    bool learned = false;
    double snow = 0;                    ///< belief then that snow lay on it
  };

  /// Every minute in which the string was free to make what it could.
  void keep(const Minute& m);
  void drop() { kept_.clear(); }

  /// Looks back: a calm clear spell that began with a sharp rise out of a smooth low one.
  void look_back(roof::Calibration& calibration);

 private:
  std::vector<Minute> kept_;
};

}  // namespace fw::diagnosis
