#pragma once
// One channel over time: its latest value, how fresh it is, and its time-weighted mean over the open minute.
// Between two readings the earlier value holds, so a sender that speaks every second and one that speaks
// only on change give the same mean.
#include <optional>

#include "units/time.h"

namespace fw::window {

class Track {
 public:
  /// max_age: fixed; none: three times the learned interval, between 1 and 30 minutes. at_rest_below: next to
  /// nothing (0: never at rest), at which a sender that speaks on change falls quiet every evening: there it may always be silent for 30 minutes.
  explicit Track(std::optional<Span> max_age = {}, double at_rest_below = 0) : fixed_max_age_(max_age), at_rest_below_(at_rest_below) {}

  void take(double value, Elapsed at);

  bool known() const { return known_; }
  double last() const { return last_; }
  Elapsed last_at() const { return last_at_; }
  Elapsed changed_at() const { return changed_at_; }
  Span max_age() const;
  bool fresh(Elapsed now) const { return known_ && now - last_at_ <= max_age(); }
  std::optional<double> value(Elapsed now) const { return fresh(now) ? std::optional{last_} : std::nullopt; }

  /// Figures of the open minute up to `end`; then the next minute opens. Nothing where no fresh value held.
  struct Minute {
    std::optional<double> mean, sd, least, most;
    int samples = 0;
  };
  Minute close(Elapsed end);

  double learned_interval_ms() const { return interval_ms_; }
  void set_learned_interval_ms(double ms) { interval_ms_ = ms; }

 private:
  void hold_until(Elapsed t);
  bool rests(double value) const { return at_rest_below_ > 0 && value < at_rest_below_; }

  std::optional<Span> fixed_max_age_;
  double at_rest_below_ = 0;
  bool known_ = false;
  double last_ = 0;
  Elapsed last_at_{}, changed_at_{}, integrated_to_{};
  double interval_ms_ = 0;  ///< longest recent silence but at rest, slowly forgotten; 0: none seen yet
  double weighted_ = 0, weight_ms_ = 0, sum_ = 0, sum_sq_ = 0, least_ = 0, most_ = 0;
  int samples_ = 0;
};

}  // namespace fw::window
