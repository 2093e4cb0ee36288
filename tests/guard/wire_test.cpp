#include "guard/wire.h"

#include <doctest/doctest.h>

#include "guard_rig.h"

using namespace fw;
using namespace fw::guard;
using namespace fw::guard::test;

TEST_CASE("a yes is never kept by the broker, a no always is") {
  const auto r = plain_rig();
  for (const auto& c : r.chargers) {
    for (const auto& p : yes_for(r, c, 12.34, "cells at 8 °C", seconds{60}, utc_ms(0))) {
      CHECK_FALSE(p.retain);
      CHECK(p.qos == 0);
      CHECK(*p.expires_s == 60);
      CHECK(p.connection == c.name);
    }
    auto no = no_for(r, c, "cold");
    no.push_back(*off_for(c));
    no.push_back(will_for(r, c));
    for (const auto& p : no) {
      CHECK(p.retain);
      CHECK(p.qos == 1);
      CHECK(p.connection == c.name);
    }
  }
  const auto yes = yes_for(r, r.chargers[1], 12.39, "cells at 8 °C", seconds{60}, utc_ms(60'000));
  REQUIRE(yes.size() == 3);
  CHECK(yes[0].topic == "firnwatt/plain/chargers/starboard/permit");
  CHECK(yes[0].payload == "{\"permit\":true,\"current_limit_a\":12.3,\"reason\":\"cells at 8 °C\",\"valid_for_s\":60,\"valid_until\":\"1970-01-01T00:01:00Z\"}");
  CHECK(yes[1].payload == "{\"a\":12.3}");  // the limit before the on
  CHECK(yes[2].payload == "1");
}

TEST_CASE("a charger to be limited first goes to 0 A, then off; one never to be cut gets no off") {
  auto r = plain_rig();
  r.chargers[0].rated_a = 10;
  r.chargers[1].rated_a = 5;
  rig::Charger alternator;
  alternator.name = "alternator";
  alternator.kind = rig::ChargerKind::alternator;
  alternator.stop_by = rig::StopBy::never;
  alternator.command = {"alt/set", "go", "stop"};
  alternator.limit_topic = "alt/limit";
  r.chargers.push_back(alternator);
  Drive d(r);
  d.cell(8);
  d.said.clear();
  d.pass(minutes{5});
  d.said.clear();
  const Elapsed cut = d.at;
  for (int i = 0; i < 20; ++i) d.cell(8 - 0.5 * i), d.pass(minutes{2});
  std::optional<Elapsed> port_off, limit0, starboard_off;
  for (const auto& s : d.said) {
    if (s.p.topic == "solar/port/set" && s.p.payload == "off" && !port_off) port_off = s.at;
    if (s.p.topic == "solar/starboard/limit" && s.p.payload == "{\"a\":0.0}" && !limit0) limit0 = s.at;
    if (s.p.topic == "solar/starboard/set" && s.p.payload == "0" && !starboard_off) starboard_off = s.at;
    CHECK(s.p.topic != "alt/set");
  }
  REQUIRE(port_off);
  REQUIRE(limit0);
  REQUIRE(starboard_off);
  CHECK(*port_off > cut);
  CHECK(*starboard_off - *limit0 >= seconds{3});
  CHECK(d.retained["alt/limit"] == "0.0");
  CHECK(contains(d.all_sentences(), "never switched off"));
}

TEST_CASE("the will is the off on the topic the charger obeys") {
  auto r = plain_rig();
  CHECK(will_for(r, r.chargers[0]).topic == "solar/port/set");
  CHECK(will_for(r, r.chargers[0]).payload == "off");
  CHECK(will_for(r, r.chargers[1]).topic == "solar/starboard/limit");
  r.chargers[0].command = {};
  CHECK(will_for(r, r.chargers[0]).topic == "firnwatt/plain/chargers/port/permit");
  CHECK(contains(will_for(r, r.chargers[0]).payload, "\"permit\":false"));
}

TEST_CASE("a standing yes is renewed well before it runs out, and a stop says every off") {
  Drive d(plain_rig());
  d.cell(8);
  d.said.clear();
  Elapsed last = d.at;
  for (int i = 0; i < 20; ++i) d.pass(seconds{30}), d.cell(8);
  for (const auto& s : d.said)
    if (s.p.topic == "firnwatt/plain/chargers/port/permit") {
      CHECK(s.at - last <= seconds{20});
      last = s.at;
    }
  int off = 0;
  for (const auto& e : d.guard.all_off("firnwatt stops"))
    if (const auto* p = std::get_if<Publish>(&e)) off += (p->payload == "off" || p->payload == "0") && p->retain && p->qos == 1;
  CHECK(off == 2);
  CHECK_FALSE(d.guard.may_charge(0));
}

TEST_CASE("a command is confirmed by the charger's own word and stored so under the same id") {
  Drive d(plain_rig());
  d.cell(8);
  std::string id;
  for (const auto& c : d.commands)
    if (c.charger == "port") id = c.id;
  d.pass(seconds{2});
  d.reading(Quantity::charger_on, 1, 0);
  CHECK(d.commands.back().id == id);
  CHECK(d.commands.back().confirmed);
}
