#include "config/report.h"

#include <yaml-cpp/mark.h>

#include <algorithm>
#include <numeric>

namespace fw::config {

Place place_of(const YAML::Mark& mark) { return mark.is_null() ? Place{} : Place{mark.line + 1, mark.column + 1}; }

std::string Report::where(Place at) const {
  return at.line > 0 ? file_ + ":" + std::to_string(at.line) + ":" + std::to_string(at.column) : file_;
}

std::vector<Fault> Report::in_order(std::vector<Entry> entries) const {
  std::stable_sort(entries.begin(), entries.end(), [](const Entry& a, const Entry& b) { return a.first < b.first; });
  std::vector<Fault> out;
  for (const auto& [at, text] : entries) {
    Fault f{where(at), text};
    if (out.empty() || out.back().text() != f.text()) out.push_back(std::move(f));
  }
  return out;
}

namespace {

/// Damerau's distance: letters added, left out, changed, or two neighbours swapped.
int distance(const std::string& a, const std::string& b) {
  const std::size_t n = b.size() + 1;
  std::vector<int> two(n), one(n), now(n);
  std::iota(one.begin(), one.end(), 0);
  for (std::size_t i = 1; i <= a.size(); ++i) {
    now[0] = static_cast<int>(i);
    for (std::size_t j = 1; j <= b.size(); ++j) {
      now[j] = std::min({one[j] + 1, now[j - 1] + 1, one[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1)});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) now[j] = std::min(now[j], two[j - 2] + 1);
    }
    two = one;
    one = now;
  }
  return one.back();
}

std::string plain(const std::string& s) {
  std::string out;
  for (const char c : s)
    if (c != '-' && c != '_' && c != ' ') out += c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c;
  return out;
}

}  // namespace

std::string nearest(const std::string& word, const std::vector<std::string>& known) {
  if (word.size() > 60) return {};
  std::string best;
  int best_distance = 1 + static_cast<int>(std::max<std::size_t>(1, word.size() / 3));
  for (const std::string& k : known) {
    const int d = distance(plain(word), plain(k));
    if (d < best_distance) {
      best_distance = d;
      best = k;
    }
  }
  if (best.empty() && word.size() >= 3)  // "temperature" for "air_temperature"
    for (const std::string& k : known)
      if (k.find(word) != std::string::npos || word.find(k) != std::string::npos) return k;
  return best;
}

std::string suggestion(const std::string& word, const std::vector<std::string>& known) {
  const std::string near = nearest(word, known);
  if (!near.empty()) return "did you mean '" + near + "'?";
  std::string list;
  for (const std::string& k : known) list += (list.empty() ? "" : ", ") + k;
  return list.empty() ? "nothing is expected here" : "known here: " + list;
}

}  // namespace fw::config
