#pragma once
// A private folder for a copy of a journal that cannot be read where it lies; gone with its owner.
#include <optional>
#include <string>
#include <utility>

namespace fw::journal {

class Scratch {
 public:
  /// Below the system's folder for temporary files ($TMPDIR).
  static std::optional<Scratch> make();
  Scratch(Scratch&& o) noexcept : path_(std::exchange(o.path_, {})) {}
  Scratch& operator=(Scratch&& o) noexcept {
    std::swap(path_, o.path_);
    return *this;
  }
  ~Scratch();
  std::string operator/(const std::string& name) const { return path_ + '/' + name; }
  /// The file and the log beside it, if there is one, under the same name here. False: `why` tells.
  bool take(const std::string& journal, const std::string& name, std::string& why) const;

 private:
  explicit Scratch(std::string path) : path_(std::move(path)) {}
  std::string path_;
};

}  // namespace fw::journal
