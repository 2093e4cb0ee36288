#pragma once
// A real broker of the test's own: loopback, a free port, its own folder, stopped with the test.
#include <memory>
#include <string>

#include "support/process.h"

namespace fw::test {

/// A TCP port on 127.0.0.1 that was free a moment ago.
int free_port();

class Broker {
 public:
  struct Options {
    int port = 0;                 ///< 0: a free one
    bool persistence = false;     ///< keeps retained messages over a restart, also after kill()
    std::string listener_lines = "";   ///< further lines for the listener: cafile, certfile, ...
    std::string lines = "allow_anonymous true\n";
  };
  Broker() : Broker(Options{}) {}
  explicit Broker(Options options);

  void start();                   ///< returns when it accepts connections
  void kill();                    ///< SIGKILL
  void stop();                    ///< SIGTERM
  void freeze(bool on);           ///< SIGSTOP and SIGCONT: its connections stay open and nothing moves on them
  int port() const { return options_.port; }
  std::string log() const { return read_file(dir_.file("log")); }
  /// False where no mosquitto is installed: tests say so and skip.
  static bool available();

 private:
  Options options_;
  TempDir dir_;
  std::unique_ptr<Process> process_;
};

}  // namespace fw::test
