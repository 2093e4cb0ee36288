#pragma once
// Fixed shade is seen from behind: while a hill or a tree stands before the sun the sky looks overcast, and
// only the sudden full power of all strings a little later tells what it was. The minutes before are kept
// until then and go to the calibration, which wants two days to agree before it believes them.
#include <cmath>
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
  };

  /// A minute that was not taken for clear; cloudless: the sky's own belief. A cloud's edge flutters, a
  /// shadow's does not until it ends.
  void keep(const Minute& m, double cloudless) {
    if (!kept_.empty()) {
      const Minute& before = kept_.back();
      const bool same_day = m.day == before.day;
      if (same_day && m.share > 0.5 && m.share > 1.5 * before.share && kept_.size() >= 4) {
        pending_.swap(kept_);
        waited_ = 0;
        kept_.clear();
      } else if (!same_day || std::abs(m.share - before.share) > 0.05 + 0.2 * before.share) {
        kept_.clear();
      }
    }
    if (!pending_.empty()) {
      ++waited_;
      if (waited_ > 180 || m.share < 0.5 || (waited_ > 12 && cloudless < 0.4)) pending_.clear();
    }
    kept_.push_back(m);
    if (kept_.size() > 120) kept_.erase(kept_.begin());
  }
  void drop() {
    kept_.clear();
    pending_.clear();
  }

  /// The sky is cloudless now and the string clean; `now` is the present minute.
  void settle(const Minute& now, roof::Calibration& calibration) {
    if (pending_.empty() && kept_.size() >= 4 && now.day == kept_.back().day && now.share > 1.5 * kept_.back().share)
      pending_.swap(kept_);
    for (const Minute& m : pending_) calibration.learn(m.day, m.sky, m.paper, m.measured_w);
    drop();
  }
  bool empty() const { return kept_.empty() && pending_.empty(); }

 private:
  std::vector<Minute> kept_, pending_;   ///< pending: full power has come since, the sky is not yet sure
  int waited_ = 0;
};

}  // namespace fw::diagnosis
