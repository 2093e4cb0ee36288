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
  std::string key;                 ///< what Alarms::standing() is asked with: an alarm key, or "group:<group>";
                                   ///< empty: an answer the owner asked for, it goes at once and counts for no limit
  /// What it tells is over. With an empty text nobody is told: the outbox only learns the time of the end.
  bool ending = false;
  bool again = false;              ///< the owner heard it before: it still stands
};

/// What the owner reads: the text, with a word in front where he has heard it before.
std::string said(const Notice& n);

/// "low", "high", "urgent".
std::string_view name(rig::Priority p);

}  // namespace fw::alarms
