#pragma once
// Collects faults and warnings with their place, and puts them in the order of the file.
#include <string>
#include <utility>
#include <vector>

#include "units/result.h"

namespace YAML {
struct Mark;
}

namespace fw::config {

/// 1-based; 0:0 when the place is not known.
struct Place {
  int line = 0, column = 0;
  friend auto operator<=>(const Place&, const Place&) = default;
};
Place place_of(const YAML::Mark& mark);

class Report {
 public:
  explicit Report(std::string file) : file_(std::move(file)) {}

  void fault(Place at, const std::string& path, const std::string& what) { faults_.push_back({at, line(path, what)}); }
  void warning(Place at, const std::string& path, const std::string& what) { warnings_.push_back({at, line(path, what)}); }

  std::string where(Place at) const;
  bool clean() const { return faults_.empty(); }
  std::vector<Fault> faults() const { return in_order(faults_); }
  std::vector<Fault> warnings() const { return in_order(warnings_); }

 private:
  using Entry = std::pair<Place, std::string>;
  static std::string line(const std::string& path, const std::string& what) { return path.empty() ? what : path + ": " + what; }
  std::vector<Fault> in_order(std::vector<Entry> entries) const;

  std::string file_;
  std::vector<Entry> faults_, warnings_;
};

/// Of `known`, the word one would have meant by `word`: few letters differ. Empty when none is near.
std::string nearest(const std::string& word, const std::vector<std::string>& known);

/// "did you mean 'tilt'?" or "known here: a, b, c"
std::string suggestion(const std::string& word, const std::vector<std::string>& known);

}  // namespace fw::config
