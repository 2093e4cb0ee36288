#pragma once
// A heater on the bank that nobody reports, known only by what it does to the cells: the level at which they turn
// upward in the cold, the level at which it lets go, and whether it is on now. Falling cells say nothing by
// themselves: without a heater they fall fast, under one that loses ground slowly, and the two end differently.
//
// Turns are found from swings. Whether it is on follows two hypotheses (off, on) through the readings: each carries
// its own temperature and its own error of the rate, and is weighed by how well the readings fit (interacting multiple
// model filter, Blom and Bar-Shalom 1988), with a thermostat's habit as the chance of a change. The error of the rate
// stays over a change, so that it is the step in the rate that tells, not the rate. Deterministic; no clock.
#include <array>
#include <optional>
#include <vector>

#include "units/time.h"

namespace fw::bank {

class HiddenHeater {
 public:
  /// One turn upward: when, from what level, how far up until it let go (0: not seen to), and how strong: the cooling
  /// before and the rise after it, K/h.
  struct Turn { Elapsed at{}; double low_c = 0, amplitude_k = 0, strength_k_per_h = 0; };
  /// What is known of it: on at turn_c, off at off_c.
  struct Hold { double turn_c = 0, off_c = 0, strength_k_per_h = 0; };

  /// What is known beside the cells' temperature.
  struct Known {
    double unheated_k_per_h = 0;   ///< the rate that all known things make at it
    double unsure_k_per_h = 0;     ///< how sure that is
    double strength_k_per_h = 0;   ///< of the heater as far as it was learned, 0: not yet
    double digit_k = 0;            ///< the sensor's step
    bool told_heater = false;      ///< a heater known of is on
  };
  /// A believed cell temperature.
  void watch(Elapsed at, double cell_c, const Known& k);

  /// None: no heater seen at work, or the cells fell or stayed below the level with it off: it failed.
  std::optional<Hold> hold() const;
  /// Chance that it is on now.
  double on() const { return on_; }

  const std::vector<Turn>& turns() const { return turns_; }
  void recall(const std::vector<Turn>& turns);

 private:
  void follow_swing(Elapsed at, double c, const Known& k);
  void weigh(Elapsed at, double c, const Known& k);

  std::vector<Turn> turns_;                       ///< newest last, at most eight
  std::optional<double> high_, low_;              ///< of the swing under way
  Elapsed high_at_{}, low_at_{};
  double cooling_ = 0;                            ///< seen, on the way down to low_
  bool falling_ = true;
  double last_c_ = 1e9;

  double on_ = 0;
  std::optional<Elapsed> weighed_at_, overdue_since_;
  /// A hypothesis: temperature, error of the rate, their variances and covariance.
  struct Guess { double t = 0, error = 0, tt = 0, te = 0, ee = 0; };
  std::array<Guess, 2> guess_{};                  ///< off, on
};

}  // namespace fw::bank
