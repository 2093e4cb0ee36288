#pragma once
// A sender's own time out of a payload.
#include <optional>

#include "intake/flat_json.h"
#include "rig/rig.h"
#include "units/time.h"
#include "words/words.h"

namespace fw::intake {

/// epoch_s (fractions allowed) and epoch_ms also as text; iso needs a zone; local is read in the rig's zone: in the
/// doubled hour the instant nearer `near`, in the missing hour nothing. Years outside 1970..2200 are nothing.
std::optional<Utc> time_in(const JsonNode& node, rig::TimeForm form, const Words& zone, Utc near);

}  // namespace fw::intake
