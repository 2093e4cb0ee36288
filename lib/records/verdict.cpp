#include "records/verdict.h"

#include <array>

namespace fw {

namespace {
constexpr std::array<std::string_view, cause_count> cause_names{"clear",     "cloud",  "snow", "soiling", "shade",
                                                                "curtailed", "outage", "dark", "stale",   "unsure"};
}

std::string_view name(Cause c) { return cause_names[static_cast<std::size_t>(c)]; }

std::optional<Cause> cause_in(std::string_view text) {
  for (std::size_t i = 0; i < cause_names.size(); ++i)
    if (cause_names[i] == text) return static_cast<Cause>(i);
  return std::nullopt;
}

}  // namespace fw
