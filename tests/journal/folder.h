#pragma once
// A folder of a test's own, gone when the test is over.
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <string>

namespace fw::testing {

class Folder {
 public:
  Folder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "firnwatt-test-XXXXXX").string();
    path_ = ::mkdtemp(pattern.data());
  }
  ~Folder() {
    std::error_code none;
    std::filesystem::remove_all(path_, none);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  std::string operator/(const std::string& name) const { return path_ + '/' + name; }
  const std::string& path() const { return path_; }

 private:
  std::string path_;
};

/// Long runs (200 crashes instead of 20) are asked for by the environment.
inline bool long_run() { return std::getenv("FW_LONG") != nullptr; }

}  // namespace fw::testing
