#include "alarms/rules.h"

#include <doctest/doctest.h>

#include "alarms/bench.h"
#include "rig/alarm_limits.h"

using namespace fw;
using namespace fw::alarms;

namespace {

rig::Rule rule(const char* name, Quantity q, int thing, rig::Test test, double limit) {
  rig::Rule r;
  r.name = name;
  r.signal.text = "the signal";
  r.signal.channel = {q, thing};
  r.test = test;
  r.limit = limit;
  return r;
}

Bench with(const rig::Rule& r) {
  rig::Rig rig = two_string_rig();
  rig.rules.push_back(r);
  return Bench(rig);
}

void read(Bench& b, Span at, double value) {
  b.to(at);
  const auto& signal = b.rig.rules[0].signal;
  b.alarms.on_reading({signal.channel, b.now().at, std::nullopt, value, Gone::none, false}, b.now());
  b.collect();
}

}  // namespace

TEST_CASE("a rule reads back as a sentence, in the owner's units") {
  const Words metric = *Words::in_zone("UTC", false), imperial = *Words::in_zone("UTC", true);
  rig::Rule r = rule("low_volts", Quantity::bank_voltage, 0, rig::Test::below, 12.4);
  r.signal.text = "bank.voltage";
  r.deadband = 0.05;
  r.on_delay = 10min;
  CHECK(rule_sentence(r, metric) ==
        "low_volts: bank.voltage below 12.4 V for 10 min, over when past 12.45 V for 5 min; priority low.");
  r = rule("fridge", Quantity::cabin_temperature, 0, rig::Test::above, 8);
  r.signal.text = "site.cabin_temperature";
  r.off_delay = 1h;
  r.priority = rig::Priority::high;
  CHECK(rule_sentence(r, metric) == "fridge: site.cabin_temperature above 8 °C, over when back for 1 h; priority high.");
  CHECK(rule_sentence(r, imperial) == "fridge: site.cabin_temperature above 46.4 °F, over when back for 1 h; priority high.");
  r = rule("drain", Quantity::soc, 0, rig::Test::rate_below, -0.1);
  r.signal.text = "bank.soc";
  CHECK(rule_sentence(r, metric) == "drain: bank.soc falling by more than 10 % an hour, over when back for 5 min; priority low.");
  r = rule("kettle", Quantity::load_power, 0, rig::Test::above, 1200);
  r.signal.text = "loads.power";
  r.on_delay = 20s;
  CHECK(rule_sentence(r, metric) == "kettle: loads.power above 1200 W for 20 s, over when back for 5 min; priority low.");
  r = rule("warming", Quantity::cell_temperature, 0, rig::Test::rate_above, 2);
  r.signal.text = "bank.cell_min";
  r.deadband = 0.5;
  CHECK(rule_sentence(r, imperial) == "warming: bank.cell_min rising by more than 3.6 °F an hour, over when past 2.7 °F an hour for 5 min; priority low.");
  r = rule("mute", Quantity::string_power, 0, rig::Test::missing, 0);
  r.signal.text = "strings.front.power";
  CHECK(rule_sentence(r, metric) == "mute: strings.front.power silent for 15 min, over when it speaks again; priority low.");
}

TEST_CASE("a built-in alarm reads back as a sentence with what the owner changed") {
  const Words words = *Words::in_zone("UTC", false);
  rig::Rig rig;
  CHECK(alarm_sentence(*built_in("bank_low"), rig, words) == "bank_low: low bank for 5 min, limit 20 %, over when gone for 30 min; priority high.");
  CHECK(alarm_sentence(*built_in("cabin_cold"), rig, words) == "cabin_cold: cold cabin for 10 min, limit 4 °C, over when gone for 30 min; priority high.");
  CHECK(alarm_sentence(*built_in("reserve_ahead"), rig, words) == "reserve_ahead: reserve in sight for 10 min, limit 48 h, over when gone for 1 h; priority high.");
  rig.alarms["bank_low"].limit = 0.3;
  rig.alarms["bank_low"].deadband = 0.05;
  rig.alarms["bank_low"].on_delay = 30s;
  rig.alarms["bank_low"].priority = rig::Priority::urgent;
  rig.alarms["shade"].enabled = false;
  rig.alarms["cabin_cold"].limit = 4;
  CHECK(alarm_sentence(*built_in("bank_low"), rig, words) ==
        "bank_low: low bank for 30 s, your limit 30 %, deadband 5 %, over when gone for 30 min; priority urgent.");
  CHECK(alarm_sentence(*built_in("shade"), rig, words) == "shade: off.");
  CHECK(alarm_sentence(*built_in("cabin_cold"), rig, words) == "cabin_cold: cold cabin for 10 min, your limit 4 °C, over when gone for 30 min; priority high.");
  for (const BuiltIn& b : built_in_alarms()) {
    CHECK(alarm_sentence(b, rig, words).ends_with("."));
    CHECK(rig::default_alarm_limit(b.name, rig).has_value() == !b.limit.empty());
  }
}

TEST_CASE("a value wobbling about its limit for three hours at night is one message") {
  rig::Rule r = rule("low_volts", Quantity::bank_voltage, 0, rig::Test::below, 12.40);
  r.text = "Bank at {value}, limit {limit}, since {since}. Switch off what you can.";
  Bench b = with(r);
  const double wobble[] = {12.39, 12.41, 12.38, 12.42};
  for (int i = 0; i < 90; ++i) read(b, 2h + i * 2min, wobble[i % 4]);
  CHECK(b.count("raised") == 1);
  REQUIRE(b.said().size() == 1);
  CHECK(b.said()[0].text == "Bank at 12.39 V, limit 12.4 V, since 02:00. Switch off what you can.");
  CHECK(b.said()[0].subject == "bank");
}

TEST_CASE("each test of a rule, with its deadband and delays") {
  struct Step { Span at; double value; bool standing; };
  struct Row { const char* what; rig::Rule rule; std::vector<Step> steps; };
  auto above = rule("r", Quantity::wind, 0, rig::Test::above, 10);
  above.deadband = 2;
  above.on_delay = 1min;
  above.off_delay = 2min;
  auto below = rule("r", Quantity::soc, 0, rig::Test::below, 0.3);
  below.deadband = 0.05;
  auto equals = rule("r", Quantity::stage, 0, rig::Test::equals, static_cast<double>(Stage::equalize));
  equals.off_delay = 1s;
  auto falling = rule("r", Quantity::soc, 0, rig::Test::rate_below, -0.10);
  std::vector<Step> fall;
  for (int i = 0; i <= 40; ++i) fall.push_back({i * 1min, 0.9 - i * 0.15 / 60, i >= 10});
  for (const Row& row : {Row{"above", above,
                             {{0s, 11, false}, {59s, 11, false}, {60s, 11, true}, {2min, 9, true}, {6min, 9, true}, {7min, 7.9, true},
                              {9min, 7.9, false}}},
                         Row{"below", below, {{0s, 0.31, false}, {1min, 0.29, true}, {10min, 0.34, true}, {20min, 0.36, true}, {25min, 0.36, false}}},
                         Row{"equals", equals, {{0s, 1, false}, {1min, 4, true}, {2min, 1, true}, {3min, 1, false}}},
                         Row{"falling 15 % an hour", falling, fall}}) {
    CAPTURE(row.what);
    Bench b = with(row.rule);
    for (const auto& s : row.steps) {
      CAPTURE(s.at.count());
      read(b, s.at, s.value);
      CHECK(b.alarms.standing(b.rig.rules[0].name + "-" + rule_subject(b.rig.rules[0], b.rig)) == s.standing);
    }
  }
}

TEST_CASE("a slow fall and a single odd sample are no rate") {
  auto falling = rule("r", Quantity::soc, 0, rig::Test::rate_below, -0.10);
  Bench b = with(falling);
  for (int i = 0; i <= 120; ++i) read(b, i * 1min, 0.9 - i * 0.05 / 60 - (i == 60 ? 0.02 : 0));
  CHECK(b.count("raised") == 0);
}

TEST_CASE("on its way back inside the deadband a value is not put beside a limit it has left") {
  rig::Rule r = rule("low_volts", Quantity::bank_voltage, 0, rig::Test::below, 12.40);
  r.deadband = 0.2;
  r.text = "Bank at {value}, below {limit}.";
  Bench b = with(r);
  read(b, 0min, 12.1);
  for (int m = 5; m < 60; m += 5) read(b, m * 1min, 12.5);
  CHECK(b.alarms.wording("low_volts-bank") == "Bank at 12.1 V, below 12.4 V.");
}

TEST_CASE("the end of an owner's rule is told once, with the figure it came to") {
  rig::Rule r = rule("low_volts", Quantity::bank_voltage, 0, rig::Test::below, 12.40);
  r.deadband = 0.2;
  r.text = "Spannung {value}.";
  Bench b = with(r);
  for (int m = 0; m < 60; m += 5) read(b, m * 1min, 12.1);
  for (int m = 60; m < 180; m += 5) read(b, m * 1min, 12.7);
  REQUIRE(b.said().size() == 2);
  CHECK(b.said()[0].text == "Spannung 12.1 V.");
  CHECK(b.said()[1].text == "Low volts is over: 12.7 V.");
  CHECK(b.said()[1].priority == rig::Priority::low);
}

TEST_CASE("a missing rule raises after its silence and is over when the signal speaks again") {
  auto r = rule("mute", Quantity::string_power, 1, rig::Test::missing, 0);
  r.on_delay = 10min;
  Bench b = with(r);
  for (int i = 0; i <= 60; ++i) read(b, i * 1min, 100);
  CHECK(b.count("raised") == 0);
  b.advance(1h + 9min + 59s);
  CHECK(b.count("raised") == 0);
  b.advance(2h);
  CHECK(b.count("raised") == 1);
  REQUIRE(b.said().size() == 1);
  CHECK(b.said()[0].subject == "rear");
  CHECK(b.said()[0].utc == utc_ms(midnight_ms) + 1h + 10min);
  CHECK(b.said()[0].text == "The signal: no word since 01:00.");
  read(b, 2h, 100);
  CHECK(b.count("cleared") == 1);
}

TEST_CASE("a signal that never spoke is missing too") {
  auto r = rule("mute", Quantity::string_power, 1, rig::Test::missing, 0);
  Bench b = with(r);
  b.advance(0h);
  b.advance(16min);
  CHECK(b.count("raised") == 1);
}

TEST_CASE("a retained reading and one without value never count") {
  auto r = rule("windy", Quantity::wind, 0, rig::Test::above, 10);
  Bench b = with(r);
  b.alarms.on_reading({{Quantity::wind, 0}, b.now().at, std::nullopt, 20.0, Gone::none, true}, b.now());
  b.alarms.on_reading({{Quantity::wind, 0}, b.now().at, std::nullopt, std::nullopt, Gone::null, false}, b.now());
  b.advance(1h);
  CHECK(b.count("raised") == 0);
}

TEST_CASE("a rule over a derived value, with its own subject") {
  rig::Rule r;
  r.name = "weak";
  r.signal.text = "strings.rear.performance_index";
  r.signal.derived = rig::Derived::performance_index;
  r.signal.thing = 1;
  r.test = rig::Test::below;
  r.limit = 0.5;
  r.on_delay = 30min;
  Bench b = with(r);
  for (Span m = 10h; m <= 11h; m += 1min) {
    b.to(m);
    b.alarms.on_derived(rig::Derived::performance_index, 0, 0.2, b.now());
    b.alarms.on_derived(rig::Derived::performance_index, 1, m < 10h + 29min ? std::optional(0.4) : std::nullopt, b.now());
    b.collect();
  }
  b.advance(11h);
  CHECK(b.alarms.standing("weak-rear"));
  REQUIRE(b.said().size() == 1);
  CHECK(b.said()[0].text == "Strings rear performance index 40 %, below 50 % since 10:00.");
}

TEST_CASE("a signal that falls silent does not complete an on-delay with values nobody has seen") {
  auto r = rule("windy", Quantity::wind, 0, rig::Test::above, 10);
  r.on_delay = 2h;
  Bench b = with(r);
  read(b, 1h, 12);
  read(b, 1h + 10min, 12);
  b.advance(6h);
  CHECK(b.count("raised") == 0);
  for (Span m = 6h; m <= 8h; m += 10min) read(b, m, 12);
  CHECK(b.count("raised") == 1);
}

TEST_CASE("two rules over one signal are two alarms") {
  rig::Rig rig = two_string_rig();
  rig.rules = {rule("a", Quantity::wind, 0, rig::Test::above, 10), rule("b", Quantity::wind, 0, rig::Test::above, 15)};
  rig.rules[1].priority = rig::Priority::high;
  Bench b(rig);
  read(b, 1h, 12);
  CHECK(b.said().size() == 1);
  read(b, 1h + 1min, 16);
  CHECK(b.said().size() == 2);
}
