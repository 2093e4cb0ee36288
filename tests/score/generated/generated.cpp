#include "score/generated/generated.h"

#include "score/generated/label.h"
#include "score/generated/speaker.h"
#include "score/generated/world.h"
#include "units/text.h"

namespace fw::score {

GeneratedFeed generate(Family family, std::uint64_t seed, int days) {
  const World world = world_of(scene_of(family, seed, days));
  Speech speech = speech_of(world);
  return {std::string(name(family)) + ":" + std::to_string(seed), std::move(speech.site_json), std::move(speech.feed), truth_csv(world),
          truth_bank_csv(world), truth_events_csv(world)};
}

std::vector<Pick> picks_in(const std::string& text) {
  std::vector<Pick> out;
  if (text == "development" || text == "held-out") {
    for (const Family f : families)
      for (const std::uint64_t seed : text == "development" ? development_seeds : held_out_seeds) out.push_back({f, seed});
    return out;
  }
  const auto colon = text.find(':');
  const auto family = family_in(text.substr(0, colon));
  if (!family) return out;
  if (colon == std::string::npos) {
    for (const std::uint64_t seed : development_seeds) out.push_back({*family, seed});
    return out;
  }
  if (const auto seed = number_in(text.substr(colon + 1)); seed && *seed >= 0) out.push_back({*family, static_cast<std::uint64_t>(*seed)});
  return out;
}

}  // namespace fw::score
