#pragma once
// How the invented rig talks: topics, layouts, units and habits of its senders, with the site description that
// maps them. Test only.
#include <string>

#include "score/generated/world.h"

namespace fw::score {

struct Speech {
  std::string site_json, feed;   ///< feed: JSON lines by arrival
};
Speech speech_of(const World& world);

}  // namespace fw::score
