#include "config/load.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <fstream>

#include "config/understood.h"

using namespace fw;

namespace {

const std::string head = "rig: test\nsite: {latitude: 45, longitude: -93, timezone: UTC}\n";
const std::string one_string = "strings: {roof: {module: {power: 400 W}, wiring: 2s, power: {topic: roof, unit: W}}}\n";

config::Loaded load(const std::string& text) {
  auto l = config::load_text(text, "rig.yaml");
  for (const Fault& f : l.faults) MESSAGE(f.text());
  return l;
}

rig::Rig rig_of(const std::string& text) {
  auto l = load(text);
  REQUIRE(l.rig);
  return std::move(*l.rig);
}

const rig::Source& source(const rig::Rig& r, Quantity q, int thing = 0) {
  const auto at = std::find_if(r.sources.begin(), r.sources.end(), [&](const rig::Source& s) { return s.channel == Channel{q, thing}; });
  REQUIRE(at != r.sources.end());
  return *at;
}

bool near(double a, double b) { return std::fabs(a - b) < 1e-9; }

bool warned(const config::Loaded& l, const std::string& text) {
  return std::any_of(l.warnings.begin(), l.warnings.end(), [&](const Fault& f) { return f.text().find(text) != std::string::npos; });
}

}  // namespace

TEST_CASE("the shipped example and the minimal config load without a word") {
  for (const char* name : {"example.yaml", "minimal.yaml"}) {
    CAPTURE(name);
    const auto l = config::load_file(std::string{FW_SOURCE_DIR "/config/"} + name);
    CHECK(l.faults.empty());
    CHECK(l.warnings.empty());
    REQUIRE(l.rig);
    CHECK(l.rig->strings.size() == 2);
  }
  std::ifstream in(FW_SOURCE_DIR "/config/minimal.yaml");
  int lines = 0;
  for (std::string line; std::getline(in, line);) ++lines;
  CHECK(lines < 25);
}

TEST_CASE("the example is understood as it is meant") {
  const auto l = config::load_file(FW_SOURCE_DIR "/config/example.yaml");
  REQUIRE(l.rig);
  const rig::Rig& r = *l.rig;
  CHECK(r.strings[0].rated_w() == 800);
  CHECK(r.strings[0].series == 2);
  CHECK(r.strings[0].parallel == 2);
  CHECK(near(r.strings[0].module.gamma_pmp_per_k, -0.0035));
  CHECK(r.strings[1].controller.max_voltage_v == 75);
  CHECK(source(r, Quantity::stage, 1).values.at("holding") == static_cast<double>(Stage::floating));
  CHECK(source(r, Quantity::stage, 1).values.at("resting") == static_cast<double>(Stage::off));
  CHECK(r.bank.sensors.size() == 2);
  CHECK(source(r, Quantity::cell_temperature, 1).pointer == "/cells/1");
  CHECK(source(r, Quantity::cell_temperature, 1).max_age == minutes{2});
  REQUIRE(r.bank.window.bands.size() == 3);
  CHECK(near(r.bank.window.bands[1].c_rate, 0.2));
  CHECK(r.chargers[1].strings == std::vector<int>{1});
  CHECK(r.chargers[0].command.off_payload == "disable");
  CHECK(r.phone.quiet->first.minutes == 22 * 60);
  CHECK(r.phone.quiet->second.minutes == 7 * 60);
  CHECK(near(*r.alarms.at("bank_low").limit, 0.30));
  CHECK(near(*r.alarms.at("bank_low").deadband, 0.05));
  CHECK(r.rules[1].limit == 1500);
  CHECK(r.rules[1].unit == "kW");
  CHECK(r.forecast->layout == rig::ForecastLayout::rows);
  CHECK(r.journal.batch == minutes{15});
}

TEST_CASE("everything a rig can have can be set") {
  const rig::Rig r = rig_of(R"(
rig: full-1
simulation: false
display: {temperature: fahrenheit}
site:
  latitude: -33.5 deg
  longitude: 0.5 rad
  altitude: 3000 ft
  timezone: Australia/Sydney
  albedo: 0.3
  linke_turbidity: [2, 2, 2.5, 3, 3, 3, 3, 3, 3, 2.5, 2, 2]
  horizon: [[0, 5], [90 deg, 10 deg], [270, 2]]
  heading: 90
  pitch: -1.5 deg
  roll: 2
  air_temperature: {topic: a, unit: degF}
  cabin_temperature: {topic: c, unit: K, factor: 0.1}
  irradiance: {topic: i, unit: W/m2}
  snow_depth: {topic: s, unit: in, valid: [0 in, 40 in]}
  wind: {topic: w, unit: kn}
  live:
    latitude: {topic: gps, pointer: /lat, unit: deg}
    longitude: {topic: gps, pointer: /lon, unit: deg}
    heading: {topic: gps, pointer: /h, unit: deg}
    pitch: {topic: imu, pointer: /p, unit: rad}
    roll: {topic: imu, pointer: /r, unit: deg}
    speed: {topic: gps, pointer: /v, unit: km/h}
strings:
  one:
    module: {power: 0.41 kW, v_oc: 37.3 V, v_mp: 31200 mV, power_per_k: -0.34 %, v_oc_per_k: -0.27 %/degC}
    wiring: 3s2p
    tilt: 12
    azimuth: 355 deg
    wire_loss: 2 %
    controller:
      max_power: 1.6 kW
      max_current: 70 A
      max_voltage: 150 V
      efficiency: 96 %
      stage: {topic: x/s, values: {3: bulk, "off": "off"}}
      output_voltage: {topic: x/ov, unit: V}
      output_current: {topic: x/oa, unit: dA}
      output_power: {topic: x/op, unit: W}
      temperature: {topic: x/t, unit: degC}
      error: {topic: x/e, values: {none: 0, over-voltage: 2}}
    power: {topic: x/+/r, pointer: /r/0, unit: W, factor: 0.1, offset: -2, sign: -1, time: {pointer: /ts, form: local}, max_age: 90 s, valid: [0 W, 2 kW], ignore: [65535, -1], values: {dark: 0}}
    voltage: {topic: x/v, unit: V}
    current: {topic: x/a, unit: mA}
    day_energy: {topic: x/d, unit: Wh}
bank:
  capacity: 400 Ah
  nominal_voltage: 25.6 V
  reserve: 15 %
  departure_reserve: 0.3 fraction
  self_heating: true
  parallel_batteries: 2
  charge_window:
    lower_limit: 36 degF
    resume: 41 degF
    resume_dwell: 1 h
    upper_limit: 48 degC
    upper_resume: 45 degC
    preferred_floor: 45 degF
    interpolate: true
    discharge_lower_limit: -20 degC
    temperature_grace: 2 min
    bands:
      - {from: 2 degC, to: 10 degC, current: 40 A}
      - {from: 10 degC, to: 48 degC, current: 0.5 C}
  voltage: {topic: b/v, unit: V}
  current: {topic: b/a, unit: A, sign: -1}
  soc: {topic: b/q, unit: percent}
  charge_allowed: {topic: b/c, values: {0: true, 1: false}}
  heater_on: {topic: b/h}
  heater_power: {topic: b/p, unit: W}
  cell_temperature: {topic: b/t, unit: degC, max_age: 10 min, unit_confirmed: true}
loads: {power: {topic: l, unit: W}}
chargers:
  one: {kind: solar, rated_current: 70 A, limit: {topic: x/limit, payload: '{"a": {a}}'}, command: {topic: x/on, on_payload: "1", off_payload: "0"}, stop_by: limit, stays_on_without_board: false, confirm_within: 5 s, reports: {on: {topic: x/st}, limit: {topic: x/l, unit: A}, current: {topic: x/c, unit: A}}}
  plug: {kind: shore, rated_current: 30 A, stop_by: "off", command: {topic: p/on, on_payload: go, off_payload: stop}}
  engine: {kind: alternator, rated_current: 50 A, stop_by: never}
heaters:
  pad: {command: {topic: h/on, on_payload: "ON", off_payload: "OFF"}, rated_power: 100 W, on_below: 4 degC, off_above: 6 degC, min_soc: 40 %, reports: {on: {topic: h/st}}}
forecast: {topic: wx, layout: columns, first: /first, time_form: epoch_s, step: 30 min, step_pointer: /step, cloud: {pointer: /c, unit: okta}, air_temperature: {pointer: /t, unit: degF}, snowfall: {pointer: /s, unit: in}, irradiance: {pointer: /g, unit: W/m2}, wind: {pointer: /w, unit: mph}}
broker: {host: hub.example, tls: {ca_file: /ca, cert_file: /crt, key_file: /key}, user: u, password_file: /pw, client_id: me, protocol: 5, clean_session: true, keep_alive: 30 s, max_payload: 128 KiB}
phone: {quiet: 21:30-06:15, morning: 06:45, daily_summary: true, seen_required: true, bridge_link: true, max_per_day: 5}
alarms:
  snow: {enabled: false, priority: high, on_delay: 30 min, off_delay: 1 h}
  reserve_ahead: {limit: 36 h}
  cabin_cold: {limit: 39.2 degF, deadband: 1.8 degF}
  shade: false
rules:
  low: {signal: bank.soc, test: below, limit: 40 %, deadband: 5 %, on_delay: 5 min, off_delay: 10 min, priority: urgent, text: "At {value} since {since}, below {limit}"}
  cooling: {signal: bank.cell_min, test: rate_below, limit: -3.6 degF/h}
  silent: {signal: site.wind, test: missing, on_delay: 1 h}
  floating: {signal: strings.one.controller.stage, test: equals, limit: float}
  weak: {signal: strings.one.performance_index, test: below, limit: 60 %}
  deep: {signal: site.snow_depth, test: above, limit: 10 in}
  soon: {signal: bank.hours_left, test: below, limit: 1 d}
  hot: {signal: bank.cell_temperatures.cells, test: above, limit: 104 degF, deadband: 3.6 degF}
  plug_on: {signal: heaters.pad.on, test: equals, limit: "on"}
advice: {climb: not_alone, min_gain: 700 Wh, present: 09:00-16:00, max_wind: 36 km/h, min_air_temperature: 14 degF, away: true, jack: {min: -2 deg, max: 4 deg}, price: 0.30 EUR/kWh}
journal: {path: /j, batch: 5 min, keep_minutes: 90 d, max_size: 300 MB}
)");
  CHECK(r.display.fahrenheit);
  CHECK(near(r.site.longitude_deg, 0.5 * 180 / 3.14159265358979323846));
  CHECK(near(r.site.altitude_m, 914.4));
  CHECK((*r.site.linke_turbidity)[2] == 2.5);
  CHECK(r.site.horizon[1].elevation_deg == 10);
  CHECK(r.site.pitch_deg == -1.5);
  CHECK(near(*source(r, Quantity::snow_depth).valid_to, 101.6));
  CHECK(r.has(Quantity::speed));
  const rig::PvString& s = r.strings[0];
  CHECK(near(s.module.stc_w, 410));
  CHECK(near(s.module.v_mp_v, 31.2));
  CHECK(near(s.module.beta_voc_per_k, -0.0027));
  CHECK(s.series == 3);
  CHECK(near(s.controller.efficiency, 0.96));
  const rig::Source& p = source(r, Quantity::string_power);
  CHECK(p.sign == -1);
  CHECK(p.offset == -2);
  CHECK(p.time_form == rig::TimeForm::local);
  CHECK(p.max_age == seconds{90});
  CHECK(source(r, Quantity::cell_temperature, 0).unit_confirmed);
  CHECK_FALSE(p.unit_confirmed);
  CHECK(p.valid_to == 2000);
  CHECK(p.ignore == std::vector<double>{65535, -1});
  CHECK(p.values.at("dark") == 0);
  CHECK(source(r, Quantity::controller_error).values.at("over-voltage") == 2);
  CHECK(near(r.bank.departure_reserve_soc, 0.3));
  const rig::ChargeWindow& w = r.bank.window;
  CHECK(near(w.lower_limit_c, 20.0 / 9));
  CHECK(near(w.resume_c, 5));
  CHECK(w.resume_dwell == hours{1});
  CHECK(near(w.bands[0].c_rate, 0.1));
  CHECK(w.interpolate);
  CHECK(w.temperature_grace == minutes{2});
  CHECK(source(r, Quantity::charge_allowed).values.at("0") == 1);
  CHECK(r.chargers[0].strings == std::vector<int>{0});
  CHECK(r.chargers[0].limit_payload == "{\"a\": {a}}");
  CHECK(r.chargers[0].stop_by == rig::StopBy::limit);
  CHECK_FALSE(r.chargers[0].stays_on_without_board);
  CHECK(r.chargers[2].stop_by == rig::StopBy::never);
  CHECK(r.has(Channel{Quantity::charger_limit, 0}));
  CHECK(r.heaters[0].command.on_payload == "ON");
  CHECK(near(r.heaters[0].min_soc, 0.4));
  CHECK(r.forecast->step == minutes{30});
  CHECK(r.forecast->cloud->unit == "okta");
  CHECK(r.mqtt.tls);
  CHECK(r.mqtt.port == 8883);
  CHECK(r.mqtt.protocol == 5);
  CHECK(r.mqtt.max_payload_bytes == 131072);
  CHECK(r.phone.quiet->first.minutes == 21 * 60 + 30);
  CHECK_FALSE(r.alarms.at("snow").enabled);
  CHECK(r.alarms.at("reserve_ahead").limit == 36);
  CHECK(near(*r.alarms.at("cabin_cold").limit, 4));
  CHECK(near(*r.alarms.at("cabin_cold").deadband, 1));
  CHECK_FALSE(r.alarms.at("shade").enabled);
  CHECK(near(r.rules[1].limit, -2));
  CHECK(r.rules[1].test == rig::Test::rate_below);
  CHECK(r.rules[1].signal.derived == rig::Derived::cell_min);
  CHECK(r.rules[3].limit == static_cast<double>(Stage::floating));
  CHECK(near(r.rules[4].limit, 0.6));
  CHECK(near(r.rules[5].limit, 25.4));
  CHECK(near(r.rules[6].limit, 24));
  CHECK(near(r.rules[7].limit, 40));
  CHECK(near(r.rules[7].deadband, 2));
  CHECK(r.rules[8].limit == 1);
  CHECK(r.advice.climb == rig::Climb::not_alone);
  CHECK(near(r.advice.min_gain_kwh, 0.7));
  CHECK(near(r.advice.max_wind_ms, 10));
  CHECK(near(*r.advice.price_per_kwh, 0.30));
  CHECK(r.advice.currency == "EUR");
  CHECK(r.journal.keep_minutes_days == 90);
  CHECK(r.journal.max_mb == 300);
}

TEST_CASE("what YAML would turn into something else is read as it is written") {
  const rig::Rig r = rig_of(head + one_string +
                            "bank: {capacity: 200 Ah, cell_temperature: {topic: t, unit: degC, max_age: 3 min}}\n"
                            "heaters: {pad: {rated_power: 60 W, command: {topic: h, on_payload: on, off_payload: no}}}\n"
                            "phone: {morning: 6:30}\n"
                            "chargers: {roof: {kind: solar, rated_current: 1e1 A, command: {topic: c, on_payload: 0o17, off_payload: 010}}}\n");
  CHECK(r.heaters[0].command.on_payload == "on");
  CHECK(r.heaters[0].command.off_payload == "no");
  CHECK(r.chargers[0].command.on_payload == "0o17");
  CHECK(r.chargers[0].command.off_payload == "010");
  CHECK(r.chargers[0].rated_a == 10);
  CHECK(r.phone.morning.minutes == 390);
}

TEST_CASE("warnings point at what works and yet is unwise") {
  struct Row { const char* more; const char* text; };
  for (const Row& r : {Row{"broker: {host: hub.example}\n", "rig.yaml:4:1: broker: is beyond this board and without TLS"},
                       Row{"broker: {host: hub.example, tls: true}\n", "without password or client certificate"},
                       Row{"broker: {user: a, password: secret}\n", "rig.yaml:4:29: broker.password: anyone who can read this file"},
                       Row{"bank: {capacity: 9 Ah, cell_temperature: {topic: t, unit: degC, max_age: 30 min}}\n", "longer than 15 min"},
                       Row{"bank: {capacity: 9 Ah, charge_window: {lower_limit: -5 degC}}\n", "charging iron phosphate cells below 0 degC"},
                       Row{"bank: {capacity: 9 Ah}\nchargers: {roof: {kind: solar, rated_current: 9 A}}\n", "firnwatt can only publish the permit"},
                       Row{"bank: {capacity: 9 Ah}\nchargers: {roof: {kind: solar, rated_current: 9 A}}\n", "no cell temperature"},
                       Row{"bank: {capacity: 9 Ah}\nchargers: {e: {kind: alternator, rated_current: 9 A, command: {topic: c, on_payload: a, off_payload: b}}}\n", "an alternator switched off under load"},
                       Row{"broker: {host: localhost, keep_alive: 6 s}\n", "below 8 s the connection is kept with 5 s"},
                       Row{"loads: {power: {topic: roof, unit: W}}\n", "rig.yaml:4:9: loads.power: reads the same field as strings.roof.power"}}) {
    CAPTURE(r.more);
    const auto l = load(head + one_string + r.more);
    REQUIRE(l.rig);
    std::string all;
    for (const Fault& f : l.warnings) all += f.text() + "\n";
    CAPTURE(all);
    CHECK(warned(l, r.text));
    CHECK(all.find("secret") == std::string::npos);
  }
  CHECK(load(head + one_string + "broker: {host: 127.0.0.1}\n").warnings.empty());
  CHECK(load(head + one_string + "broker: {host: localhost}\n").warnings.empty());
}

TEST_CASE("a string's cold open-circuit voltage over its controller's limit is a warning") {
  const auto l = load(head + "strings: {roof: {module: {power: 200 W, v_oc: 24.3 V, v_mp: 20 V}, wiring: 2s, controller: {max_voltage: 50 V}, power: {topic: r, unit: W}}}\n");
  CHECK(warned(l, "passes the controller's max_voltage when the cells are at -10 degC"));
}

TEST_CASE("derived power is enough for a string") {
  for (const char* sources : {"voltage: {topic: v, unit: V}, current: {topic: a, unit: A}", "controller: {output_power: {topic: p, unit: W}}",
                              "controller: {output_current: {topic: a, unit: A}, output_voltage: {topic: v, unit: V}}"}) {
    CAPTURE(sources);
    CHECK(load(head + "strings: {roof: {module: {power: 400 W}, wiring: 2s, " + sources + "}}\n").rig);
  }
  CHECK(load(head + "strings: {roof: {module: {power: 400 W}, wiring: 1, controller: {output_current: {topic: a, unit: A}}}}\nbank: {capacity: 9 Ah, voltage: {topic: v, unit: V}}\n").rig);
  CHECK_FALSE(config::load_text(head + "strings: {roof: {module: {power: 400 W}, wiring: 1, controller: {output_current: {topic: a, unit: A}}}}\n", "x").rig);
}

TEST_CASE("check says what is there, what is missing for what, and how each charger is stopped") {
  const rig::Rig r = rig_of(head + one_string +
                            "bank: {capacity: 100 Ah, current: {topic: b, unit: A}, cell_temperature: {topic: t, unit: degC, max_age: 3 min}, charge_window: {lower_limit: 32 degF}}\n"
                            "display: {temperature: fahrenheit}\n"
                            "chargers:\n  roof: {kind: solar, rated_current: 20 A, limit: {topic: l}, command: {topic: c, on_payload: a, off_payload: stop}}\n"
                            "  engine: {kind: alternator, rated_current: 40 A, stop_by: never, stays_on_without_board: false}\n");
  const auto chargers = config::charger_lines(r);
  REQUIRE(chargers.size() == 2);
  CHECK(chargers[0] == "roof (solar, 20 A): can be stopped by a limit of 0 A on l, then 'stop' on c; only the bank's current can confirm it; goes on charging if the board loses power");
  CHECK(chargers[1] == "engine (alternator, 40 A): cannot be stopped by firnwatt (stop_by: never); only the bank's current can confirm it; stops if the board loses power");
  const auto lines = config::understood(r);
  const auto has = [&](const std::string& text) { return std::any_of(lines.begin(), lines.end(), [&](const std::string& l) { return l.find(text) != std::string::npos; }); };
  CHECK(has("roof: 800 W (2 x 400 W, 2 in series), flat"));
  CHECK(has("no charging at or below 32 °F"));
  CHECK(has("no   snow told from cloud in little light on roof; needs its voltage and v_oc and v_mp of its modules"));
  CHECK(has("yes  noticing a bank that charges without permit"));
  CHECK(has("no   how long the bank lasts; needs the bank's soc"));
}
