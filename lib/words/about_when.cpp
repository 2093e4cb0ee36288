#include "words/about_when.h"

namespace fw {

std::string about_when(const Words& words, Utc t, Utc now) {
  const std::string when = words.when(t, now);
  const auto gap = when.rfind(' ');
  return gap == std::string::npos ? "about " + when : when.substr(0, gap) + " about " + when.substr(gap + 1);
}

}  // namespace fw
