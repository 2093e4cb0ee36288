#pragma once
// What a room knows to be so, offered to the alarms room: a condition, never yet an alarm.
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "units/time.h"

namespace fw {

/// The same key as the alarm topic: <alarm>-<subject>, subject a string, charger, sensor or "rig".
struct Fact {
  std::string alarm;                 ///< one of the built-in names, or the owner's rule name
  std::string subject;               ///< [a-z0-9_-]
  bool condition = false;
  double confidence = 1;             ///< below 0.5 never announced
  std::string text;                  ///< the whole message, figures included, as of now
  std::string over_text;             ///< said once when it is over; empty: nothing is said
  std::string group;                 ///< facts of one storm share it ("snow"): one message
  std::string group_text;            ///< the message when several of the group stand
  std::vector<std::string> hidden_by;  ///< keys that make this meaningless while they stand
  bool worth_saying = true;          ///< false: journal only ("nothing to do")
  bool worth_repeating = true;       ///< false: nobody need hear of it again while it stands
  std::optional<int> priority;       ///< overrides the alarm's own: 0 low, 1 high, 2 urgent
};

/// Whether the alarms room remembers an alarm of this name, whatever its subject.
using Remembered = std::function<bool(std::string_view alarm)>;
inline bool always_remembered(std::string_view) { return true; }

/// The facts of a minute. Nine in ten are not so and were not so before: nobody needs words for them.
class Facts {
 public:
  explicit Facts(const Remembered& remembered) : remembered_(remembered) {}

  /// A fact to be put into words; null when it is not so and nobody remembers the alarm. Good until the next one.
  Fact* add(const char* alarm, std::string_view subject, bool condition) {
    if (!condition && !remembered_(alarm)) return nullptr;
    Fact& f = all_.emplace_back();
    f.alarm = alarm;
    f.subject = subject;
    f.condition = condition;
    return &f;
  }
  std::vector<Fact> take() { return std::move(all_); }

 private:
  const Remembered& remembered_;
  std::vector<Fact> all_;
};

}  // namespace fw
