#pragma once
// The slow loss of clear-moment performance: a film of dirt or hard water. Judged over days, against the
// best of the string's own earlier days, and claimed only above the scatter of those days.
#include <cstdint>
#include <optional>

#include "roof/calibration.h"

namespace fw::diagnosis {

class Film {
 public:
  /// A clear, uncovered, unshaded minute. over_clean: measured over what the calibrated string would make.
  /// Not to be fed while ice may be left along the edges. others: what the other strings by themselves seem to have
  /// lost, in the mean: dust falls on all, an error of the model is a string's own.
  void learn(std::int32_t day, double over_clean, const roof::Calibration& calibration, std::optional<double> others = {});

  /// A calm minute while a film is claimed, under a sun that may be too low to measure it by: rain or melt water may
  /// have washed it off, which shows by most of the loss gone.
  void see_washed(double over_clean);

  bool known() const { return known_; }        ///< enough days and minutes to give a figure
  double loss() const { return loss_; }        ///< share of light lost against the string's own best, 0..0.6
  double low() const { return loss_ - 1.6 * scatter_ > 0 ? loss_ - 1.6 * scatter_ : 0; }
  double high() const { return loss_ + 1.6 * scatter_ + 0.02; }
  double own_loss() const { return own_loss_; }  ///< as if there were no other string
  bool claimed() const { return claimed_; }    ///< above the noise
  double pass() const { return claimed_ ? 1 - loss_ : 1; }  ///< what the glass is taken to let through
  void forget() { *this = {}; }

  struct Kept {
    std::int32_t day = 0;
    double minutes = 0, now = 1, loss = 0, scatter = 0.02, before = 0;
    bool known = false, claimed = false;
  };
  Kept kept() const { return {day_, minutes_, now_, loss_, scatter_, before_, known_, claimed_}; }
  void set(const Kept& k);

 private:
  std::int32_t day_ = 0;
  double minutes_ = 0;         ///< clear ones in memory
  double now_ = 1;             ///< mean of over_clean over the last clear half hour or so
  double loss_ = 0, own_loss_ = 0, scatter_ = 0.02;
  double before_ = 0;          ///< loss at the end of the day before
  bool known_ = false, claimed_ = false;
  int washed_ = 0;             ///< minutes in a row that showed little of it
};

}  // namespace fw::diagnosis
