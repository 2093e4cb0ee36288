#pragma once
// An hourly forecast as received: rows in ascending time, each an hour long.
#include <algorithm>
#include <optional>
#include <vector>

#include "units/time.h"

namespace fw {

struct ForecastHour {
  Utc from{};
  std::optional<double> cloud;            ///< cover 0..1
  std::optional<double> air_c;
  std::optional<double> snow_cm;          ///< depth falling in this hour
  std::optional<double> irradiance_wm2;   ///< global horizontal
  std::optional<double> wind_ms;
};

struct Forecast {
  Elapsed received{};
  std::vector<ForecastHour> rows;

  /// The row that holds t, or null when t lies outside.
  const ForecastHour* at(Utc t) const {
    const auto after = std::upper_bound(rows.begin(), rows.end(), t, [](Utc at, const ForecastHour& r) { return at < r.from; });
    return after != rows.begin() && t < after[-1].from + hours{1} ? &after[-1] : nullptr;
  }
};

}  // namespace fw
