#pragma once
// Forecasts that follow one another, each erring in its own way, as one: every hour the mean of the newest and of what those
// before it said of that hour. How much the older ones count is learned from the air temperatures that came. (A lagged
// average: Hoffman & Kalnay 1983, Tellus 35A, 100, from memory.) Deterministic, no clock.
#include <optional>
#include <string>
#include <string_view>

#include "units/forecast.h"

namespace fw::outlook {

class SuccessiveForecasts {
 public:
  /// The newest, when it is another than the last one.
  void take(const Forecast& newest);
  /// An hour that has passed, and how warm it was.
  void learn(Utc hour, double air_c);

  /// Null before the first. Received when the newest was.
  const Forecast* get() const { return mean_.rows.empty() ? nullptr : &mean_; }
  bool newest_is(Elapsed received) const { return !mean_.rows.empty() && mean_.received == received; }
  double older_weight() const;  ///< 0..0.65

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  void average();

  Forecast newest_, older_, mean_;        ///< older_: the mean before the newest came
  double product_ = 0, square_ = 0;       ///< of the newest's error with its distance from the older ones, K2
};

}  // namespace fw::outlook
