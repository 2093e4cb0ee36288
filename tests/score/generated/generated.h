#pragma once
// Labelled feeds of invented rigs and winters: by family and seed, the same bytes every time. Test only.
#include <string>
#include <vector>

#include "score/generated/scene.h"

namespace fw::score {

struct GeneratedFeed {
  std::string name, site_json, feed, truth_csv, truth_bank_csv, truth_events_csv;
};
/// days 0: as the family has it.
GeneratedFeed generate(Family family, std::uint64_t seed, int days = 0);

struct Pick {
  Family family{};
  std::uint64_t seed = 0;
};
/// "development", "held-out", a family's name (its development seeds) or "family:seed"; empty when it is none of these.
std::vector<Pick> picks_in(const std::string& text);

/// Seeds whose feeds may be looked at while the diagnosis is worked on, and seeds that are only scored.
inline constexpr std::uint64_t development_seeds[] = {1, 2, 3, 4, 5, 6};
inline constexpr std::uint64_t held_out_seeds[] = {101, 102, 103, 104, 105, 106};

}  // namespace fw::score
