#include "core/core.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <ctime>
#include <functional>
#include <limits>
#include <nlohmann/json.hpp>
#include <sstream>

#include "alarms/builtin.h"
#include "config/load.h"
#include "core/state_text.h"
#include "units/json.h"
#include "units/text.h"

using namespace fw;

namespace {

constexpr const char* lark_config = R"(
rig: lark
site: {latitude: 45, longitude: -93, altitude: 260 m, timezone: America/Chicago}
strings:
  port:
    module: {power: 200 W, v_oc: 24.3 V, v_mp: 20.4 V}
    wiring: 2s
    controller: {max_power: 500 W, stage: {topic: lark/port, pointer: /stage}}
    power: {topic: lark/port, pointer: /w, unit: W}
    voltage: {topic: lark/port, pointer: /v, unit: V}
bank:
  capacity: 200 Ah
  charge_window: {lower_limit: 0 degC, resume: 2 degC, resume_dwell: 2 min}
  cell_temperature: {topic: lark/bank, pointer: /t, unit: degC, max_age: 2 min}
  soc: {topic: lark/bank, pointer: /soc, unit: "%"}
chargers:
  roof: {kind: solar, strings: [port], rated_current: 30 A, stop_by: "off", command: {topic: lark/roof/set, on_payload: go, off_payload: halt}}
)";

rig::Rig lark() {
  auto loaded = config::load_text(lark_config, "lark.yaml");
  for (const auto& f : loaded.faults) MESSAGE(f.text());
  REQUIRE(loaded.rig.has_value());
  return *loaded.rig;
}

Words words() { return Words::in_zone("America/Chicago", false).value(); }

const Elapsed t0 = elapsed_ms(ms_of(*utc_in("2026-01-15T15:00:00Z")));

Now start() { return {t0, utc_at(t0, Span{0}), true}; }

Message cell(double c, Elapsed at) { return {at, "lark/bank", "{\"t\":" + fixed(c, 2) + ",\"soc\":60}", false}; }

/// Everything that came out, as one text: what, where, when.
std::string told(const std::vector<Effect>& effects) {
  std::ostringstream out;
  for (const auto& e : effects) {
    if (const auto* p = std::get_if<Publish>(&e)) out << "publish " << p->connection << ' ' << p->topic << ' ' << p->qos << p->retain << ' ' << p->payload << '\n';
    if (const auto* l = std::get_if<LogLine>(&e)) out << "log " << l->text << '\n';
    if (const auto* s = std::get_if<Store>(&e))
      std::visit([&](const auto& row) { out << "row " << s->row.index() << ' ' << iso_utc(row.when.utc) << ' ' << ms_of(row.when.at) << '\n'; }, s->row);
  }
  return out.str();
}

/// A morning: power rises, cells warm up through the limit; extra timer calls every `nudge`.
std::string morning(Span nudge, const std::function<void()>& at_half_past_four = {}) {
  core::Core core(lark(), words(), start());
  std::string all = told(core.take_effects());
  Elapsed ticked = t0;
  for (int s = 0; s < 3 * 3600; s += 10) {
    const Elapsed at = t0 + seconds{s};
    if (nudge > Span{0})
      for (; ticked < at; ticked += nudge) core.advance_to(ticked);
    if (s == 5400 && at_half_past_four) at_half_past_four();
    core.on_message({at, "lark/port", "{\"w\":" + fixed(20 + s * 0.01, 1) + ",\"v\":38.5,\"stage\":\"bulk\"}", false});
    if (s % 30 == 0) core.on_message(cell(-1 + s * 0.0004, at));
    all += told(core.take_effects());
  }
  return all;
}

std::vector<Publish> publishes(const std::vector<Effect>& effects, std::string_view topic) {
  std::vector<Publish> found;
  for (const auto& e : effects)
    if (const auto* p = std::get_if<Publish>(&e))
      if (p->topic == topic) found.push_back(*p);
  return found;
}

template <class RowType>
std::vector<RowType> rows(const std::vector<Effect>& effects) {
  std::vector<RowType> found;
  for (const auto& e : effects)
    if (const auto* s = std::get_if<Store>(&e))
      if (const auto* r = std::get_if<RowType>(&s->row)) found.push_back(*r);
  return found;
}

}  // namespace

TEST_CASE("the state of a string and of the bank is what the JSON library would write") {
  const rig::Rig rig = lark();
  const auto figure = [](std::optional<double> v, int decimals) -> nlohmann::ordered_json {
    const auto rounded = v ? number_in(fixed(*v, decimals)) : std::nullopt;
    return rounded ? nlohmann::ordered_json(*rounded) : nlohmann::ordered_json();
  };
  for (const std::optional<double> v : {std::optional<double>{}, {0.0}, {-0.0}, {-0.004}, {0.05}, {0.1}, {1.0}, {12.5}, {12.504}, {99.96}, {100.0}, {-7.25},
                                        {13'337.123}, {1e6}, {std::nan("")}, {std::numeric_limits<double>::infinity()}}) {
    CAPTURE(v.value_or(-1));
    Verdict verdict;
    verdict.utc = *utc_in("2026-01-15T15:04:00Z");
    verdict.string = 0;
    verdict.cause = Cause::snow;
    verdict.confidence = v.value_or(0);
    verdict.measured_w = verdict.performance_index = v;
    verdict.clear_sky_w = verdict.expected_w = v.value_or(0);
    verdict.reason = "a \"quoted\" °C\n";
    if (v) verdict.evidence = {"voltage", "12 °C \\"};
    StringMinute minute;
    minute.voltage_v = minute.current_a = v;
    nlohmann::ordered_json j;
    j["utc"] = "2026-01-15T15:04:00Z";
    j["string"] = "port";
    j["cause"] = "snow";
    j["confidence"] = figure(v.value_or(0), 2);
    j["power_w"] = figure(v, 1);
    for (const char* key : {"voltage_v", "current_a"}) j[key] = figure(v, 2);
    for (const char* key : {"clear_sky_w", "expected_w"}) j[key] = figure(v.value_or(0), 1);
    j["performance_index"] = figure(v, 2);
    j["reason"] = verdict.reason;
    j["evidence"] = verdict.evidence;
    CHECK(core::string_state(rig, verdict, minute) == json_text_in_order(j));
    RigMinute bank;
    bank.start = verdict.utc;
    bank.cell_min_c = bank.cell_max_c = bank.soc = bank.bank_voltage_v = bank.bank_current_a = v;
    nlohmann::ordered_json b;
    b["utc"] = "2026-01-15T15:04:00Z";
    for (const char* key : {"cell_min_c", "cell_max_c"}) b[key] = figure(v, 1);
    b["soc"] = figure(v, 3);
    b["voltage_v"] = figure(v, 2);
    b["current_a"] = figure(v, 1);
    b["permit"] = v.has_value();
    CHECK(core::bank_state(bank, v.has_value()) == json_text_in_order(b));
  }
}

TEST_CASE("a line of the strings says names as people do") {
  rig::Rig rig;
  rig.strings.resize(2);
  rig.strings[0].name = "west_row";
  rig.strings[1].name = "upper_east_row";
  Verdict west, east;
  west.string = 0;
  west.cause = east.cause = Cause::clear;
  west.measured_w = east.measured_w = 120;
  east.string = 1;
  CHECK(core::strings_line(rig, {west, east}) == "West row clear, 120 W; upper east row clear, 120 W.");
}

TEST_CASE("an extra, early or missing timer tick never changes what a feed produces") {
  const std::string plain = morning(Span{0});
  CHECK(plain.size() > 10000);
  for (const Span nudge : {Span{997}, Span{7'003}, Span{60'000}}) {
    CAPTURE(nudge.count());
    CHECK(morning(nudge) == plain);
  }
}

TEST_CASE("a board whose zone is changed while it runs does nothing else, and its log has no gap") {
  const char* before = std::getenv("TZ");
  const std::string zone = before ? before : "";
  const std::string plain = morning(Span{0});
  CHECK(morning(Span{0}, [] {
          ::setenv("TZ", "Asia/Tokyo", 1);
          ::tzset();
        }) == plain);
  zone.empty() ? ::unsetenv("TZ") : ::setenv("TZ", zone.c_str(), 1);
  ::tzset();
}

TEST_CASE("the night of a clock change has neither a gap nor a doubled hour") {
  const Elapsed begin = elapsed_ms(ms_of(*utc_in("2026-03-08T06:30:00Z")));   // 02:00 in Chicago becomes 03:00 at 08:00Z
  core::Core core(lark(), words(), {begin, utc_at(begin, Span{0}), true});
  (void)core.take_effects();
  std::vector<Effect> all;
  for (int s = 0; s <= 3 * 3600; s += 30) {
    core.on_message(cell(5, begin + seconds{s}));
    for (auto& e : core.take_effects()) all.push_back(std::move(e));
  }
  const auto banks = rows<BankRow>(all);
  CHECK(banks.size() == 180);
  for (std::size_t i = 1; i < banks.size(); ++i) CHECK(banks[i].when.utc - banks[i - 1].when.utc == minutes{1});
  for (const auto& a : rows<AlarmRow>(all)) CHECK(a.event != "raised");
}

TEST_CASE("the sleeper is told when to wake, and time always moves on") {
  core::Core core(lark(), words(), start());
  Elapsed last = t0 - Span{1};
  for (int i = 0; i < 2000; ++i) {
    const auto next = core.next_deadline();
    REQUIRE(next.has_value());
    CHECK(*next >= last);
    core.advance_to(*next);
    (void)core.take_effects();
    last = *next;
  }
  CHECK(last - t0 > 1h);
}

TEST_CASE("a message with an earlier arrival is taken at the present time and counted") {
  core::Core core(lark(), words(), start());
  core.on_message(cell(5, t0 + 10min));
  core.on_message(cell(5, t0 + 5min));
  CHECK(core.counts().late == 1);
  CHECK(core.now().at == t0 + 10min);
}

TEST_CASE("a core starts without permit, gives one to warm cells after the dwell, and takes it at the limit at once") {
  core::Core core(lark(), words(), start());
  std::vector<Effect> all = core.take_effects();
  const auto feed = [&](double c, Elapsed from, Elapsed to) {
    for (Elapsed at = from; at < to; at += 10s) {
      core.on_message(cell(c, at));
      for (auto& e : core.take_effects()) all.push_back(std::move(e));
    }
  };
  const std::string permit = "firnwatt/lark/chargers/roof/permit";
  feed(1.0, t0, t0 + 5min);
  for (const auto& p : publishes(all, permit)) CHECK(p.payload.find("\"permit\":false") != std::string::npos);
  CHECK(!publishes(all, permit).empty());

  all.clear();
  feed(3.0, t0 + 5min, t0 + 12min);
  bool given = false;
  for (const auto& p : publishes(all, permit)) {
    const bool yes = p.payload.find("\"permit\":true") != std::string::npos;
    given = given || yes;
    CHECK(p.retain == !yes);
    CHECK(p.qos == (yes ? 0 : 1));
  }
  CHECK(given);
  for (const auto& p : publishes(all, "lark/roof/set")) CHECK(p.retain == (p.payload == "halt"));

  // Cells cool as a mass does; the first reading at the limit ends the permit in the same turn.
  for (int i = 0; i < 59; ++i) core.on_message(cell(2.95 - 0.05 * i, t0 + 12min + seconds{10 * i}));
  (void)core.take_effects();
  core.on_message(cell(0, t0 + 22min));
  all = core.take_effects();
  // A renewal that was due at this very instant may come first; the withdrawal has the last word.
  REQUIRE(!publishes(all, permit).empty());
  CHECK(publishes(all, permit).back().payload.find("\"permit\":false") != std::string::npos);
  REQUIRE(!publishes(all, "lark/roof/set").empty());
  CHECK(publishes(all, "lark/roof/set").back().payload == "halt");
  CHECK(publishes(all, "lark/roof/set").back().connection == "roof");
}

TEST_CASE("a clock step moves stamps and nothing else") {
  core::Core core(lark(), words(), start());
  (void)core.take_effects();
  core.on_message(cell(5, t0 + 10s));
  core.on_message({t0 + 70s, "firnwatt/lark/clock", R"({"offset_ms":1209600000,"trusted":true})", false});
  core.on_message(cell(5, t0 + 80s));
  CHECK(core.now().utc == utc_at(t0 + 80s, Span{1209600000}));
  core.advance_to(t0 + 130s);
  const auto effects = core.take_effects();
  const auto banks = rows<BankRow>(effects);
  REQUIRE(banks.size() == 2);
  CHECK(banks[0].cell_min_c.has_value());
  CHECK(banks[1].cell_min_c.has_value());
  CHECK(banks[1].when.utc - banks[0].when.utc == Span{1209600000} + 1min);
  const auto clocks = rows<ClockRow>(effects);
  REQUIRE(clocks.size() == 1);
  CHECK(clocks[0].offset_change == Span{1209600000});
  for (const auto& a : rows<AlarmRow>(effects)) CHECK(a.event != "raised");
}

TEST_CASE("a clock that jumps fourteen days ahead and three hours back raises nothing, ends no dwell and doubles no alert") {
  // By elapsed time: alarms as raised or cleared, and every change of the permit.
  const auto run = [](bool steps) {
    core::Core core(lark(), words(), start());
    std::vector<std::string> log;
    bool permit = false;
    for (int s = 0; s < 3600; s += 10) {
      const Elapsed at = t0 + seconds{s};
      if (steps && s == 600) core.on_message({at, "firnwatt/lark/clock", R"({"offset_ms":1209600000,"trusted":true})", false});
      if (steps && s == 660) core.on_message({at, "firnwatt/lark/clock", R"({"offset_ms":1198800000,"trusted":true})", false});
      core.on_message({at, "lark/port", R"({"w":0,"v":20,"stage":"off"})", false});
      // under the limit at first, over the resume value since just before the step: its dwell runs across
      core.on_message(cell(s < 540 ? -1 : 3, at));
      const auto effects = core.take_effects();
      for (const auto& a : rows<AlarmRow>(effects))
        if (a.alarm != "snow" && a.alarm != "outage" && (a.event == "raised" || a.event == "cleared"))
          log.push_back(std::to_string(ms_of(a.when.at)) + ' ' + a.alarm + ' ' + a.event);
      for (const auto& p : publishes(effects, "firnwatt/lark/chargers/roof/permit")) {
        const bool now = p.payload.find("\"permit\":true") != std::string::npos;
        if (now != permit) log.push_back(std::to_string(s) + (now ? " yes" : " no"));
        permit = now;
      }
    }
    return log;
  };
  const auto stepped = run(true);
  CHECK(stepped == run(false));
  CHECK(std::count_if(stepped.begin(), stepped.end(), [](const std::string& l) { return l.ends_with(" yes"); }) == 1);
  for (const std::string& l : stepped) CHECK(l.find("stale") == std::string::npos);
}

TEST_CASE("strings are not judged while the clock is not to be trusted; the guard goes on") {
  core::Core core(lark(), words(), {t0, utc_ms(0), false});
  std::vector<Effect> all;
  for (int s = 0; s < 1200; s += 10) {
    core.on_message({t0 + seconds{s}, "lark/port", R"({"w":100,"v":38,"stage":"bulk"})", false});
    core.on_message(cell(5, t0 + seconds{s}));
    for (auto& e : core.take_effects()) all.push_back(std::move(e));
  }
  CHECK(rows<StringRow>(all).empty());
  bool given = false;
  for (const auto& p : publishes(all, "firnwatt/lark/chargers/roof/permit")) given = given || p.payload.find("\"permit\":true") != std::string::npos;
  CHECK(given);
  for (const auto& b : rows<BankRow>(all)) CHECK(!b.when.trusted);
}

TEST_CASE("on the way out every off comes first, 'offline' last among what is published") {
  core::Core core(lark(), words(), start());
  for (int s = 0; s < 600; s += 10) core.on_message(cell(8, t0 + seconds{s}));
  (void)core.take_effects();
  const auto out = core.stop(t0 + 10min);
  REQUIRE(!out.empty());
  const auto* first = std::get_if<Publish>(&out[0]);
  REQUIRE(first != nullptr);
  CHECK(first->retain);
  CHECK(first->qos == 1);
  CHECK(publishes(out, "lark/roof/set").front().payload == "halt");
  CHECK(publishes(out, "firnwatt/lark/alive").back().payload.find("offline") != std::string::npos);
}

TEST_CASE("after a reconnect the retained state is sent again") {
  core::Core core(lark(), words(), start());
  for (int s = 0; s < 900; s += 10) {
    core.on_message({t0 + seconds{s}, "lark/port", R"({"w":100,"v":38,"stage":"bulk"})", false});
    core.on_message(cell(5, t0 + seconds{s}));
  }
  (void)core.take_effects();
  core.on_message({t0 + 901s, "firnwatt/lark/broker", R"({"connected":false,"why":"gone"})", false});
  core.on_message({t0 + 930s, "firnwatt/lark/broker", R"({"connected":true,"why":""})", false});
  const auto effects = core.take_effects();
  CHECK(!publishes(effects, "firnwatt/lark/strings/port").empty());
  CHECK(!publishes(effects, "firnwatt/lark/alive").empty());
  CHECK(!publishes(effects, "firnwatt/lark/summary").empty());
}

TEST_CASE("an ask is answered with the summary as a notice; nothing inbound widens a permit") {
  core::Core core(lark(), words(), start());
  core.on_message({t0, "firnwatt/lark/broker", R"({"connected":true})", false});
  core.on_message(cell(-5, t0 + 1s));
  (void)core.take_effects();
  core.on_message({t0 + 2s, "firnwatt/lark/ask", "", false});
  core.advance_to(t0 + 10min);
  const auto effects = core.take_effects();
  CHECK(!publishes(effects, "firnwatt/lark/notices").empty());

  for (const char* topic : {"chargers/roof/permit", "notes", "alarms/bank_cold-rig/acknowledge", "alarms/bank_cold-rig/shelve"})
    for (const char* payload : {R"({"permit":true,"valid_for_s":86400})", R"({"event":"back"})", R"({"hours":24,"by":"x"})"}) {
      core.on_message({core.now().at + 1s, std::string("firnwatt/lark/") + topic, payload, false});
      core.on_message(cell(-5, core.now().at + 1s));
    }
  for (const auto& p : publishes(core.take_effects(), "firnwatt/lark/chargers/roof/permit"))
    CHECK(p.payload.find("\"permit\":true") == std::string::npos);
}

TEST_CASE("state survives a restart through snapshots") {
  core::Core first(lark(), words(), start());
  for (int s = 0; s < 3600; s += 10) {
    first.on_message({t0 + seconds{s}, "lark/port", R"({"w":100,"v":38,"stage":"bulk"})", false});
    first.on_message(cell(5, t0 + seconds{s}));
  }
  core::Core second(lark(), words(), {t0 + 2h, utc_at(t0 + 2h, Span{0}), true});
  second.restore(first.snapshots());
  // No permit from before the restart: not until a fresh temperature is in.
  second.advance_to(t0 + 2h + 1min);
  for (const auto& p : publishes(second.take_effects(), "firnwatt/lark/chargers/roof/permit"))
    CHECK(p.payload.find("\"permit\":true") == std::string::npos);
  core::Core third(lark(), words(), start());
  std::map<std::string, std::string> broken;
  for (const auto& [room, data] : first.snapshots()) broken[room] = data.substr(0, data.size() / 2) + "\x01";
  third.restore(broken);
  third.on_message(cell(5, t0 + 10s));
}

TEST_CASE("how often snapshots are asked for changes nothing but their number") {
  const auto day = [](Span every, std::size_t& snapshots) {
    core::Core core(lark(), words(), start(), guard::Continuity::restart, every);
    std::string all;
    for (int m = 0; m <= 26 * 60; m += 5) {
      core.on_message(cell(5, t0 + minutes{m}));
      std::vector<Effect> effects = core.take_effects();
      for (const auto& r : rows<SnapshotRow>(effects)) snapshots += r.key == "diagnosis";
      std::erase_if(effects, [](const Effect& e) {
        const auto* s = std::get_if<Store>(&e);
        return s && std::holds_alternative<SnapshotRow>(s->row);
      });
      all += told(effects);
    }
    return all;
  };
  std::size_t hourly = 0, daily = 0;
  const std::string with_many = day(1h, hourly);
  CHECK(day(24h, daily) == with_many);
  CHECK(hourly == 26);
  CHECK(daily == 1);
}

TEST_CASE("the journal tells a config read again from a start") {
  const auto events = [](core::Core& core) {
    std::vector<std::string> kinds;
    for (const Effect& e : core.take_effects())
      if (const auto* s = std::get_if<Store>(&e))
        if (const auto* row = std::get_if<EventRow>(&s->row)) kinds.push_back(row->kind);
    return kinds;
  };
  core::Core first(lark(), words(), start());
  CHECK(events(first) == std::vector<std::string>{"start"});
  core::Core again(lark(), words(), start(), guard::Continuity::reload);
  again.restore(first.snapshots());
  CHECK(events(again) == std::vector<std::string>{"reload"});
}

TEST_CASE("a run that was cut off is noted by the next, one that was stopped or read its config again is not") {
  struct Row {
    bool stopped;
    guard::Continuity how;
    bool noted;
  };
  for (const auto [stopped, how, noted] : {Row{false, guard::Continuity::restart, true}, Row{true, guard::Continuity::restart, false},
                                           Row{false, guard::Continuity::reload, false}}) {
    CAPTURE(stopped);
    std::map<std::string, std::string> kept;
    const auto keep = [&](const std::vector<Effect>& effects) {
      for (const Effect& e : effects)
        if (const auto* s = std::get_if<Store>(&e))
          if (const auto* row = std::get_if<SnapshotRow>(&s->row)) kept[row->key] = row->data;
    };
    core::Core first(lark(), words(), start());
    keep(first.take_effects());
    if (stopped) keep(first.stop(start().at + minutes{1}));
    core::Core next(lark(), words(), start(), how);
    next.restore(kept);
    int cut_off = 0;
    for (const Effect& e : next.take_effects())
      if (const auto* s = std::get_if<Store>(&e))
        if (const auto* row = std::get_if<EventRow>(&s->row)) cut_off += row->kind == "cut_off";
    CHECK(cut_off == (noted ? 1 : 0));
  }
}

TEST_CASE("every built-in alarm can be adjusted in the config, and no other") {
  for (const auto& alarm : alarms::built_in_alarms()) {
    CAPTURE(alarm.name);
    const auto loaded = config::load_text(std::string(lark_config) + "alarms:\n  " + std::string(alarm.name) + ": {enabled: false}\n", "lark.yaml");
    CHECK(loaded.faults.empty());
    REQUIRE(loaded.rig.has_value());
    CHECK(!loaded.rig->alarms.at(std::string(alarm.name)).enabled);
  }
  CHECK(!config::load_text(std::string(lark_config) + "alarms:\n  sleet: {enabled: false}\n", "lark.yaml").rig.has_value());
}
