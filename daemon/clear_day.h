#pragma once
// A local day under a clear sky, for `expect` and `check`: the strings as described, nothing learned.
#include <string>
#include <vector>

#include "described.h"
#include "roof/expected.h"
#include "sun/position.h"

namespace fw {

struct ClearDay {
  Utc from{}, to{};                       ///< local midnight to local midnight
  sun::Day sun;
  std::vector<roof::DayTable> strings;    ///< as in Rig::strings; rows at the middle of nothing: at each step's start
};

/// day: any instant of the local day. step: 1 min to 1 h.
ClearDay clear_day(const Described& d, Utc day, Span step, double air_c);

/// "Sun from 08:02 to 16:31, 24° high at 12:16" or that it stays below or above the horizon.
std::string sun_sentence(const ClearDay& day, const Words& words);

}  // namespace fw
