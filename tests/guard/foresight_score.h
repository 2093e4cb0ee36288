#pragma once
// Holds warnings against what came: warned two hours before, false ones, and the hour named.
#include <cmath>
#include <cstdio>
#include <optional>
#include <vector>

#include "guard/foresight.h"

namespace fw::guard::test {

/// short_dip: less than two hours and a degree, and a heater ended it.
struct Event { std::size_t at; double level; bool floor, short_dip; };

/// Crossings that count: of the limit each; of the floor those that last an hour or go a degree deep. A new one needs
/// the cells to have been half a degree clear of the level since the last; hopping about it is none.
/// Thermostat cycling near the floor is none: a dip of less than a degree within twelve hours after the heater
/// had been on and off again. So the first dip of an evening counts, the next ones of the same cycling do not.
inline std::vector<Event> crossings(const std::vector<double>& truth, const std::vector<char>& heating, double level, bool floor) {
  std::vector<Event> out;
  bool clear = false;
  std::optional<std::size_t> went_off;
  for (std::size_t i = 1; i < truth.size(); ++i) {
    if (heating[i - 1] && !heating[i]) went_off = i;
    if (truth[i] > level) {
      clear = clear || truth[i] > level + 0.5;
      continue;
    }
    const bool fresh = clear && i > 120;
    const bool cycling = went_off && i - *went_off <= 720;
    clear = false;
    double deepest = truth[i];
    bool heated = false;
    std::size_t k = i;
    for (; k < truth.size() && truth[k] <= level; ++k) {
      deepest = std::min(deepest, truth[k]);
      heated = heated || heating[k];
      if (heating[k - 1] && !heating[k]) went_off = k;
    }
    if (fresh && (!floor || deepest <= level - 1 || (k - i >= 60 && !cycling))) out.push_back({i, level, floor, heated && deepest > level - 1 && k - i < 120});
    i = k - 1;
  }
  return out;
}

struct ForesightScore {
  int events = 0, sudden = 0, warned = 0, raised = 0, false_warnings = 0, short_dips = 0, short_dips_warned = 0, an_hour_before = 0;
  double days = 0;
  std::vector<double> error_min;  ///< of the time named three hours before
  void add(const ForesightScore& o) {
    events += o.events, sudden += o.sudden, warned += o.warned, raised += o.raised, false_warnings += o.false_warnings, days += o.days;
    short_dips += o.short_dips, short_dips_warned += o.short_dips_warned, an_hour_before += o.an_hour_before;
    error_min.insert(error_min.end(), o.error_min.begin(), o.error_min.end());
  }
  double median_error() const {
    if (error_min.empty()) return 0;
    auto e = error_min;
    std::nth_element(e.begin(), e.begin() + static_cast<long>(e.size() / 2), e.end());
    return e[e.size() / 2];
  }
  void print(const char* name) const {
    std::printf("%-22s crossings %4d, warned 2 h before %4d (%.1f %%); warnings %4d, false %3d (%.2f per 14 days of %.0f); time 3 h before: median %.0f min, N %zu; %d within 2 h of a heating failure that shows not counted\n",
                name, events, warned, events ? 100.0 * warned / events : 0, raised, false_warnings,
                days > 0 ? 14 * false_warnings / days : 0, days, median_error(), error_min.size(), sudden);
  }
};

/// What a warning said, minute by minute.
struct Track {
  std::vector<char> active;
  std::vector<std::optional<double>> named_min;  ///< minutes ahead
};

/// Scores from minute `from` on (the first day teaches).
/// shows_at: when a failure of the heating first shows; a crossing between the failure and two hours after it shows, and one that only the failure made last, is counted apart.
inline ForesightScore score_of(const std::vector<double>& truth, const std::vector<char>& heating, const Track& t, double level, bool floor,
                            std::size_t from, std::optional<std::size_t> fails_at = {}, std::size_t shows_at = 0) {
  ForesightScore s;
  const auto events = crossings(truth, heating, level, floor);
  s.days = static_cast<double>(truth.size() - from) / 1440;
  for (const Event& e : events) {
    if (e.at < from + 180) continue;
    if (fails_at && e.at + 60 >= *fails_at && e.at < shows_at + 120) {
      ++s.sudden;
      continue;
    }
    ++s.events;
    // Stood two hours before and was not taken back, or not for longer than the eye would notice.
    bool stood = t.active[e.at - 120];
    std::size_t gap = 0;
    for (std::size_t i = e.at - 120; i + 10 < e.at; ++i) gap += !t.active[i];
    const bool warned = stood && gap < 30;
    s.warned += warned;
    s.an_hour_before += t.active[e.at - 60];
    s.short_dips += e.short_dip;
    s.short_dips_warned += e.short_dip && warned;
    if (t.named_min[e.at - 180]) s.error_min.push_back(std::abs(*t.named_min[e.at - 180] - 180));
  }
  for (std::size_t i = from; i < t.active.size(); ++i) {
    if (!t.active[i] || t.active[i - 1]) continue;
    std::size_t end = i;
    while (end < t.active.size() && t.active[end]) ++end;
    ++s.raised;
    if (end + 60 >= t.active.size()) continue;  // the record ends first
    bool came = false;
    std::size_t below = 0;
    for (std::size_t k = i; k < truth.size() && (k < end + 30 || below > 0); ++k) {
      below = truth[k] <= level + 0.05 ? below + 1 : 0;
      came = came || below >= (floor ? 60U : 1U) || truth[k] <= level - 1;
    }
    if (!came) ++s.false_warnings;
    i = end;
  }
  return s;
}

}  // namespace fw::guard::test
