#include "integration/rig_under_test.h"

#include <sstream>

namespace fw::test {
namespace {
std::string head(int port) {
  return "rig: test\n"
         "site: {latitude: 44.2, longitude: -114.9, altitude: 1900 m, timezone: America/Denver}\n"
         "broker: {host: 127.0.0.1, port: " + std::to_string(port) + ", keep_alive: " + std::to_string(keep_alive_s) + " s}\n"
         "strings:\n"
         "  front:\n"
         "    module: {power: 200 W}\n"
         "    wiring: 2s\n"
         "    power: {topic: in/front, pointer: /w, unit: W}\n"
         "bank:\n"
         "  capacity: 200 Ah\n"
         "  charge_window: {lower_limit: 0 degC, resume: 2 degC, resume_dwell: 1 s}\n"
         "  cell_temperature: {topic: in/bank, pointer: /t, unit: degC, max_age: 2 min}\n"
         "  current: {topic: in/bank, pointer: /a, unit: A}\n"
         "  soc: {topic: in/bank, pointer: /soc, unit: \"%\"}\n";
}
}  // namespace

std::string config_text(int port, const std::string& journal) {
  return head(port) +
         "chargers:\n"
         "  roof: {kind: solar, strings: [front], rated_current: 30 A, stop_by: \"off\", command: {topic: out/roof, on_payload: enable, off_payload: disable}}\n"
         "  shore: {kind: shore, rated_current: 40 A, stop_by: \"off\", command: {topic: out/shore, on_payload: \"1\", off_payload: \"0\"}}\n"
         "heaters:\n"
         "  pad: {command: {topic: out/pad, on_payload: \"on\", off_payload: \"off\"}, rated_power: 60 W, on_below: 3 degC, off_above: 5 degC}\n"
         "journal: {path: " + journal + "}\n";
}

std::string simulation_text(int port, const std::string& journal) {
  return head(port) +
         "simulation: true\n"
         "chargers:\n"
         "  roof: {kind: solar, strings: [front], rated_current: 30 A, stop_by: never}\n"
         "journal: {path: " + journal + "}\n";
}

RigUnderTest::RigUnderTest(bool persistent_broker) : broker(Broker::Options{.persistence = persistent_broker}) {
  dir.write("rig.yaml", config_text(broker.port(), journal()));
}

void RigUnderTest::start(std::vector<std::string> env, std::vector<std::string> options) {
  std::vector<std::string> argv{FW_PROGRAM, "run", config()};
  argv.insert(argv.end(), options.begin(), options.end());
  program = std::make_unique<Process>(argv, dir.file("out"), dir.file("log"), std::move(env));
}

void RigUnderTest::telemetry(double cell_c) {
  listener->publish("in/bank", "{\"t\":" + std::to_string(cell_c) + ",\"a\":1.5,\"soc\":60}");
  listener->publish("in/front", R"({"w":120})");
}

bool RigUnderTest::permitted(std::chrono::milliseconds limit) {
  if (!listener) listener = std::make_unique<Listener>(broker.port(), std::vector<std::string>{"out/#", "firnwatt/#"}, "watcher");
  if (!listener->wait_up()) return false;
  listener->forget();
  return eventually(
      [this] {
        telemetry();
        pause_for(std::chrono::milliseconds{200});
        const auto roof = listener->last("out/roof"), shore = listener->last("out/shore");
        return roof && roof->payload == "enable" && shore && shore->payload == "1";
      },
      limit);
}

int RigUnderTest::log_lines_with(const std::string& text) const {
  std::istringstream lines(program_log());
  int n = 0;
  for (std::string line; std::getline(lines, line);) n += line.find(text) != std::string::npos;
  return n;
}

std::vector<Heard> RigUnderTest::kept() const {
  Listener late(broker.port(), {"out/#", "firnwatt/test/chargers/#"});
  late.wait_up();
  pause_for(std::chrono::milliseconds{300});
  std::vector<Heard> result;
  for (const Heard& h : late.all())
    if (h.retain) result.push_back(h);
  return result;
}

bool is_yes(const Heard& h) {
  return h.payload == "enable" || (h.topic == "out/shore" && h.payload == "1") || (h.topic == "out/pad" && h.payload == "on") ||
         h.payload.find("\"permit\":true") != std::string::npos;
}

}  // namespace fw::test
