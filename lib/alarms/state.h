#pragma once
// The state of an alarm is computed from a few facts, never stored.
// State names after IEC 62682 / ANSI/ISA-18.2 (states A to G; public summaries, the paid text was not opened).
#include <string_view>

namespace fw::alarms {

enum class Suppression { none, shelved, by_design, out_of_service };

struct AlarmFacts {
  bool condition = false;  ///< present after on-delay, off-delay and deadband
  bool acked = true;       ///< a person has said "seen"; false again at each raise
  bool latched = false;    ///< stays in alarm after the condition went, until reset
  Suppression suppression = Suppression::none;
};

enum class AlarmState {
  normal, unacknowledged, acknowledged, rtn_unacknowledged, shelved, suppressed_by_design, out_of_service
};

/// Out of service wins, then by design, then shelved. Without suppression: condition or latch gives
/// unacknowledged or acknowledged; otherwise rtn_unacknowledged until acknowledged, then normal.
constexpr AlarmState state_of(const AlarmFacts& f) {
  if (f.suppression == Suppression::out_of_service) return AlarmState::out_of_service;
  if (f.suppression == Suppression::by_design) return AlarmState::suppressed_by_design;
  if (f.suppression == Suppression::shelved) return AlarmState::shelved;
  if (f.condition || f.latched) return f.acked ? AlarmState::acknowledged : AlarmState::unacknowledged;
  return f.acked ? AlarmState::normal : AlarmState::rtn_unacknowledged;
}

constexpr std::string_view name(AlarmState s) {
  switch (s) {
    case AlarmState::normal: return "normal";
    case AlarmState::unacknowledged: return "unacknowledged";
    case AlarmState::acknowledged: return "acknowledged";
    case AlarmState::rtn_unacknowledged: return "rtn_unacknowledged";
    case AlarmState::shelved: return "shelved";
    case AlarmState::suppressed_by_design: return "suppressed_by_design";
    case AlarmState::out_of_service: return "out_of_service";
  }
  return "";
}

}  // namespace fw::alarms
