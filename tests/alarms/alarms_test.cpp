#include "alarms/alarms.h"

#include <cmath>

#include <doctest/doctest.h>

#include <map>

#include "alarms/bench.h"
#include "units/text.h"

using namespace fw;
using namespace fw::alarms;

TEST_CASE("an alarm is raised after its on-delay and stamped with its due time, however late the timer") {
  Bench b;
  b.to(8h);
  b.offer("bank_low", "bank", true);
  CHECK(b.alarms.next_deadline() == elapsed_ms(midnight_ms) + 8h + 5min);
  b.advance(8h + 4min + 59s);
  CHECK_FALSE(b.alarms.standing("bank_low-bank"));
  b.advance(9h);
  CHECK(b.alarms.standing("bank_low-bank"));
  REQUIRE(b.said().size() == 1);
  CHECK(b.said()[0].utc == utc_ms(midnight_ms) + 8h + 5min);
  CHECK(b.said()[0].priority == rig::Priority::high);
  CHECK(b.said()[0].id == "bank_low-bank-" + std::to_string(midnight_ms + 8 * 3600000 + 300000));
}

TEST_CASE("a room may leave out what is not so and what nobody remembers: nothing that comes of it changes") {
  Bench all, some;
  unsigned chance = 1;
  std::size_t left_out = 0;
  for (int m = 0; m < 3 * 1440; ++m)
    for (const char* alarm : {"snow", "outage", "bank_cold", "bank_low", "over_voltage", "heater"}) {
      chance = chance * 1664525u + 1013904223u;
      // Spells of hours, at another time of day for each.
      const bool so = (m / 97 + static_cast<int>(alarm[0])) % 7 < 2 && chance % 10 != 0;
      all.to(minutes{m});
      some.to(minutes{m});
      Fact f = all.fact(alarm, "front", so);
      if (!so) f.over_text = "Over.";
      all.offer(f);
      if (so || some.alarms.remembers(alarm)) some.offer(f);
      else ++left_out, some.advance(minutes{m});
    }
  CHECK(left_out > 100);
  CHECK(all.events() == some.events());
  CHECK(all.notices.size() == some.notices.size());
  CHECK(all.notices.size() > 10);
  CHECK(all.alarms.snapshot() == some.alarms.snapshot());
}

TEST_CASE("a condition broken before its on-delay raises nothing") {
  Bench b;
  b.hold(b.fact("bank_low", "bank", true), 8h, 8h + 4min);
  b.to(8h + 5min - 1s);
  b.offer("bank_low", "bank", false);
  b.advance(12h);
  CHECK(b.events().empty());
  CHECK(b.notices.empty());
}

TEST_CASE("a retained alarm is emptied when the condition is over, acknowledged or not") {
  for (const bool acknowledged : {false, true}) {
    CAPTURE(acknowledged);
    Bench b;
    b.hold(b.fact("bank_hot", "bank", true), 12h, 12h + 20min);
    REQUIRE(b.last_retained("bank_hot-bank"));
    CHECK(b.last_retained("bank_hot-bank")->payload.find("\"state\":\"unacknowledged\"") != std::string::npos);
    CHECK(b.last_retained("bank_hot-bank")->retain);
    CHECK(b.last_retained("bank_hot-bank")->qos == 1);
    if (acknowledged) {
      CHECK(b.alarms.acknowledge("bank_hot-bank", "sam", b.now()).ok());
      b.collect();
      CHECK(b.alarms.state("bank_hot-bank") == AlarmState::acknowledged);
      CHECK(b.last_retained("bank_hot-bank")->payload.find("\"acknowledged_by\":\"sam\"") != std::string::npos);
    }
    b.hold(b.fact("bank_hot", "bank", false), 12h + 21min, 12h + 40min);
    CHECK(b.last_retained("bank_hot-bank")->payload.empty());
    CHECK(b.last_retained("bank_hot-bank")->retain);
    CHECK(b.last_retained("bank_hot-bank")->qos == 1);
    CHECK(b.alarms.state("bank_hot-bank") == (acknowledged ? AlarmState::normal : AlarmState::rtn_unacknowledged));
  }
}

TEST_CASE("acknowledging what does not exist or does not stand is refused in words") {
  Bench b;
  CHECK(b.alarms.acknowledge("snow-front", "sam", b.now()).fault().what == "no such alarm here");
  b.hold(b.fact("bank_hot", "bank", true), 12h, 12h + 1min);
  CHECK(b.alarms.acknowledge("bank_hot-bank", "sam", b.now()).ok());
  CHECK(b.alarms.acknowledge("bank_hot-bank", "sam", b.now()).ok());
  b.hold(b.fact("bank_hot", "bank", false), 12h + 2min, 13h);
  CHECK(b.alarms.acknowledge("bank_hot-bank", "sam", b.now()).fault().what == "nothing to acknowledge, it does not stand");
  CHECK(b.count("acknowledged") == 1);
}

TEST_CASE("a shelved alarm is evaluated and journalled, but not told until its shelf time ends") {
  Bench b;
  b.hold(b.fact("bank_hot", "bank", true), 12h, 12h + 1min);
  CHECK(b.said().size() == 1);
  b.hold(b.fact("bank_hot", "bank", false), 12h + 2min, 13h);
  CHECK(b.alarms.shelve("bank_hot-bank", 4, b.now()).ok());  // until 17:00
  b.hold(b.fact("bank_hot", "bank", true), 16h, 18h);
  CHECK(b.count("shelved") == 1);
  CHECK(b.count("unshelved") == 1);
  CHECK(b.count("raised") == 2);
  REQUIRE(b.said().size() == 2);
  CHECK(b.said()[1].utc == utc_ms(midnight_ms) + 16h);
  for (const double hours : {-1.0, 169.0, std::nan(""), HUGE_VAL}) CHECK_FALSE(b.alarms.shelve("bank_hot-bank", hours, b.now()).ok());
  CHECK_FALSE(b.alarms.shelve("unknown-x", 1, b.now()).ok());
}

TEST_CASE("an urgent alarm cannot be shelved for longer than a day") {
  Bench b;
  b.offer("charging_unpermitted", "front", true);
  CHECK_FALSE(b.alarms.shelve("charging_unpermitted-front", 25, b.now()).ok());
  CHECK(b.alarms.shelve("charging_unpermitted-front", 24, b.now()).ok());
}

TEST_CASE("a cause hides its consequence, and a silent controller its string") {
  Bench b;
  for (Span m = 9h; m <= 9h + 30min; m += 1min) {
    b.to(m);
    Fact cabin = b.fact("cabin_cold", "rig", true);
    cabin.hidden_by = {"bank_gone-bank"};
    b.offer("bank_gone", "bank", true);
    b.offer(cabin);
    b.offer("stale", "front", true);
    b.offer("outage", "front", true);
    b.offer("outage", "rear", true);
  }
  CHECK(b.alarms.state("cabin_cold-rig") == AlarmState::suppressed_by_design);
  CHECK(b.alarms.state("outage-front") == AlarmState::suppressed_by_design);
  CHECK(b.alarms.state("outage-rear") == AlarmState::unacknowledged);
  CHECK(b.count("suppressed", "cabin_cold") == 1);
  std::vector<std::string> told;
  for (const auto& n : b.said()) told.push_back(n.alarm + "-" + n.subject);
  // The string's alarm was due before its controller's silence was: it has been told already.
  CHECK(told == std::vector<std::string>{"bank_gone-bank", "outage-front", "outage-rear", "stale-front"});
}

TEST_CASE("what was hidden is told when its cause is gone and it still stands") {
  Bench b;
  for (Span m = 9h; m <= 12h; m += 1min) {
    b.to(m);
    b.offer("stale", "front", m < 10h);
    if (m >= 9h + 25min) b.offer("snow", "front", true);
  }
  CHECK(b.count("unsuppressed", "snow") == 1);
  REQUIRE(b.said().size() == 2);
  CHECK(b.said()[0].alarm == "stale");
  CHECK(b.said()[1].alarm == "snow");
}

TEST_CASE("a storm over three strings is one message with the group's text, and one when it is over") {
  Bench b;
  const auto snow = [&](const char* subject, bool on) {
    Fact f = b.fact("snow", subject, on);
    f.group = "snow";
    f.group_text = "All strings under snow.";
    f.over_text = std::string(subject) + " clear again.";
    return f;
  };
  for (Span m = 8h; m <= 15h; m += 1min) {
    b.to(m);
    b.offer(snow("front", m < 12h));
    b.offer(snow("rear", m >= 8h + 1min && m < 13h));
    b.offer(snow("side", m >= 9h && m < 12h + 30min));  // joins an hour later: known already
  }
  REQUIRE(b.said().size() == 2);
  CHECK(b.said()[0].text == "All strings under snow.");
  CHECK(b.said()[0].subject == "rig");
  CHECK(b.said()[0].key == "group:snow");
  CHECK(b.said()[1].text == "front clear again. rear clear again. side clear again.");
  CHECK(b.said()[1].ending);
  CHECK(b.count("raised", "snow") == 3);
}

TEST_CASE("one string of a group alone is told by its own text") {
  Bench b;
  Fact f = b.fact("snow", "front", true);
  f.group = "snow";
  f.group_text = "All strings under snow.";
  b.hold(f, 8h, 9h);
  REQUIRE(b.said().size() == 1);
  CHECK(b.said()[0].text == "snow on front.");
  CHECK(b.said()[0].subject == "front");
}

TEST_CASE("the latest text counts, as of when it is told") {
  Bench b;
  for (Span m = 8h; m <= 9h; m += 1min) {
    b.to(m);
    Fact f = b.fact("snow", "front", true);
    f.text = "Minute " + std::to_string((m - 8h) / 1min);
    b.offer(f);
  }
  REQUIRE(b.said().size() == 1);
  CHECK(b.said()[0].text == "Minute 11");  // due at minute 12, a moment before that minute's own text
}

TEST_CASE("what nobody need hear of again is not repeated while it is so, and is once it is not") {
  Bench b;
  for (Span m{}; m <= 14h; m += 1min) {
    b.to(m);
    Fact f = b.fact("snow", "front", true);
    f.worth_repeating = m >= 10h;
    b.offer(f);
    if (m == 9h + 55min) CHECK(b.said().size() == 1);
  }
  CHECK(b.said().size() == 2);
}

TEST_CASE("snow falling all day over a string cleared three times is one message") {
  Bench b;
  // Cleared at 09:00, 10:30 and 12:00, covered again after 45 minutes each time, snowing until 16:00.
  const auto covered = [](Span m) {
    for (const Span at : {Span(9h), Span(10h + 30min), Span(12h)})
      if (m >= at && m < at + 45min) return false;
    return true;
  };
  for (Span m = 8h; m <= 16h; m += 1min) {
    b.to(m);
    Fact f = b.fact("snow", "front", covered(m));
    f.over_text = "Front string clear again.";
    b.offer(f);
  }
  CHECK(b.said().size() == 1);
}

TEST_CASE("a signal flapping every second for a day raises one alarm and one message") {
  struct Row { const char* alarm; const char* what; };
  for (const Row& r : {Row{"bank_hot", "no on-delay"}, Row{"outage", "on-delay of 15 minutes, never unbroken"},
                       Row{"charging_unpermitted", "urgent, off-delay of a minute"}, Row{"stale", "on-delay of 20 minutes"}}) {
    CAPTURE(r.alarm);
    CAPTURE(r.what);
    Bench b;
    b.rig.alarms["charging_unpermitted"].priority = rig::Priority::low;  // urgent ones remind within the day
    b.rig.alarms["bank_hot"].priority = rig::Priority::low;
    b.rig.alarms["outage"].priority = rig::Priority::low;
    for (Span s{}; s < 24h; s += 1s) {
      b.to(s);
      Fact f = b.fact(r.alarm, "front", (s / 1s) % 2 == 0);
      f.over_text = "Over.";
      b.alarms.offer(f, b.now());
      b.collect();
    }
    CHECK(b.count("raised") == 1);
    CHECK(b.count("cleared") == 0);
    CHECK(b.said().size() == 1);
  }
}

TEST_CASE("a slow wobble is one message: what comes back soon is the same trouble") {
  Bench b;
  std::size_t minute = 0;
  for (Span m{}; m < 24h; m += 1min, ++minute) {
    b.to(m);
    b.offer("bank_hot", "bank", (minute / 15) % 2 == 0);  // 15 minutes on, 15 off
  }
  CHECK(b.count("raised") == 1);
  CHECK(b.count("re_raised") == 1);
  std::size_t first = 0;
  for (const auto& n : b.said()) first += n.id.find("-again") == std::string::npos;
  CHECK(first == 1);
  std::size_t unstable = 0;
  for (const auto& e : b.effects)
    if (const auto* s = std::get_if<Store>(&e))
      if (const auto* row = std::get_if<EventRow>(&s->row)) unstable += row->kind == "unstable";
  CHECK(unstable == 1);
}

TEST_CASE("nothing to do goes to the journal, not to the phone; the same with something to do does") {
  Bench b;
  Fact f = b.fact("snow", "front", true);
  f.worth_saying = false;
  b.hold(f, 8h, 10h);
  CHECK(b.count("raised") == 1);
  CHECK(b.notices.empty());
  f.worth_saying = true;
  b.hold(f, 10h + 1min, 11h);
  CHECK(b.said().size() == 1);
}

TEST_CASE("an unsure condition is never raised; one raised stays while it lasts, doubt or not") {
  Bench b;
  Fact f = b.fact("snow", "front", true);
  f.confidence = 0.49;
  b.hold(f, 8h, 10h);
  CHECK(b.events().empty());
  f.confidence = 0.6;
  b.hold(f, 10h + 1min, 11h);
  f.confidence = 0.3;
  b.hold(f, 11h + 1min, 13h);
  CHECK(b.events() == std::vector<std::string>{"raised"});
}

TEST_CASE("a high alarm nobody acknowledges is told once more after six hours, an acknowledged one is not") {
  for (const bool acknowledged : {false, true}) {
    CAPTURE(acknowledged);
    Bench b;
    b.hold(b.fact("bank_low", "bank", true), 8h, 9h);
    if (acknowledged) CHECK(b.alarms.acknowledge("bank_low-bank", "sam", b.now()).ok());
    b.hold(b.fact("bank_low", "bank", true), 9h, 24h);
    CHECK(b.said().size() == (acknowledged ? 1 : 2));
    CHECK(b.count("escalated") == (acknowledged ? 0 : 1));
    if (!acknowledged) {
      CHECK(b.said()[1].again);
      CHECK(said(b.said()[1]) == "Still so. bank_low on bank.");
      CHECK(b.said()[1].utc == utc_ms(midnight_ms) + 14h + 5min);
    }
  }
}

TEST_CASE("a low alarm that goes on is told again after a week") {
  Bench b;
  b.hold(b.fact("soiling", "front", true), 0h, 24h * 8);
  REQUIRE(b.said().size() == 2);
  CHECK_FALSE(b.said()[0].again);
  CHECK(b.said()[1].again);
}

TEST_CASE("what gets worse is told at once") {
  Bench b;
  Fact f = b.fact("over_voltage", "front", true);
  b.hold(f, 8h, 9h);
  f.priority = 2;
  f.text = "Now it is dangerous.";
  b.hold(f, 9h + 1min, 9h + 5min);
  REQUIRE(b.said().size() == 2);
  CHECK(b.said()[1].priority == rig::Priority::urgent);
  CHECK(said(b.said()[1]) == "Now it is dangerous.");
  CHECK(b.said()[1].utc == utc_ms(midnight_ms) + 9h + 1min);
}

TEST_CASE("an outlook is never an emergency, is not repeated within a day, and its end is no message") {
  Bench b;
  Fact f = b.fact("reserve_ahead", "rig", true);
  f.over_text = "No longer in sight.";
  f.priority = 2;
  b.hold(f, 8h, 30h);
  REQUIRE(b.said().size() == 1);
  CHECK(b.said()[0].priority == rig::Priority::high);
  b.hold(f, 30h + 1min, 33h);
  REQUIRE(b.said().size() == 2);
  CHECK(said(b.said()[1]) == "Still so. reserve_ahead on rig.");
  f.condition = false;
  b.hold(f, 33h + 1min, 38h);
  CHECK(b.said().size() == 2);
  CHECK(b.count("cleared", "reserve_ahead") == 1);

  // What is so may be: the bank itself running out.
  Fact low = b.fact("bank_low", "rig", true);
  low.priority = 2;
  b.hold(low, 38h, 38h + 20min);
  REQUIRE(b.said().size() == 3);
  CHECK(b.said()[2].priority == rig::Priority::urgent);
}

TEST_CASE("the reserve days ahead of an empty rig is told once, then weekly, though it comes and goes; and again when it is near") {
  Bench b;
  Fact f = b.fact("reserve_ahead", "rig", true);
  f.priority = 0;
  b.hold(f, 8h, 20h);
  f.condition = false;
  b.hold(f, 20h + 1min, 24h);
  f.condition = true;
  b.hold(f, 24h + 1min, 6 * 24h);
  REQUIRE(b.said().size() == 1);
  b.hold(f, 6 * 24h + 1min, 8 * 24h);
  REQUIRE(b.said().size() == 2);
  f.priority = 1;
  b.hold(f, 8 * 24h + 1min, 8 * 24h + 1h);
  REQUIRE(b.said().size() == 3);
  CHECK(b.said()[2].priority == rig::Priority::high);
}

TEST_CASE("what was handed out and never reached the owner is news when it comes again, and when it still stands") {
  Bench b;
  Fact f = b.fact("reserve_ahead", "rig", true);
  f.priority = 0;
  b.hold(f, 1h, 2h);
  f.condition = false;
  b.hold(f, 2h + 1min, 5h);
  REQUIRE(b.said().size() == 1);
  b.to(7h);
  b.alarms.never_said("reserve_ahead-rig", b.now());
  f.condition = true;
  b.hold(f, 9h, 10h);
  REQUIRE(b.said().size() == 2);
  b.to(10h + 1min);
  b.alarms.never_said("reserve_ahead-rig", b.now());
  b.hold(f, 10h + 1min, 11h);
  REQUIRE(b.said().size() == 3);
  CHECK(b.said()[2].text == "reserve_ahead on rig.");
}

TEST_CASE("energy to spare is told to the owner who set it, else it stays in the journal and on its retained topic") {
  for (const bool asked : {false, true}) {
    CAPTURE(asked);
    rig::Rig r = two_string_rig();
    if (asked) r.alarms["surplus"] = {};
    Bench b(r);
    b.hold(b.fact("surplus", "rig", true), 9h, 10h);
    CHECK(b.said().size() == (asked ? 1u : 0u));
    CHECK(b.count("raised", "surplus") == 1);
    REQUIRE(b.last_retained("surplus-rig"));
  }
}

TEST_CASE("after its end was told, the same trouble is told again only after a pause") {
  Bench b;
  const auto on = [](Span m) { return m < 9h || m >= 11h; };  // over 09:00, settled 10:05, back at 11:00
  for (Span m = 8h; m <= 16h; m += 1min) {
    b.to(m);
    Fact f = b.fact("snow", "front", on(m));
    f.over_text = "Clear again.";
    b.offer(f);
  }
  REQUIRE(b.said().size() == 3);
  CHECK(b.said()[1].text == "Clear again.");
  // First told 08:12 (on-delay and gathering); six hours later it still stands.
  CHECK(b.notices.back().id == "snow-front-" + std::to_string(midnight_ms + (11 * 60 + 10) * 60000));
  std::size_t before_pause = 0;
  for (const auto& e : b.effects)
    if (const auto* s = std::get_if<Store>(&e))
      if (const auto* row = std::get_if<AlarmRow>(&s->row)) before_pause += row->event == "raised";
  CHECK(before_pause == 2);
}

TEST_CASE("a disabled alarm is silent, and ends when it is switched off while it stands") {
  Bench b;
  b.rig.alarms["bank_hot"].enabled = false;
  b.hold(b.fact("bank_hot", "bank", true), 8h, 9h);
  CHECK(b.effects.empty());
  b.rig.alarms["bank_hot"].enabled = true;
  b.hold(b.fact("bank_hot", "bank", true), 9h, 10h);
  b.rig.alarms["bank_hot"].enabled = false;
  b.offer("bank_hot", "bank", true);
  CHECK_FALSE(b.alarms.standing("bank_hot-bank"));
  CHECK(b.last_retained("bank_hot-bank")->payload.empty());
}

TEST_CASE("an owner's setting wins over the default: priority and delays") {
  Bench b;
  b.rig.alarms["bank_low"].priority = rig::Priority::urgent;
  b.rig.alarms["bank_low"].on_delay = 0min;
  b.rig.alarms["bank_low"].off_delay = 1min;
  b.to(8h);
  b.offer("bank_low", "bank", true);
  REQUIRE(b.said().size() == 1);
  CHECK(b.said()[0].priority == rig::Priority::urgent);
  b.hold(b.fact("bank_low", "bank", false), 8h + 1min, 8h + 2min);
  CHECK_FALSE(b.alarms.standing("bank_low-bank"));
}

TEST_CASE("an alarm whose fact is offered no more expires after a day and leaves nothing on the broker") {
  Bench b;
  b.hold(b.fact("bank_hot", "bank", true), 8h, 9h);
  b.advance(33h - 1s);
  CHECK(b.alarms.standing("bank_hot-bank"));
  b.advance(33h);
  CHECK_FALSE(b.alarms.standing("bank_hot-bank"));
  CHECK(b.count("expired") == 1);
  CHECK(b.last_retained("bank_hot-bank")->payload.empty());
}

TEST_CASE("after a reconnect every retained alarm is sent again, over ones as empties") {
  Bench b;
  for (Span m = 8h; m <= 10h; m += 1min) {
    b.to(m);
    b.offer("bank_hot", "bank", m < 9h);
    b.offer("bank_low", "bank", true);
    b.offer("cabin_cold", "rig", false);
  }
  const auto again = b.alarms.republish();
  REQUIRE(again.size() == 2);
  const auto& hot = std::get<Publish>(again[0]);
  const auto& low = std::get<Publish>(again[1]);
  CHECK(hot.topic == "firnwatt/test/alarms/bank_hot-bank");
  CHECK(hot.payload.empty());
  CHECK(hot.retain);
  CHECK(hot.qos == 1);
  CHECK(low.topic == "firnwatt/test/alarms/bank_low-bank");
  CHECK(low.payload.find("bank_low on bank.") != std::string::npos);
}

TEST_CASE("after the link's return every retained alarm is sent once more, standing or over") {
  Bench b;
  b.to(1h);
  b.offer(b.fact("bank_sensor", "cells", true));
  b.offer(b.fact("bank_hot", "bank", true));
  b.advance(2h);
  b.offer(b.fact("bank_hot", "bank", false));
  b.advance(3h);
  b.effects.clear();
  b.alarms.on_link_back(b.now());
  b.advance(3h + 14s);
  CHECK(b.effects.empty());
  b.advance(3h + 1min);
  std::map<std::string, bool> empty_of;
  for (const auto& e : b.effects)
    if (const auto* p = std::get_if<Publish>(&e)) empty_of[p->topic] = p->payload.empty();
  CHECK(empty_of == std::map<std::string, bool>{{"firnwatt/test/alarms/bank_hot-bank", true}, {"firnwatt/test/alarms/bank_sensor-cells", false}});
  b.effects.clear();
  b.advance(4h);
  CHECK(b.effects.empty());
}

TEST_CASE("new figures each minute do not send a retained message each minute") {
  Bench b;
  for (Span m = 8h; m < 12h; m += 1min) {
    b.to(m);
    Fact f = b.fact("bank_low", "bank", true);
    f.text = "Bank at " + std::to_string(m / 1min) + ".";
    b.offer(f);
  }
  std::size_t published = 0;
  for (const auto& e : b.effects) published += std::holds_alternative<Publish>(e);
  CHECK(published <= 6);
  CHECK(published >= 4);
}

TEST_CASE("the lines for the summary come worst first, without shelved and hidden ones") {
  Bench b;
  for (Span m = 8h; m <= 9h; m += 1min) {
    b.to(m);
    b.offer("soiling", "rear", true);
    b.offer("bank_low", "bank", true);
    b.offer("bank_hot", "bank", true);
    b.offer("charging_unpermitted", "front", true);
  }
  CHECK(b.alarms.shelve("bank_hot-bank", 2, b.now()).ok());
  CHECK(b.lines() ==
        std::vector<std::string>{"charging_unpermitted on front.", "bank_low on bank.", "soiling on rear."});
}

TEST_CASE("the row of an end says how it ended, not what stood before") {
  Bench b;
  Fact hot = b.fact("bank_hot", "bank", true);
  hot.over_text = "Old news.";
  b.hold(hot, 8h, 9h);
  hot.condition = false;
  hot.over_text = "Charging is permitted again.";
  b.hold(hot, 9h + 1min, 10h);
  b.hold(b.fact("shade", "rear", true), 10h, 11h);
  b.hold(b.fact("shade", "rear", false), 11h + 1min, 13h);
  std::vector<std::string> ends;
  for (const auto& e : b.effects)
    if (const auto* s = std::get_if<Store>(&e))
      if (const auto* a = std::get_if<AlarmRow>(&s->row); a && a->event == "cleared") ends.push_back(a->text);
  CHECK(ends == std::vector<std::string>{"Charging is permitted again.", ""});
}

TEST_CASE("while an alarm waits to be sure that it is over, its line is its end; what may come and no longer looks so has none") {
  Bench b;
  Fact low = b.fact("bank_low", "rig", true), ahead = b.fact("reserve_ahead", "rig", true);
  for (Span m = 8h; m <= 9h; m += 1min) {
    b.to(m);
    b.offer(low);
    b.offer(ahead);
  }
  CHECK(b.lines() == std::vector<std::string>{"bank_low on rig.", "reserve_ahead on rig."});
  low.condition = ahead.condition = false;
  low.over_text = "Bank above its reserve again.";
  b.to(9h + 1min);
  b.offer(low);
  b.offer(ahead);
  CHECK(b.alarms.standing("bank_low-rig"));
  CHECK(b.lines() == std::vector<std::string>{"Bank above its reserve again."});
}

TEST_CASE("what is about to be over is not said to be still so") {
  Bench b;
  Fact cold = b.fact("cabin_cold", "rig", true);
  b.hold(cold, 8h, 14h);  // told at 08:10, due again at 14:10
  REQUIRE(b.said().size() == 1);
  cold.condition = false;
  cold.over_text = "Cabin warm again.";
  b.hold(cold, 14h + 1min, 15h);
  REQUIRE(b.said().size() == 2);
  CHECK(b.said()[1].text == "Cabin warm again.");
}

TEST_CASE("an extra timer tick, a late one or a missing one changes nothing") {
  const auto run = [](Span nudge) {
    Bench b;
    std::string told, out;  // apart: one call may hand over several moments at once
    const auto note = [&] {
      for (const auto& n : b.alarms.take_notices()) told += n.id + "|" + n.text + "|" + iso_utc(n.utc) + "\n";
      for (const auto& e : b.alarms.take_effects()) {
        if (const auto* p = std::get_if<Publish>(&e)) out += p->topic + " " + p->payload + "\n";
        if (const auto* s = std::get_if<Store>(&e))
          if (const auto* a = std::get_if<AlarmRow>(&s->row)) out += a->event + " " + a->alarm + " " + iso_utc(a->when.utc) + "\n";
      }
    };
    std::uint32_t seed = 7;
    for (Span m = 6h; m < 40h; m += 7min) {
      if (nudge > Span::zero())
        for (Span extra = m - 7min + nudge; extra < m; extra += nudge) {
          b.to(extra);
          b.alarms.advance(b.now());
          note();
        }
      b.to(m);
      for (const char* alarm : {"snow", "bank_low", "bank_hot", "stale", "charging_unpermitted"}) {
        seed = seed * 1664525u + 1013904223u;
        Fact f = b.fact(alarm, "front", (seed >> 24) % 3 != 0);
        f.over_text = "Over.";
        b.alarms.offer(f, b.now());
        note();
      }
    }
    return told + out;
  };
  const std::string plain = run(0ms);
  CHECK(plain.size() > 1000);
  for (const Span nudge : {Span(997), Span(60'000), Span(61'001), Span(250'000)}) {
    CAPTURE(nudge.count());
    CHECK(run(nudge) == plain);
  }
}

TEST_CASE("a restart keeps standing, acknowledgement, shelf and what was told") {
  Bench b;
  Fact hot = b.fact("bank_hot", "bank", true);
  hot.over_text = "Cells cool again.";
  b.hold(hot, 8h, 9h);
  b.hold(b.fact("bank_low", "bank", true), 9h, 9h + 10min);
  CHECK(b.alarms.acknowledge("bank_low-bank", "sam", b.now()).ok());
  CHECK(b.alarms.shelve("bank_low-bank", 5, b.now()).ok());
  const std::string saved = b.alarms.snapshot();

  Bench after;
  after.to(9h + 20min);
  after.alarms.restore(saved, after.now());
  CHECK(after.alarms.standing("bank_hot-bank"));
  CHECK(after.alarms.state("bank_low-bank") == AlarmState::shelved);
  CHECK(after.alarms.snapshot().size() > 100);
  after.hold(hot, 9h + 21min, 9h + 30min);
  CHECK(after.notices.empty());  // told before the restart
  hot.condition = false;
  after.hold(hot, 9h + 31min, 11h);
  REQUIRE(after.said().size() == 1);
  CHECK(after.said()[0].text == "Cells cool again.");
  CHECK(after.last_retained("bank_hot-bank")->payload.empty());
}

TEST_CASE("a clock that starts again in the past does not stretch a shelf time") {
  Bench b;
  b.to(24h * 30);
  b.hold(b.fact("bank_hot", "bank", true), 24h * 30, 24h * 30 + 5min);
  CHECK(b.alarms.shelve("bank_hot-bank", 2, b.now()).ok());
  Bench after;  // starts a month earlier on its elapsed line
  after.to(1h);
  after.alarms.restore(b.alarms.snapshot(), after.now());
  after.hold(b.fact("bank_hot", "bank", true), 1h, 3h + 1min);
  CHECK(after.count("unshelved") == 1);
}

TEST_CASE("an alarm the rig no longer has ends at restart") {
  rig::Rig r = two_string_rig();
  rig::Rule rule;
  rule.name = "windy";
  rule.signal.text = "site.wind";
  rule.signal.channel = {Quantity::wind, 0};
  rule.limit = 15;
  r.rules.push_back(rule);
  Bench b(r);
  Reading wind{{Quantity::wind, 0}, b.now().at, std::nullopt, 20.0, Gone::none, false};
  b.alarms.on_reading(wind, b.now());
  b.collect();
  CHECK(b.alarms.standing("windy-rig"));
  Bench after;
  after.to(1h);
  after.alarms.restore(b.alarms.snapshot(), after.now());
  after.collect();
  CHECK_FALSE(after.alarms.standing("windy-rig"));
  CHECK(after.count("expired") == 1);
  CHECK(after.last_retained("windy-rig")->payload.empty());
}

TEST_CASE("an unreadable or foreign snapshot leaves a fresh room") {
  for (const char* text : {"", "{", "null", "[]", "{\"version\":2}", "{\"version\":1}", "{\"version\":1,\"alarms\":[]}",
                           "{\"version\":1,\"at\":\"x\",\"alarms\":{\"a-b\":7,\"c-d\":{\"alarm\":1,\"condition\":\"yes\"},\"snow-f\":{\"alarm\":\"snow\",\"subject\":\"f\",\"raised_at\":9223372036854775807,\"hidden_by\":[1,{}],\"told_priority\":99}}}"}) {
    CAPTURE(text);
    Bench b;
    b.alarms.restore(text, b.now());
    CHECK(b.alarms.lines().empty());
    b.hold(b.fact("bank_hot", "bank", true), 8h, 9h);
    CHECK(b.said().size() == 1);
  }
}
