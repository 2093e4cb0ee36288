#pragma once
// Fixed shade is seen from behind: while a hill or a tree stands before the sun the sky looks overcast, and
// only full power beside it, earlier or later the same day, tells what it was. A day's minutes are kept until it is
// over, and the calm low spells next to clear ones go to the calibration, which wants two days to agree before it believes them.
// So do half hours calm and brighter than the model: there it is the plane that is wrong.
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
    bool learned = false;               ///< taken for a clear minute at once
    double cloudless = 0;               ///< belief then that the sky was cloudless and the sun out
    double snow = 0;                   ///< belief then that snow lay
    double may_be_covered = 0;          ///< chance by the weather that snow lay
  };

  /// Every minute in which the string was free to make what it could, of one day.
  void keep(const Minute& m) { kept_.push_back(m); }
  std::int32_t day() const { return kept_.empty() ? 0 : kept_.back().day; }

  /// The day is over: what it has shown of fixed shade goes to the calibration.
  void close_day(roof::Calibration& calibration);

 private:
  std::vector<Minute> kept_;
};

}  // namespace fw::diagnosis
