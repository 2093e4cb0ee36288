#include "alarms/state.h"

#include <doctest/doctest.h>

#include "alarms/builtin.h"
#include "alarms/notice.h"
#include "alarms/notify.h"

using namespace fw;
using namespace fw::alarms;

TEST_CASE("the state follows from the facts, out of service before by design before shelved") {
  using S = AlarmState;
  using P = Suppression;
  struct Row { AlarmFacts facts; S expected; };
  for (const Row& r : {Row{{false, true, false, P::none}, S::normal},
                       Row{{true, false, false, P::none}, S::unacknowledged},
                       Row{{true, true, false, P::none}, S::acknowledged},
                       Row{{false, false, false, P::none}, S::rtn_unacknowledged},
                       Row{{false, false, true, P::none}, S::unacknowledged},
                       Row{{false, true, true, P::none}, S::acknowledged},
                       Row{{true, false, false, P::shelved}, S::shelved},
                       Row{{true, false, false, P::by_design}, S::suppressed_by_design},
                       Row{{false, true, false, P::out_of_service}, S::out_of_service}}) {
    CHECK(state_of(r.facts) == r.expected);
  }
  static_assert(state_of({}) == AlarmState::normal);
}

TEST_CASE("each reason to speak or to be silent has its own name") {
  const auto with = [](auto change) {
    NotifyFacts f;
    f.condition = true;
    change(f);
    return decide(f);
  };
  CHECK(with([](auto&) {}) == Notify::first_raise);
  CHECK(with([](auto& f) { f.worth_saying = false; }) == Notify::held_not_worth_saying);
  CHECK(with([](auto& f) { f.shelved = true; }) == Notify::held_shelved);
  CHECK(with([](auto& f) { f.hidden = true; }) == Notify::held_suppressed);
  CHECK(with([](auto& f) { f.gathering = true; }) == Notify::held_gathering);
  CHECK(with([](auto& f) { f.group_told = true; }) == Notify::held_in_group);
  CHECK(with([](auto& f) { f.too_soon = true; }) == Notify::held_too_soon);
  CHECK(with([](auto& f) { f.told = true; }) == Notify::no_change);
  CHECK(with([](auto& f) { f.told = f.worse = true; }) == Notify::worse);
  CHECK(with([](auto& f) { f.told = f.reminder_due = f.matters = true; }) == Notify::escalated);
  CHECK(with([](auto& f) { f.told = f.reminder_due = true; }) == Notify::reminder);
  CHECK(with([](auto& f) { f.told = f.reminder_due = f.matters = f.acknowledged = true; }) == Notify::no_change);
  CHECK(with([](auto& f) { f.condition = false; f.told = true; }) == Notify::held_settling);
  CHECK(with([](auto& f) { f.condition = false; f.told = f.settled = true; }) == Notify::returned_to_normal);
  CHECK(with([](auto& f) { f.condition = false; }) == Notify::no_change);
  CHECK(spoken(Notify::returned_to_normal));
  CHECK_FALSE(spoken(Notify::held_gathering));
}

TEST_CASE("every built-in alarm has a priority, a label and its four columns") {
  CHECK(built_in_alarms().size() == 23);
  for (const auto& b : built_in_alarms()) {
    CAPTURE(b.name);
    CHECK_FALSE(b.label.empty());
    CHECK_FALSE(b.cause.empty());
    CHECK_FALSE(b.consequence.empty());
    CHECK_FALSE(b.action.empty());
    CHECK_FALSE(b.time_to_respond.empty());
    CHECK(built_in(b.name) == &b);
  }
  CHECK(built_in("charging_unpermitted")->priority == rig::Priority::urgent);
  CHECK(built_in("nothing") == nullptr);
}
