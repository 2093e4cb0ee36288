#pragma once
// What a period teaches, in plain words with a figure each; what cost most comes first.
#include <vector>

#include "review/account.h"
#include "words/words.h"

namespace fw::review {

/// "14.2 kWh", "310 kWh", "0.42 kWh".
std::string energy_words(double kwh);

std::vector<Finding> findings(const Account& a, const Words& words);

}  // namespace fw::review
