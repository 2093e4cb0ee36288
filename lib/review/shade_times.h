#pragma once
// When in the day shade takes its share, in words.
#include <array>
#include <cstdint>
#include <string>

namespace fw::review {

using HalfHours = std::array<std::int64_t, 48>;  ///< lost to shade, by half hour of the local day

/// ", most of it between 13:30 and 15:00. Turning ..." or early and late, or all day: the end of a sentence and what may help.
std::string shade_times(const HalfHours& lost);

}  // namespace fw::review
