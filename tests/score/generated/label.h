#pragma once
// The truth of a generated world in the files that lie beside a labelled feed. Test only.
#include <string>

#include "score/generated/world.h"

namespace fw::score {

/// 5-minute rows with cause and what else is fair to name.
std::string truth_csv(const World& world);
std::string truth_bank_csv(const World& world);
std::string truth_events_csv(const World& world);
std::string iso_of(long long unix_s);

}  // namespace fw::score
