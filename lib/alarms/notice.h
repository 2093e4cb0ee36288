#pragma once
// One plain message for the owner, as the alarms room hands it to the outbox.
#include <string>

#include "rig/rig.h"
#include "units/time.h"

namespace fw::alarms {

struct Notice {
  std::string id;                  ///< from key and elapsed time of the raise: a repeat after a crash has the same one
  Utc utc{};                       ///< when what it tells came to be
  rig::Priority priority = rig::Priority::low;
  std::string alarm, subject, text;
  std::string key;                 ///< what Alarms::standing() is asked with: an alarm key, or "group:<group>"
  /// What it tells is over. With an empty text nobody is told: the outbox only learns the time of the end.
  bool ending = false;
  bool asked = false;              ///< the owner asked for it: goes at once, counts for no limit
};

/// "low", "high", "urgent".
std::string_view name(rig::Priority p);

}  // namespace fw::alarms
