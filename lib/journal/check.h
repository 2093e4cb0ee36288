#pragma once
// Looks through a journal file for damage while its owner goes on writing: own handle, own thread,
// reading only.
#include <atomic>
#include <memory>
#include <optional>
#include <string>
#include <thread>

#include "journal/database.h"

namespace fw::journal {

class Check {
 public:
  ~Check() { stop(); }
  void start(const std::string& path);
  bool running() const { return thread_.joinable(); }
  /// Once per run: "" for a sound file, else what is broken; nothing while it runs or when none ran.
  std::optional<std::string> result();
  void stop();

 private:
  std::thread thread_;
  std::atomic<bool> wanted_{false}, done_{false};
  std::string found_;
};

}  // namespace fw::journal
