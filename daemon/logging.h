#pragma once
// Log lines go to stderr, one thought each. Under systemd they carry a priority instead of a time.
#include <spdlog/logger.h>

#include <map>
#include <memory>
#include <optional>
#include <string>

#include "records/effect.h"
#include "units/time.h"

namespace fw {

std::shared_ptr<spdlog::logger> make_logger();
void log(spdlog::logger& logger, Level level, const std::string& text);

/// Holds back what repeats: at most `burst` lines a key and hour, the last of them says so.
class LogLimit {
 public:
  explicit LogLimit(int burst = 5) : burst_(burst) {}
  /// Nothing: be silent. Otherwise the line to write.
  std::optional<std::string> pass(const std::string& text, Elapsed now);

 private:
  int burst_;
  Elapsed hour_{};
  std::map<std::string, int> seen_;
};

}  // namespace fw
