#pragma once
// Whether the owner hears of an alarm now, and why or why not. One pure function, named reasons.
#include <string_view>

namespace fw::alarms {

enum class Notify {
  no_change,
  // spoken
  first_raise,         ///< new, or back after its end was told and a long pause
  worse,               ///< already told, now of a higher priority
  escalated,           ///< told, matters, and nobody has acknowledged it for hours
  reminder,            ///< told long ago and still so
  returned_to_normal,  ///< told, over, and settled
  // held back
  held_gathering,      ///< a short wait for others of the same cause
  held_in_group,       ///< its group has been told already
  held_shelved, held_suppressed, held_not_worth_saying, held_too_soon,
  held_settling,       ///< over, but it might come back within minutes
};

struct NotifyFacts {
  bool condition = false;
  bool told = false;             ///< the owner heard of this episode
  bool worth_saying = true;
  bool shelved = false, hidden = false;
  bool gathering = false;        ///< the wait for others is still on
  bool group_told = false;       ///< the owner heard of its group at this priority or a higher one
  bool too_soon = false;         ///< the last message about it is too fresh
  bool worse = false;            ///< priority above the one told
  bool reminder_due = false;
  bool acknowledged = false;
  bool matters = false;          ///< priority high or urgent
  bool settled = false;          ///< over for its settling time
};

constexpr Notify decide(const NotifyFacts& f) {
  if (!f.condition) {
    if (!f.told) return Notify::no_change;
    return f.settled ? Notify::returned_to_normal : Notify::held_settling;
  }
  if (f.shelved) return Notify::held_shelved;
  if (f.hidden) return Notify::held_suppressed;
  if (!f.told) {
    if (!f.worth_saying) return Notify::held_not_worth_saying;
    if (f.gathering) return Notify::held_gathering;
    if (f.group_told) return Notify::held_in_group;
    if (f.too_soon) return Notify::held_too_soon;
    return Notify::first_raise;
  }
  if (f.worse && f.worth_saying) return Notify::worse;
  if (f.reminder_due && !f.acknowledged && f.worth_saying) return f.matters ? Notify::escalated : Notify::reminder;
  return Notify::no_change;
}

constexpr bool spoken(Notify n) { return n >= Notify::first_raise && n <= Notify::returned_to_normal; }

constexpr std::string_view name(Notify n) {
  switch (n) {
    case Notify::no_change: return "no_change";
    case Notify::first_raise: return "first_raise";
    case Notify::worse: return "worse";
    case Notify::escalated: return "escalated";
    case Notify::reminder: return "reminder";
    case Notify::returned_to_normal: return "returned_to_normal";
    case Notify::held_gathering: return "held_gathering";
    case Notify::held_in_group: return "held_in_group";
    case Notify::held_shelved: return "held_shelved";
    case Notify::held_suppressed: return "held_suppressed";
    case Notify::held_not_worth_saying: return "held_not_worth_saying";
    case Notify::held_too_soon: return "held_too_soon";
    case Notify::held_settling: return "held_settling";
  }
  return "";
}

}  // namespace fw::alarms
