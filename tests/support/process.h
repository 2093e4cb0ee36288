#pragma once
// A child process of a test and a folder of its own; both are gone when the test is.
#include <sys/types.h>

#include <chrono>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace fw::test {

class TempDir {
 public:
  TempDir();
  ~TempDir();
  TempDir(const TempDir&) = delete;
  TempDir& operator=(const TempDir&) = delete;
  std::string file(const std::string& name) const { return (path_ / name).string(); }
  std::string path() const { return path_.string(); }
  /// Writes a file in the folder and returns its path.
  std::string write(const std::string& name, const std::string& text) const;

 private:
  std::filesystem::path path_;
};

std::string read_file(const std::string& path);

class Process {
 public:
  /// Starts argv[0] (looked up on PATH). Output goes to the given files (empty: /dev/null).
  /// env: additional NAME=value.
  Process(std::vector<std::string> argv, std::string out_path = "", std::string err_path = "", std::vector<std::string> env = {},
          std::string in_path = "");
  ~Process();  ///< kills and reaps
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;

  void signal(int number);
  /// The exit code (128 + signal when killed); nothing when it still runs after `limit`.
  std::optional<int> wait(std::chrono::milliseconds limit);
  bool running();
  pid_t pid() const { return pid_; }
  /// Processor time used so far, and memory in use now (Linux' /proc); 0 when it is gone.
  std::chrono::milliseconds cpu_time() const;
  double resident_mb() const;

 private:
  pid_t pid_ = -1;
  std::optional<int> code_;
};

/// Runs to the end (at most `limit`); code 999 when it had to be killed.
struct Finished { int code = 0; std::string out, err; };
Finished run(std::vector<std::string> argv, std::vector<std::string> env = {}, std::chrono::milliseconds limit = std::chrono::seconds{60});

/// Polls until `ready` or the limit; returns whether it came true.
template <class F>
bool eventually(F ready, std::chrono::milliseconds limit = std::chrono::seconds{5});

void pause_for(std::chrono::milliseconds span);
std::chrono::milliseconds steady_now();

template <class F>
bool eventually(F ready, std::chrono::milliseconds limit) {
  const auto until = steady_now() + limit;
  for (;;) {
    if (ready()) return true;
    if (steady_now() >= until) return false;
    pause_for(std::chrono::milliseconds{10});
  }
}

}  // namespace fw::test
