#pragma once
// What the rig uses, by hour of the day and air temperature, learned from its own days. A kettle is part of
// an hour's mean and nothing more; a heater left on is noticed within a quarter of an hour.
#include <array>
#include <deque>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "units/time.h"

namespace fw::outlook {

struct LoadAhead {
  double watts = 0;
  double error_w = 0;          ///< standard error of an hour's mean
};

/// A load well above what these hours know, without a break.
struct HeavyLoad {
  double watts = 0;            ///< present
  double above_w = 0;          ///< over what is usual now
  Span lasting{};
};

class LoadModel {
 public:
  /// One minute. minute_of_day: local, 0..1439.
  void learn(Utc minute, int minute_of_day, double load_w, std::optional<double> air_c, std::optional<double> soc = {});

  /// The mean of an hour ahead by habit alone, without what is on at the moment.
  LoadAhead usual(int hour_of_day, std::optional<double> air_c) const;

  /// The same at a time ahead, the present level fading into the habit as fast as it does here, a heavy load going on
  /// for as long as such loads have gone on here; until that is known, as long again as it has lasted, three hours at least.
  LoadAhead ahead(Span ahead, int hour_of_day, std::optional<double> air_c) const;

  std::optional<HeavyLoad> heavy() const { return heavy_; }

  /// Typical load of the last half hour, W: the median of its minutes.
  std::optional<double> present_w() const { return present_; }
  /// The lowest steady level of the last day, W: what stands on whatever happens.
  std::optional<double> standing_w() const;
  /// W more for every kelvin colder, 0 and up.
  double per_kelvin_w() const { return slope_; }
  double hours_learned() const { return static_cast<double>(hours_.size()); }

  /// So little at such a charge that the bank, not the people, has switched loads off; such an hour is no habit.
  bool cut_off(double load_w, std::optional<double> soc) const;

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  static constexpr double usual_persistence = 0.6;
  struct Hour { Utc from{}; int hour_of_day = 0; double mean_w = 0, low_w = 0, peak_w = 0; std::optional<double> air_c; };
  void close_hour();
  void fit();
  void tabulate();
  Span goes_on(const HeavyLoad& heavy) const;

  std::deque<Hour> hours_;                     ///< three weeks at most
  std::deque<std::pair<Utc, double>> recent_;  ///< the last 30 minutes
  std::vector<double> minutes_;                ///< of the hour under way
  int minutes_cut_ = 0;
  double air_sum_ = 0;
  int air_count_ = 0;
  Utc hour_{};
  int hour_of_day_ = 0;
  double slope_ = 0, air_mean_ = 0;
  /// By hour of day, at the mean air; top_w: what such hours have seen for a quarter of an hour.
  struct Habit { double mean_w = 0, error_w = 0, top_w = 0; };
  std::array<Habit, 24> table_{};              ///< made anew with every hour that closes
  std::optional<double> present_;
  std::optional<HeavyLoad> heavy_;
  std::optional<Utc> heavy_since_;
  std::deque<Span> heavy_lasted_;              ///< the last heavy loads, from their beginning
  double persists_ = usual_persistence;        ///< of an hour's departure from the habit, what is left in the next
  std::optional<std::pair<int, std::optional<double>>> last_;  ///< hour of day and air of the last minute
};

}  // namespace fw::outlook
