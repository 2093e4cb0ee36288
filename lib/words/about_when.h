#pragma once
// A time ahead that is an estimate: "about 08:40", "tomorrow about 08:40".
#include <string>

#include "words/words.h"

namespace fw {

std::string about_when(const Words& words, Utc t, Utc now);

}  // namespace fw
