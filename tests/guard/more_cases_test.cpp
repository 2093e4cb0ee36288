// Situations of the bank's other guards: half a bank gone, cold discharge, a charger that takes too much, set points.
#include <doctest/doctest.h>

#include <algorithm>

#include "guard_rig.h"

using namespace fw;
using namespace fw::guard;
using namespace fw::guard::test;

namespace {

/// Loads come and go every few minutes; the bank's volts follow through its resistance.
void live_with_loads(Drive& d, int minutes_long, double ohm, double cell_c) {
  for (int m = 0; m < minutes_long; ++m) {
    const double a = m % 40 < 10 ? -22 : m % 40 < 20 ? -4 : m % 40 < 30 ? -14 : 6;
    d.cell(cell_c);
    RigMinute minute;
    minute.cell_min_c = cell_c;
    minute.soc = 0.6;
    minute.bank_current_a = a;
    minute.bank_voltage_v = std::round((13.2 + ohm * a) * 100) / 100;
    d.minute(minute);
    d.pass(minutes{1});
  }
}

rig::Rig two_batteries() {
  auto r = plain_rig();
  r.bank.parallel_batteries = 2;
  return r;
}

}  // namespace

TEST_CASE("one of two parallel batteries that switched itself off is noticed within hours, and when it is back") {
  Drive d(two_batteries());
  live_with_loads(d, 24 * 60, 0.012, 8);
  CHECK_FALSE(d.stands("bank_gone", "half"));
  SUBCASE("in the same process") {}
  SUBCASE("after a restart") { d.restart(); }
  live_with_loads(d, 150, 0.024, 8);
  CHECK(d.stands("bank_gone", "half"));
  CHECK(contains(d.text("bank_gone", "half"), "One of the 2 parallel batteries has probably switched itself off since"));
  live_with_loads(d, 24 * 60, 0.024, 8);
  CHECK(d.stands("bank_gone", "half"));  // it is not learned as usual
  live_with_loads(d, 150, 0.012, 8);
  CHECK_FALSE(d.stands("bank_gone", "half"));
}

TEST_CASE("a bank that resists more because it is colder has lost no battery") {
  Drive d(two_batteries());
  for (int k = 0; k < 12; ++k) live_with_loads(d, 6 * 60, 0.012 * (1 + 0.1 * k), 20 - 2.5 * k);
  CHECK_FALSE(d.stands("bank_gone", "half"));
}

TEST_CASE("where nobody remembers an alarm the facts are those that are so, each in the same words") {
  Drive d(plain_rig(2));
  const auto told = [&](bool remembered) {
    std::string out;
    for (const Fact& f : d.guard.facts(d.now(), [&](std::string_view) { return remembered; }))
      if (f.condition) out += f.alarm + '-' + f.subject + ": " + f.text + '\n';
      else CHECK(remembered);
    return out;
  };
  std::size_t lines = 0;
  for (int m = 0; m < 300; ++m) {
    d.cell(m < 60 ? 6 : m < 120 ? 0.5 - 0.02 * (m - 60) : m < 180 ? -0.7 : 4, 0);
    if (m < 200) d.cell(m < 60 ? 6.2 : m < 150 ? 0.7 - 0.02 * (m - 60) : 14, 1);
    d.reading(Quantity::bank_current, m % 90 < 70 ? 1 : 9);
    d.minute({});
    d.pass(minutes{1});
    const std::string some = told(false);
    CHECK(some == told(true));
    lines += static_cast<std::size_t>(std::count(some.begin(), some.end(), '\n'));
  }
  CHECK(lines > 100);
}

TEST_CASE("a single battery is never halved") {
  Drive d(plain_rig());
  live_with_loads(d, 24 * 60, 0.012, 8);
  live_with_loads(d, 300, 0.024, 8);
  CHECK_FALSE(d.fact("bank_gone", "half"));
}

TEST_CASE("drawing from cells colder than the maker allows is said, and ahead of it when") {
  auto r = plain_rig();
  r.bank.window.discharge_lower_limit_c = -10;
  Drive d(r);
  for (int m = 0; m < 5; ++m) {
    d.cell(-11);
    d.reading(Quantity::bank_current, -4);
    d.pass(minutes{1});
  }
  CHECK(d.stands("bank_cold", "discharge"));
  CHECK(contains(d.text("bank_cold", "discharge"), "Cells at -11 °C, and 4.0 A are drawn since"));
  CHECK(contains(d.text("bank_cold", "discharge"), "Your limit for discharge is -10 °C"));
  for (int m = 0; m < 3; ++m) d.reading(Quantity::bank_current, 0), d.pass(minutes{1});
  CHECK_FALSE(d.stands("bank_cold", "discharge"));

  Drive ahead(r);
  for (int m = 0; m < 6 * 60; ++m) {
    const double c = 4 - 2.0 * m / 60;
    ahead.cell(std::round(c * 10) / 10);
    RigMinute minute;
    minute.air_c = -30;
    ahead.minute(minute);
    ahead.pass(minutes{1});
  }
  CHECK(ahead.stands("bank_cold_ahead", "discharge"));
  CHECK(contains(ahead.text("bank_cold_ahead", "discharge"), "no discharge below that"));
}

TEST_CASE("a charger that takes more than its limit is told again, then alarmed, and is believed when it obeys") {
  auto r = plain_rig();
  Drive d(r);
  d.cell(4);  // 20 A for the bank, all of it the first charger's
  CHECK(*d.guard.current_limit_a(0) == doctest::Approx(20));
  d.pass(seconds{30});
  d.said.clear();
  for (int i = 0; i < 4; ++i) d.cell(4), d.reading(Quantity::output_current, 27, 0), d.pass(seconds{20});
  int again = 0;
  for (const auto& s : d.said) again += s.p.topic == "firnwatt/plain/chargers/port/permit";
  CHECK(again >= 3);
  CHECK(d.stands("command_unconfirmed", "port"));
  CHECK(contains(d.text("command_unconfirmed", "port"), "takes more than it may: 27 A, told 20 A, with cells at 4 °C"));
  CHECK(d.guard.may_charge(0));
  for (int i = 0; i < 2; ++i) d.reading(Quantity::output_current, 19, 0), d.pass(seconds{20});
  CHECK_FALSE(d.stands("command_unconfirmed", "port"));
}

TEST_CASE("a colder reading too sudden to be believed lowers the current at once, though not the permit") {
  Drive d(plain_rig());
  for (int i = 0; i < 6; ++i) d.cell(11.2), d.pass(seconds{30});
  CHECK(*d.guard.current_limit_a(0) == doctest::Approx(30));
  d.cell(8.4);
  CHECK(d.guard.may_charge(0));
  CHECK(*d.guard.current_limit_a(0) == doctest::Approx(20));
}

TEST_CASE("a heater with a set point is told where to warm the cells to, and off is off") {
  auto r = plain_rig();
  rig::Heater h;
  h.name = "pad";
  h.command = {"heat/pad", "{\"on\":1,\"to\":{c}}", "{\"on\":0}"};
  h.rated_w = 60;
  r.heaters.push_back(h);
  h.name = "mat";
  h.command = {"heat/mat", "{f}", "OFF"};
  r.heaters.push_back(h);
  Drive d(r);
  d.reading(Quantity::soc, 0.6);
  d.cell(2.5);
  std::map<std::string, Publish> last;
  for (const auto& s : d.said) last[s.p.topic] = s.p;
  CHECK(last["heat/pad"].payload == "{\"on\":1,\"to\":5.0}");
  CHECK_FALSE(last["heat/pad"].retain);
  CHECK(last["heat/mat"].payload == "41.0");
  d.pass(minutes{20});
  CHECK(d.retained["heat/pad"] == "{\"on\":0}");
}

TEST_CASE("who holds is said with its temperature, since when and until about when") {
  Drive d(plain_rig());
  for (int m = 0; m < 7 * 60; ++m) {
    const double c = 1.0 + 0.5 * m / 60;
    d.cell(std::round(c * 10) / 10);
    d.reading(Quantity::soc, 0.4);
    d.reading(Quantity::stage, static_cast<double>(Stage::inhibited), 0);
    d.reading(Quantity::stage, static_cast<double>(Stage::inhibited), 1);
    RigMinute minute;
    minute.air_c = 14;
    minute.soc = 0.4;
    d.minute(minute);
    d.pass(minutes{1});
    if (m == 60) CHECK(contains(d.all_sentences(), "Our permit holds charging off since 08:00: cells at 2 °C"));
    if (m == 60) CHECK(contains(d.all_sentences(), "Warm enough about"));
  }
  CHECK(contains(d.all_sentences(), "The controller holds charging back by itself since"));
  CHECK(contains(d.all_sentences(), "cells at 5 °C. It should"));
  CHECK(contains(d.all_sentences(), "It should take charge a few degrees later, about"));
  CHECK(contains(d.text("bank_cold", "battery"), "Charging is held back by the controller since"));
}

TEST_CASE("through the owner's table, borders included, the bank's limit is the table's") {
  auto r = plain_rig();
  r.bank.window.upper_limit_c = 60;
  r.bank.window.upper_resume_c = 58;
  r.bank.window.bands = {{0, 5, 0.1}, {5, 10, 0.2}, {10, 25, 0.2}, {25, 50, 0.5}, {50, 60, 0.1}};
  struct Row { double low_c, high_c, a; };
  for (const Row& row : {Row{-0.1, -0.1, 0}, {4.9, 4.9, 20}, {5.1, 5.1, 40}, {9.9, 9.9, 40}, {24.9, 24.9, 40}, {25.1, 25.1, 100}, {45, 45, 100},
                         {50.1, 50.1, 20}, {60.1, 60.1, 0}, {5, 5, 20}, {25, 25, 40}, {50, 50, 20}, {4, 51, 20}, {4, 60.5, 0}}) {
    CAPTURE(row.low_c);
    CAPTURE(row.high_c);
    CHECK(Guard::standard_decisions().bank_limit_a(row.low_c, row.high_c, r.bank) == doctest::Approx(row.a));
  }
  // At 0.1 the table gives 20 A, and the guard gives it once the resume value has held.
  CHECK(Guard::standard_decisions().bank_limit_a(0.1, 0.1, r.bank) == doctest::Approx(20));
}

TEST_CASE("short cold night: an insulated bank that rides it out is not warned of, a bare one is, in the evening") {
  // Air +2 at 18:00, -7 at 04:00, +3 at 09:00, the same every night; the forecast says so.
  const auto air = [](double h) { const double t = std::fmod(h + 24 - 18, 24); return t < 10 ? 2 - 0.9 * t : t < 15 ? -7 + 2 * (t - 10) : 3 + (t < 20 ? 0.4 * (t - 15) : 2 - 0.75 * (t - 20)); };
  for (const double tau_h : {30.0, 6.0}) {
    CAPTURE(tau_h);
    Drive d(plain_rig());
    double c = 9.0;
    bool warned_by_22 = false, ever = false;
    std::string said_half_past_nine;
    for (int m = 0; m < 10 * 1440; ++m) {
      const double h = 8 + m / 60.0;
      if (std::fmod(h, 24) == 18.0) c = 9.0;  // each evening begins alike
      c += (air(h) - c) / tau_h / 60;
      d.cell(std::round(c * 20) / 20);
      RigMinute minute;
      minute.air_c = air(h);
      minute.soc = 0.6;
      d.minute(minute);
      d.pass(minutes{1});
      if (m > 9 * 1440 && d.stands("bank_cold_ahead")) {
        ever = true;
        if (std::fmod(h, 24) > 17.9 && std::fmod(h, 24) < 22) warned_by_22 = true;
        if (std::fmod(h, 24) == 21.5) said_half_past_nine = d.text("bank_cold_ahead");
      }
    }
    CHECK(ever == (tau_h < 10));
    CHECK(warned_by_22 == (tau_h < 10));
    if (tau_h > 10) continue;
    // The law of cooling puts the crossing at about 02:40; the hour named, or the middle of its range.
    CAPTURE(said_half_past_nine);
    std::vector<double> named;
    for (std::size_t i = said_half_past_nine.find("reach 0 °C"); i + 2 < said_half_past_nine.size() && said_half_past_nine[i] != ';'; ++i)
      if (said_half_past_nine[i] == ':')
        named.push_back(std::stoi(said_half_past_nine.substr(i - 2, 2)) + std::stoi(said_half_past_nine.substr(i + 1, 2)) / 60.0);
    REQUIRE_FALSE(named.empty());
    CHECK(std::abs((named.front() + named.back()) / 2 - 2.67) <= 0.75);
  }
}
