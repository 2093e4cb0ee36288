#include <doctest/doctest.h>

#include "units/text.h"
#include "words/words.h"

using namespace fw;

namespace {
Words in(const char* zone, bool f = false) { return Words::in_zone(zone, f).value(); }
Utc at(const char* iso) { return *utc_in(iso); }
}  // namespace

TEST_CASE("an unknown zone is a fault that names it") {
  const auto r = Words::in_zone("Mars/Olympus", false);
  REQUIRE(!r.ok());
  CHECK(r.fault().text().find("Mars/Olympus") != std::string::npos);
}

TEST_CASE("times are local and to five minutes") {
  const auto w = in("America/Chicago");
  CHECK(w.clock(at("2026-01-15T14:42:29Z")) == "08:40");
  CHECK(w.clock(at("2026-01-15T14:42:31Z")) == "08:45");
  CHECK(w.clock(at("2026-01-16T05:58:00Z")) == "00:00");
  CHECK(w.clock_exact(at("2026-01-15T14:42:59Z")) == "08:42");
  CHECK(w.when(at("2026-01-15T14:40:00Z"), at("2026-01-16T14:00:00Z")) == "yesterday 08:40");
  CHECK(w.when(at("2026-01-17T14:40:00Z"), at("2026-01-16T14:00:00Z")) == "tomorrow 08:40");
  CHECK(w.when(at("2026-01-12T14:40:00Z"), at("2026-01-16T14:00:00Z")) == "Monday 08:40");
  CHECK(w.when(at("2026-01-01T14:40:00Z"), at("2026-01-16T14:00:00Z")) == "2026-01-01 08:40");
}

TEST_CASE("a clock change makes no gap and no double day") {
  const auto w = in("America/Chicago");
  // 2026-03-08: 02:00 becomes 03:00
  CHECK(w.next_local_midnight(at("2026-03-08T12:00:00Z")) - w.local_midnight(at("2026-03-08T12:00:00Z")) == hours{23});
  CHECK(!w.from_local("2026-03-08T02:30:00", at("2026-03-08T08:30:00Z")));
  // 2026-11-01: 02:00 becomes 01:00
  CHECK(w.next_local_midnight(at("2026-11-01T12:00:00Z")) - w.local_midnight(at("2026-11-01T12:00:00Z")) == hours{25});
  CHECK(*w.from_local("2026-11-01T01:30:00", at("2026-11-01T06:31:00Z")) == at("2026-11-01T06:30:00Z"));
  CHECK(*w.from_local("2026-11-01T01:30:00", at("2026-11-01T07:29:00Z")) == at("2026-11-01T07:30:00Z"));
  CHECK(w.next_at(150, at("2026-03-08T07:00:00Z")) == at("2026-03-08T08:00:00Z"));
  for (Utc t = at("2026-03-07T00:00:00Z"); t < at("2026-03-10T00:00:00Z"); t += 17min) {
    CAPTURE(iso_utc(t));
    CHECK(w.local_midnight(t) <= t);
    CHECK(w.next_local_midnight(t) > t);
    CHECK(w.next_at(450, t) > t);
    CHECK(w.minute_of_day(w.next_at(450, t)) == 450);
  }
}

TEST_CASE("figures carry the owner's units and no more digits than they deserve") {
  CHECK(in("UTC").temperature(-0.3) == "0 °C");
  CHECK(in("UTC").temperature(-5.6) == "-6 °C");
  CHECK(in("UTC", true).temperature(-5.6) == "22 °F");
  CHECK(in("UTC", true).temperature_difference(2) == "4 °F");
  CHECK(Words::watts_of(61.7, 837) == "62 of 840 W");
  CHECK(Words::watts(1234) == "1200 W");
  CHECK(Words::watts(994) == "990 W");
  CHECK(Words::watts(996) == "1000 W");
  CHECK(Words::energy(3.1415) == "3.1 kWh");
  CHECK(Words::energy(0.3) == "0.30 kWh");
  CHECK(Words::energy(0.0004) == "0 kWh");
  CHECK(Words::energy(0.0986) == "0.10 kWh");
  CHECK(Words::energy(0.047) == "0.05 kWh");
  CHECK(Words::energy(12.4) == "12 kWh");
  CHECK(Words::percent(0.706) == "71 %");
  CHECK(Words::amps(1.46) == "1.5 A");
  CHECK(Words::amps(14.2) == "14 A");
  CHECK(Words::span(80min) == "1 h 20 min");
  CHECK(Words::span(hours{50}) == "2 days");
}

TEST_CASE("certainty is said in the words that match the number") {
  CHECK(Words::certainty(0.95) == "very probably");
  CHECK(Words::certainty(0.9) == "very probably");
  CHECK(Words::certainty(0.89) == "probably");
  CHECK(Words::certainty(0.69) == "perhaps");
  CHECK(Words::certainty(0.49) == "");
}

TEST_CASE("a name out of a config is said as people say it") {
  CHECK(Words::named("west_row") == "west row");
  CHECK(Words::named("upper_deck_2") == "upper deck 2");
  CHECK(Words::named("front") == "front");
  CHECK(Words::capital(Words::named("west_row")) + " string" == "West row string");
}
