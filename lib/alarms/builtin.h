#pragma once
// The built-in alarms: their defaults and their rationalization (cause, consequence, action, time to
// respond; ISA-18.2 asks for these four per alarm). To change a default, change the table in builtin.cpp.
// The delays are common practice, no source: long enough that a passing cloud or a restarting gateway
// stays unsaid, short enough that the action still helps.
#include <span>
#include <string_view>

#include "rig/rig.h"
#include "units/time.h"

namespace fw::alarms {

struct BuiltIn {
  std::string_view name;
  std::string_view label;        ///< in lists: "snow", "low bank"; the subject follows
  rig::Priority priority;
  Span on_delay, off_delay;
  Span settle;                   ///< over this long before its end is told
  std::string_view limit;        ///< what AlarmSetting::limit means for it, SI; "": no limit to set. The deadband has the same unit.
  bool only_while_true;          ///< not worth a word once it is over (a forecast, an offer)
  std::string_view cause, consequence, action, time_to_respond;
};

/// In the order in which they are documented.
std::span<const BuiltIn> built_in_alarms();

/// nullptr: not a built-in name.
const BuiltIn* built_in(std::string_view name);

}  // namespace fw::alarms
