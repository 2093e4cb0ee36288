#pragma once
// Values that fit only another unit than the one described.
#include <optional>
#include <string>
#include <string_view>

#include "units/channel.h"

namespace fw::intake {

/// What is known around a value; anything may be missing.
struct Around {
  std::optional<double> air_c, cabin_c;
  std::optional<double> bank_nominal_v, bank_capacity_ah;
  std::optional<double> soc_per_h;      ///< change of SoC, fraction an hour
  bool warmed = false;                  ///< charging hard or heated for hours: warm cells are no surprise
};

/// The unit a value looks like ("degF", "K", "mA", "mV", "%", ...) when it is implausible as described and
/// plausible there; nothing when it may well be right or fits no other unit either. value: in the channel's
/// unit, as taken by intake. Judge several values over hours before saying it aloud.
std::optional<std::string_view> looks_like(Quantity q, double value, const Around& around);

/// "cell temperature 37 looks like °F, not °C"
std::string looks_like_text(Quantity q, double value, std::string_view unit);

}  // namespace fw::intake
