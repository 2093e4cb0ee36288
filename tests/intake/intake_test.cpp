#include "intake/intake.h"

#include <doctest/doctest.h>

#include <cmath>

#include "rigs.h"

using namespace fw;

TEST_CASE("a value comes in scaled, shifted, turned and in SI") {
  struct Row { const char* source; const char* payload; double value; };
  for (const Row& r : {Row{"voltage: {topic: b, unit: V}", "13.1", 13.1}, Row{"voltage: {topic: b, unit: mV}", "13100", 13.1},
                       Row{"voltage: {topic: b, unit: V}", "\"13.1\"", 13.1}, Row{"voltage: {topic: b, unit: V, factor: 0.01}", "1310", 13.1},
                       Row{"current: {topic: b, unit: A, sign: -1}", "4.5", -4.5}, Row{"current: {topic: b, unit: mA}", " -4200 ", -4.2},
                       Row{"soc: {topic: b, unit: \"%\"}", "71", 0.71}, Row{"soc: {topic: b, unit: fraction}", "0.71", 0.71},
                       Row{"soc: {topic: b, unit: \"%\"}", "104", 1.0}, Row{"soc: {topic: b, pointer: /r/2, unit: percent, factor: 0.1}", R"({"r":[0,0,700]})", 0.7},
                       Row{"cell_temperature: {topic: b, unit: degF, max_age: 1 min}", "41", 5}, Row{"cell_temperature: {topic: b, unit: K, factor: 0.1, max_age: 1 min}", "2731.5", 0},
                       Row{"cell_temperature: {topic: b, unit: degC, offset: -1.5, max_age: 1 min}", "4", 2.5},
                       Row{"voltage: {topic: b, pointer: /a~1b/0/c, unit: V}", R"({"a/b":[{"c":"12.5"}]})", 12.5}}) {
    CAPTURE(r.source);
    const auto rig = small_rig(std::string{"  "} + r.source + "\n");
    Inlet in{rig};
    const auto v = in.value("b", r.payload);
    REQUIRE(v);
    CHECK(std::fabs(*v - r.value) < 1e-9);
  }
}

TEST_CASE("depth of snow arrives in cm") {
  const auto rig = small_rig("", "  snow_depth: {topic: s, unit: in}\n");
  Inlet in{rig};
  CHECK(std::fabs(*in.value("s", "10") - 25.4) < 1e-9);
}

TEST_CASE("flags of any JSON kind, plain or by a table") {
  struct Row { const char* values; const char* payload; std::optional<double> value; };
  for (const Row& r : {Row{"", "true", 1}, Row{"", "false", 0}, Row{"", "1", 1}, Row{"", "0", 0}, Row{"", "\"ON\"", 1}, Row{"", "off", 0}, Row{"", "yes", 1},
                       Row{"", "2", {}}, Row{"", "maybe", {}}, Row{"", "[1]", {}}, Row{", values: {allowed: true, blocked: false}", "\"Allowed\"", 1},
                       Row{", values: {allowed: true, blocked: false}", "blocked", 0}, Row{", values: {allowed: true, blocked: false}", "true", {}},
                       Row{", values: {0: true, 1: false}", "0", 1}, Row{", values: {0: true, 1: false}", "1.0", 0}, Row{", values: {3: true, 4: false}", "\"4\"", 0},
                       Row{", values: {\"true\": false, \"false\": true}", "true", 0}}) {
    CAPTURE(r.values);
    CAPTURE(r.payload);
    const auto rig = small_rig(std::string{"  charge_allowed: {topic: b"} + r.values + "}\n");
    Inlet in{rig};
    const auto t = in.take("b", r.payload);
    REQUIRE(t.readings.size() == 1);
    CHECK(t.readings[0].value == r.value);
    CHECK(t.readings[0].gone == (r.value ? Gone::none : Gone::unknown_word));
  }
}

TEST_CASE("a stage by its own name or by the sender's word or number") {
  const auto rig = rig_of(R"(
rig: test
site: {latitude: 45, longitude: -93, timezone: UTC}
strings:
  a: {module: {power: 400 W}, wiring: 1, power: {topic: a/w, unit: W}, controller: {stage: {topic: a/s}}}
  b: {module: {power: 400 W}, wiring: 1, power: {topic: b/w, unit: W}, controller: {stage: {topic: b/s, values: {3: bulk, 5: float, idle: "off"}}}}
)");
  Inlet in{rig};
  CHECK(in.value("a/s", "absorption") == static_cast<double>(Stage::absorption));
  CHECK(in.value("a/s", "\"Float\"") == static_cast<double>(Stage::floating));
  CHECK_FALSE(in.value("a/s", "3"));
  CHECK(in.value("b/s", "3") == static_cast<double>(Stage::bulk));
  CHECK(in.value("b/s", "\"5\"") == static_cast<double>(Stage::floating));
  CHECK(in.value("b/s", "IDLE") == static_cast<double>(Stage::off));
  const auto t = in.take("b/s", "zzz");
  CHECK(t.readings[0].gone == Gone::unknown_word);
  CHECK(t.faults[0].text() == "b/s: 'zzz' is none of the values described");
}

TEST_CASE("empty, nan, null, text, huge and broken payloads: the field is gone, the others are used, nothing falls over") {
  const auto rig = small_rig("  cell_temperature: {topic: c, pointer: /t, unit: degC, max_age: 2 min}\n  voltage: {topic: c, pointer: /v, unit: V}\n");
  struct Row { std::string payload; Gone t, v; };
  for (const Row& r : {Row{"", Gone::null, Gone::null}, Row{"nan", Gone::missing_field, Gone::missing_field}, Row{R"({"t":null,"v":13})", Gone::null, Gone::none},
                       Row{R"({"t":"nan","v":13})", Gone::not_a_number, Gone::none}, Row{R"({"t":nan,"v":13})", Gone::not_a_number, Gone::none},
                       Row{R"({"t":inf,"v":-inf})", Gone::not_a_number, Gone::not_a_number}, Row{"offline", Gone::missing_field, Gone::missing_field},
                       Row{"123", Gone::missing_field, Gone::missing_field}, Row{"[1,2]", Gone::missing_field, Gone::missing_field},
                       Row{R"({"t":1e999,"v":13})", Gone::not_a_number, Gone::none}, Row{std::string(2000000, 'x'), Gone::not_a_number, Gone::not_a_number},
                       Row{"{\"t\":2,\"v\":\"\xFF\xFE\"}", Gone::none, Gone::not_a_number}, Row{"\xC3\x28", Gone::not_a_number, Gone::not_a_number},
                       Row{R"({"t":-2.5,"v":)", Gone::not_a_number, Gone::not_a_number}, Row{R"({"t":{},"v":[]})", Gone::not_a_number, Gone::not_a_number},
                       Row{R"({"t":"","v":" "})", Gone::null, Gone::null}, Row{R"({"t":-127,"v":13})", Gone::out_of_range, Gone::none},
                       Row{R"({"t":true,"v":13})", Gone::not_a_number, Gone::none}, Row{R"({"t":-2.5,"v":"x"})", Gone::none, Gone::not_a_number}}) {
    Inlet in{rig};
    CAPTURE(r.payload.substr(0, 60));
    const auto t = in.take("c", r.payload);
    CHECK(t.matched);
    REQUIRE(t.readings.size() == 2);
    CHECK(t.readings[0].gone == r.t);
    CHECK(t.readings[1].gone == r.v);
    for (const Reading& reading : t.readings) CHECK(reading.value.has_value() == (reading.gone == Gone::none));
  }
  Inlet in{rig};
  CHECK(in.take("c", R"({"t":-2.5,"v":"x"})").readings[0].value == -2.5);
  const auto& counts = in.intake.counts();
  CHECK(counts[1].taken + counts[2].taken == 1);
  CHECK(counts[1].bad() + counts[2].bad() == 1);
}

TEST_CASE("a bare value may be any text that is a number, and text with more in it is none") {
  const auto rig = small_rig("  voltage: {topic: v, unit: V}\n");
  Inlet in{rig};
  CHECK(in.value("v", " 13.10\n") == 13.1);
  CHECK(in.value("v", "1.31e1") == 13.1);
  CHECK_FALSE(in.value("v", "13.1 V"));
  CHECK_FALSE(in.value("v", "13,1"));
  CHECK_FALSE(in.value("v", "0x1F"));
  CHECK_FALSE(in.value("v", "{\"v\":13.1}"));
}

TEST_CASE("sentinels and the valid range are left out, in the units they were written in") {
  const auto rig = small_rig("  cell_temperature: {topic: c, unit: degF, max_age: 2 min, ignore: [32, -999], valid: [14 degF, 120 degF]}\n");
  Inlet in{rig};
  CHECK(in.take("c", "32").readings[0].gone == Gone::sentinel);
  CHECK(in.take("c", "\"32.0\"").readings[0].gone == Gone::sentinel);
  CHECK(in.take("c", "-999").readings[0].gone == Gone::sentinel);
  CHECK(in.take("c", "13").readings[0].gone == Gone::out_of_range);
  CHECK(in.take("c", "121").readings[0].gone == Gone::out_of_range);
  CHECK(std::fabs(*in.value("c", "14") + 10) < 1e-9);
  CHECK(in.intake.counts()[1].sentinel == 3);
}

TEST_CASE("one reason is told once an hour, and what was held back is counted into the next") {
  const auto rig = small_rig("  voltage: {topic: v, unit: V}\n");
  Inlet in{rig};
  int said = 0;
  std::string last;
  for (int i = 0; i < 3700; ++i) {
    in.now += seconds{1};
    for (const Fault& f : in.take("v", "--").faults) {
      ++said;
      last = f.text();
    }
  }
  CHECK(said == 2);
  CHECK(last == "v: '--' is not a number (3599 more since the last such line)");
  CHECK(in.intake.counts()[1].not_a_number == 3700);
}

TEST_CASE("a payload over the limit is named with its size") {
  const auto rig = small_rig("  voltage: {topic: v, unit: V}\n");
  Inlet in{rig};
  const auto t = in.take("v", std::string(2u << 20, '7'));
  REQUIRE(t.faults.size() == 1);
  CHECK(t.faults[0].text() == "v: payload of 2.0 MiB is over the limit of 64 KiB");
  CHECK_FALSE(t.readings[0].value);
}

TEST_CASE("a value that fits only another unit is told so") {
  const auto rig = small_rig("  voltage: {topic: v, unit: V}\n");
  Inlet in{rig};
  CHECK(in.take("v", "13180").faults[0].text() == "v: 13180 V is outside what can be, it looks like mV");
}

TEST_CASE("unknown topics are no one's, and are counted") {
  const auto rig = small_rig("  voltage: {topic: v, unit: V}\n");
  Inlet in{rig};
  CHECK_FALSE(in.take("other/topic", "1").matched);
  CHECK_FALSE(in.take("$SYS/v", "1").matched);
  CHECK(in.intake.unknown_topics() == 2);
  CHECK(in.intake.filters() == std::vector<std::string>{"roof", "v"});
}

TEST_CASE("wildcards feed from every topic they hold, and other fields under them are no complaint") {
  const auto rig = small_rig("  voltage: {topic: van/+/readings, pointer: /U, unit: V}\n  soc: {topic: van/#, pointer: /Q, unit: \"%\"}\n");
  Inlet in{rig};
  const auto t = in.take("van/cells/readings", R"({"U":13.3,"Q":80})");
  REQUIRE(t.readings.size() == 2);
  CHECK(t.readings[0].value == 13.3);
  const auto other = in.take("van/thermo", R"({"out":-3})");
  CHECK(other.matched);
  CHECK(other.readings.empty());
  CHECK(other.faults.empty());
}

TEST_CASE("a retained message is last known: marked, counted, never taken for fresh") {
  const auto rig = small_rig("  cell_temperature: {topic: c, pointer: /t, unit: degC, max_age: 2 min, time: {pointer: /ts, form: epoch_s}}\n");
  Inlet in{rig};
  const auto kept = in.take("c", R"({"t":8.0,"ts":1768219200})", true);  // three days old
  REQUIRE(kept.readings.size() == 1);
  CHECK(kept.readings[0].retained);
  CHECK(kept.readings[0].value == 8.0);
  CHECK(kept.readings[0].stamped == utc_of("2026-01-12T12:00:00Z"));
  in.now += seconds{40};
  const std::string stamp = std::to_string(ms_of(in.now) / 1000);
  const auto live = in.take("c", R"({"t":-2.5,"ts":)" + stamp + "}");
  REQUIRE(live.readings.size() == 1);
  CHECK_FALSE(live.readings[0].retained);
  CHECK(live.readings[0].value == -2.5);
  CHECK(live.readings[0].late == Span{0});
}
