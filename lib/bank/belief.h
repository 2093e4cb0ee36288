#pragma once
// Whether a cell temperature is to be believed. A mass of cells changes slowly; a sensor that jumps, shows its
// power-on or disconnect value, or is faster than the mass can be, is not.
#include <array>
#include <optional>
#include <string_view>
#include <vector>

#include "units/time.h"

namespace fw::bank {

/// Heat capacity of a bank, J/K: about 9 J/K per Wh (cells of about 110 Wh/kg with 1000 J/kgK; common practice, no source).
double heat_capacity_j_per_k(double capacity_wh);

/// Fastest believable change of the cells, K/h: 15 from outside (a pack carried from a warm cabin into deep
/// frost), and what the heaters can add.
double fastest_k_per_h(double capacity_wh, double heater_w);

enum class Doubt { none, impossible, jump, too_fast, frozen };
std::string_view name(Doubt d);

/// One sensor's history. All times elapsed. Values in degC.
class SensorBelief {
 public:
  /// fastest_k_per_h: see above. magic_c: power-on and disconnect values (85, -127, 0 ...) after unit conversion.
  SensorBelief(double fastest_k_per_h, std::vector<double> magic_c);

  enum class Answer { believed, doubted };
  /// A reading. A doubted one is not used; `doubt()` says why. A new level that stays, steadily, for ten minutes is believed
  /// again (a sensor that was moved or replaced); a magic value that never moves is not.
  Answer offer(Elapsed at, double value_c);

  /// True for a doubted reading that is no magic value and lies where cells can be: it may be true, and on the
  /// cold side or hot side it is wise to obey it.
  bool doubted_but_possible() const { return possible_; }

  std::optional<double> value_c() const { return value_; }        ///< last believed
  std::optional<Elapsed> believed_at() const { return at_; }
  std::optional<Elapsed> doubted_since() const { return doubted_since_; }
  Doubt doubt() const { return doubt_; }
  double last_doubted_c() const { return last_doubted_; }

  /// Not one digit moved since this instant.
  std::optional<Elapsed> still_since() const { return still_since_; }
  /// The longest the sensor stood still and then moved on.
  Span longest_still() const { return longest_still_; }
  /// Declares the standing value not believed (the neighbours moved, this one did not). It is believed again when it moves.
  void declare_frozen(Elapsed at);
  bool frozen() const { return frozen_; }

  /// A last value from before a restart: context only, never fresh.
  void set_context(double value_c) { context_ = value_c; }
  void set_longest_still(Span s) { longest_still_ = s; }

  bool is_magic(double value_c) const;

 private:
  Answer believe(Elapsed at, double v);
  Answer reject(Elapsed at, double v, Doubt why);

  double fastest_;
  std::vector<double> magic_;
  std::optional<double> value_, context_;
  std::optional<Elapsed> at_, doubted_since_, still_since_;
  double anchor_ = 0;                  ///< believed level some minutes ago
  Elapsed anchor_at_{};
  int believed_count_ = 0;
  double raw_last_ = 0;
  bool raw_seen_ = false;
  Span longest_still_{};
  bool frozen_ = false, possible_ = false;
  Doubt doubt_ = Doubt::none;
  double last_doubted_ = 0;
  // a candidate for a new level
  double cand_ = 0;
  double cand_low_ = 0, cand_high_ = 0;
  Elapsed cand_from_{}, cand_at_{};
  int cand_count_ = 0;
};

/// A cell temperature that fits its surroundings only in another unit.
enum class UnitDoubt { none, fahrenheit, celsius };
/// cell_c as understood; air_c and cabin_c as far as known; idle: neither charging hard nor heated.
/// 37 "degC" beside air at -6 fits only as degF; -14 degC (5 read as degF) in a cabin at 6 fits only as degC.
/// Nothing is said when the surroundings are unknown.
UnitDoubt unit_doubt(double cell_c, std::optional<double> air_c, std::optional<double> cabin_c, bool idle);

/// True when a current can only be mA: more than five times the capacity in an hour.
bool looks_like_milliamps(double current_a, double capacity_ah);

}  // namespace fw::bank
