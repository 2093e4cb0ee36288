#pragma once
// The owner's own rules over any signal the rig knows: when is one true, and what does it say.
// Delays are the alarms room's business; here only limits, deadband, rate and silence.
#include <deque>
#include <optional>
#include <string>

#include "rig/rig.h"
#include "units/time.h"
#include "words/words.h"

namespace fw::alarms {

/// A rule without an off-delay is over after this long back inside, so that a wobbling value stays one alarm.
inline constexpr Span default_off_delay = std::chrono::minutes{5};
/// A `missing` rule without an on-delay waits this long.
inline constexpr Span default_missing_after = std::chrono::minutes{15};

/// "low_volts: bank.voltage below 12.4 V for 10 min, over above 12.45 V for 5 min; low." for `check`.
std::string rule_sentence(const rig::Rule& rule, const Words& words);

struct BuiltIn;
/// A built-in alarm as this rig has it: "bank_low: low bank for 5 min, your limit 30 %, over when gone for 30 min; priority high."
std::string alarm_sentence(const BuiltIn& alarm, const rig::Rig& rig, const Words& words);

/// A value of the rule's signal in the owner's units: "12.39 V", "-6 °C", "71 %".
std::string signal_value(const rig::Rule& rule, double value, const Words& words);

/// What the rule is about: a string's, sensor's, charger's or heater's name, "bank" or "rig".
std::string rule_subject(const rig::Rule& rule, const rig::Rig& rig);

/// Watches one rule's signal. `missing` rules are judged by the caller from last_seen().
class RuleWatch {
 public:
  /// Takes a valid value; returns whether the rule's condition holds now (nothing: cannot tell yet).
  /// Once it holds it goes on holding until the value is back past the limit by the deadband.
  std::optional<bool> take(const rig::Rule& rule, double value, Elapsed at);
  bool holds() const { return holds_; }
  std::optional<Elapsed> last_seen() const { return last_seen_; }
  void start(Elapsed at) { last_seen_ = at; }
  /// The value the rule compares: the signal itself, or its change per hour.
  double compared() const { return compared_; }
  /// That value is past the limit itself, not only inside the deadband.
  bool beyond(const rig::Rule& rule) const;

 private:
  struct Sample { Elapsed at; double value; };
  std::optional<double> rate_per_hour(double value, Elapsed at);

  bool holds_ = false;
  double compared_ = 0;
  std::optional<Elapsed> last_seen_;
  std::deque<Sample> samples_;  ///< rates only: the last half hour, at most one every 30 s
};

/// The rule's message with {value}, {limit} and {since} filled in; a plain sentence when it has no text.
std::string rule_text(const rig::Rule& rule, double value, Utc since, Utc now, const Words& words);

/// What is told when it is over: "Low volts is over: 12.7 V."
std::string rule_over_text(const rig::Rule& rule, double value, const Words& words);

}  // namespace fw::alarms
