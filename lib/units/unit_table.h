#pragma once
// The units telemetry and configs are written in. Every unit has one dimension and one way into the
// canonical unit of that dimension: canonical = value * factor + offset. Factors are exact by
// definition of the units (SI brochure; international inch, mile and nautical mile).
#include <optional>
#include <string>
#include <string_view>

#include "units/channel.h"

namespace fw {

/// Canonical units: W, V, A, Ah, kWh, fraction, degC, m, m/s, W/m2, Pa, deg, s, byte, 1, C (charge rate)
enum class Dimension {
  power, voltage, current, charge, energy, ratio, temperature, length, speed, irradiance, pressure, angle, time, size,
  charge_rate, none,
};
/// "power", "voltage", ...
std::string_view name(Dimension d);
/// Units to propose for a dimension, the usual one first: "W or kW".
std::string_view examples(Dimension d);

struct Unit {
  std::string_view text;
  Dimension dimension{};
  double factor = 1;
  double offset = 0;
  double to_canonical(double v) const { return v * factor + offset; }
  double from_canonical(double v) const { return (v - offset) / factor; }
  /// A difference (deadband, rate): the offset has no part in it.
  double difference(double v) const { return v * factor; }
};

/// The unit of that spelling ("kW", "degF", "°F", "%", "W/m2"), or null. Letter case matters (mW is not MW).
const Unit* unit_named(std::string_view text);
/// The spelling nearest to a wrong one when only letter case or one letter differs, else empty.
std::string_view unit_near(std::string_view text);

/// What a quantity is measured in; none for flags, stages and error numbers.
Dimension dimension_of(Quantity q);
/// True for charge_allowed, heater flags and charger_on.
bool is_flag(Quantity q);
/// Canonical to the channel's own scale: 100 for a depth of snow (cm), else 1.
double channel_scale(Quantity q);

}  // namespace fw
