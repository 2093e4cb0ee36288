#pragma once
// What a built-in alarm goes by where its owner set no limit. In the unit of alarms/builtin.h.
#include <optional>
#include <string_view>

#include "rig/rig.h"

namespace fw::rig {

/// None: an alarm without a limit.
std::optional<double> default_alarm_limit(std::string_view alarm, const Rig& rig);

/// The owner's, else that; an alarm without a limit is a bug.
double alarm_limit(std::string_view alarm, const Rig& rig);

}  // namespace fw::rig
