#pragma once
// A rig, its broker and the program, as the integration tests need them.
#include <doctest/doctest.h>

#include <memory>
#include <string>

#include "support/broker.h"
#include "support/listener.h"
#include "support/process.h"

namespace fw::test {

#define NEEDS_BROKER()                                    \
  if (!fw::test::Broker::available()) {                   \
    MESSAGE("skipped: mosquitto is not installed");       \
    return;                                               \
  }

inline constexpr int keep_alive_s = 8;

/// Two chargers with command topics, a heater, one string, one cell sensor.
std::string config_text(int port, const std::string& journal);
/// The same rig without command topics, in compressed time.
std::string simulation_text(int port, const std::string& journal);

class RigUnderTest {
 public:
  explicit RigUnderTest(bool persistent_broker = false);

  void start(std::vector<std::string> env = {}, std::vector<std::string> options = {});
  /// Publishes telemetry that permits charging until both chargers read a yes (renewed every 20 s).
  bool permitted(std::chrono::milliseconds limit = std::chrono::seconds{30});
  void telemetry(double cell_c = 15);
  std::string program_log() const { return read_file(dir.file("log")); }
  int log_lines_with(const std::string& text) const;
  std::string config() const { return dir.file("rig.yaml"); }
  std::string journal() const { return dir.file("test.journal"); }
  /// What a subscriber that comes now finds kept on the rig's and the chargers' topics.
  std::vector<Heard> kept() const;

  TempDir dir;
  Broker broker;
  std::unique_ptr<Listener> listener;
  std::unique_ptr<Process> program;
};

/// True when a message lets a charger charge.
bool is_yes(const Heard& h);

}  // namespace fw::test
