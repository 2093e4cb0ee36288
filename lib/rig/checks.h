#pragma once
// What can be true of a rig and its readings at all. Wide on purpose: a value outside is a broken
// sensor, a wrong unit or a slip in the config, never an unusual day.
#include <string_view>

#include "rig/rig.h"
#include "units/channel.h"

namespace fw::rig {

struct Range {
  double from = 0, to = 0;
  bool holds(double v) const { return v >= from && v <= to; }   ///< false for NaN
};

/// Span of a channel's value in its own unit. Air and cells: -90 to 120 degC, which leaves out the usual
/// disconnect value -127 but not the power-on value 85 (the guard judges that by its context).
Range physical_range(Quantity q);

/// Narrowed by what is known of the rig: a string's power to 2.5 times its rating, its voltage and current likewise
/// to twice and 2.5 times what its modules can give, where the modules' figures are known.
Range physical_range(const Rig& rig, Channel c);

/// A name for strings, sensors, chargers, heaters, rules: [a-z0-9_-], 1 to 40 characters.
bool is_name(std::string_view text);

/// A topic to publish on: not empty, no wildcard, no control character, at most 65535 bytes.
bool is_topic(std::string_view text);
/// A topic filter: wildcards only as whole levels, '#' last.
bool is_topic_filter(std::string_view text);
/// A JSON Pointer by RFC 6901: empty, or '/' first; '~' only as ~0 or ~1.
bool is_pointer(std::string_view text);

}  // namespace fw::rig
