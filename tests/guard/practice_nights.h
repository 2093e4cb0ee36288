#pragma once
// Labelled practice feeds played through intake, window and guard, the foresight held against the true cells.
// Skipped where FW_PRACTICE_DIR names no folder.
#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <string>
#include <vector>

#include "feed/reader.h"
#include "foresight_score.h"
#include "guard_rig.h"
#include "intake/intake.h"
#include "score/practice_rig.h"
#include "units/text.h"
#include "window/window.h"

namespace fw::guard::test {

struct PracticeOutcome { std::string name; ForesightScore limit, floor; };

/// The true cells, minute by minute; second column of truth_bank.csv.
inline std::map<Utc, double> true_cells(const std::string& folder) {
  std::map<Utc, double> out;
  std::ifstream in(folder + "/truth_bank.csv");
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    const auto a = line.find(','), b = line.find(',', a + 1);
    if (const auto t = utc_in(line.substr(0, a))) out[*t] = std::stod(line.substr(a + 1, b - a - 1));
  }
  return out;
}

inline std::optional<PracticeOutcome> play_practice(const std::string& folder) {
  auto rig = score::practice_rig(folder, {});
  auto reader = feed::Reader::open(folder + "/feed.jsonl.gz");
  const auto truth = true_cells(folder);
  if (!rig || !reader || truth.empty()) return std::nullopt;
  const Words words = words_of(*rig);
  Guard guard(*rig, words);
  Foresight foresight(*rig, words);
  intake::Intake intake(*rig);
  window::Window window(*rig);
  std::optional<Forecast> forecast;
  std::optional<Elapsed> next;
  std::vector<double> cells;
  Track track[2];
  while (const auto m = reader->next()) {
    if (!next) next = floor_to(m->at, minutes{1}) + minutes{1};
    while (*next <= m->at) {
      const Now now{*next, utc_at(*next, Span{0}), true};
      guard.advance(now);
      RigMinute minute = window.close_minute(now);
      minute.forecast = forecast ? &*forecast : nullptr;
      minute.cell_min_c = guard.cell_min_c();
      guard.on_minute(minute);
      foresight.on_minute(minute, guard.cell_min_c(), 0);
      (void)guard.take_effects();
      const auto t = truth.find(minute.start);
      cells.push_back(t != truth.end() ? t->second : cells.empty() ? 20 : cells.back());
      for (std::size_t k = 0; k < 2; ++k) {
        const auto& w = foresight.warnings()[k];
        track[k].active.push_back(w.active);
        track[k].named_min.push_back(w.at && w.active ? std::optional(hours_of(*w.at - minute.start - minutes{1}) * 60) : std::nullopt);
      }
      *next += minutes{1};
    }
    const Now now{m->at, utc_at(m->at, Span{0}), true};
    const auto taken = intake.take(*m, now);
    for (const Reading& r : taken.readings) {
      window.on_reading(r);
      guard.on_reading(r, now);
    }
    if (taken.forecast) forecast = taken.forecast;
  }
  const std::vector<char> unknown(cells.size(), 0);
  return PracticeOutcome{std::filesystem::path(folder).filename().string(),
                         score_of(cells, unknown, track[0], rig->bank.window.lower_limit_c, false, 60),
                         score_of(cells, unknown, track[1], *rig->bank.window.preferred_floor_c, true, 60)};
}

inline std::vector<PracticeOutcome> play_all_practice() {
  std::vector<PracticeOutcome> out;
  const char* dir = std::getenv("FW_PRACTICE_DIR");
  if (!dir) return out;
  std::vector<std::string> folders;
  for (const auto& e : std::filesystem::directory_iterator(dir))
    if (std::filesystem::exists(e.path() / "truth_bank.csv")) folders.push_back(e.path().string());
  std::sort(folders.begin(), folders.end());
  for (const auto& f : folders)
    if (auto o = play_practice(f)) out.push_back(std::move(*o));
  return out;
}

}  // namespace fw::guard::test
