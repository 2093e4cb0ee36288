#pragma once
// One of several parallel batteries that has switched itself off: the rest carry its share, so the volts move more for
// every ampere. Learned per five degrees of cell temperature, for cold cells resist more too.
// Needs the config to say how many batteries stand in parallel, and the bank's voltage and current.
#include <deque>
#include <map>
#include <optional>

#include <nlohmann/json_fwd.hpp>

#include "records/minute.h"
#include "units/time.h"

namespace fw::guard {

class Halves {
 public:
  /// batteries: in parallel; with fewer than two nothing is ever said. capacity_ah, nominal_v: of the whole bank.
  Halves(int batteries, double capacity_ah, double nominal_v);

  void on_minute(const RigMinute& m);

  /// Since when the volts have moved too much. None: all of them carry, or too few steps of current to tell.
  std::optional<Elapsed> missing_since() const { return missing_since_; }
  /// How many times the volts move for an ampere as they used to; 1 is as ever.
  double times() const { return times_; }

  nlohmann::json memory() const;
  void recall(const nlohmann::json& j);

 private:
  struct Known { double ohm = 0; double steps = 0; };
  struct Step { Elapsed at; int bin; double ohm, times; };
  void judge(Elapsed now);

  int batteries_;
  double capacity_ah_, nominal_v_;
  std::map<int, Known> known_;          ///< by five degrees
  std::deque<Step> lately_;             ///< judged first, learned six hours later
  std::optional<double> last_v_, last_a_;
  Elapsed last_at_{};
  double times_ = 1;
  std::optional<Elapsed> missing_since_;
};

}  // namespace fw::guard
