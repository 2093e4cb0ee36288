#pragma once
// The weather of the coming days as the planning needs it: the forecast, corrected by what forecasts have
// been worth here, or what the last days were like when there is none.
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "units/forecast.h"
#include "units/time.h"

namespace fw::outlook {

struct WeatherHour {
  Utc from{};
  double clear_share = 1;        ///< of the cloudless light, 0..1.3
  double share_error = 0.3;      ///< relative standard error of clear_share
  double air_c = 0;
  double snow_cm = 0;            ///< falling in the hour
  std::optional<double> wind_ms;
  bool forecast = false;         ///< false: from the last days
  bool by_cloud = false;         ///< clear_share follows from a forecast of the clouds
  std::optional<double> irradiance_wm2;  ///< forecast for the hour, on a horizontal plane
};

/// How old a forecast may be before it is left aside.
inline constexpr Span forecast_too_old = hours{36};

/// Learns hour by hour; asked for hours ahead. Deterministic, no clock.
class WeatherAhead {
 public:
  /// One hour that has passed. share: light seen over cloudless light, none when it could not be seen
  /// (night, snow on all strings); weight: how much of the day's light the hour holds, 0..1 of the noon light.
  void learn(Utc hour, std::optional<double> share, double weight, std::optional<double> air_c, const ForecastHour* said);

  /// `count` hours from the hour that holds `now`. now_air_c pulls the first hours toward what is measured.
  std::vector<WeatherHour> ahead(Now now, int count, const Forecast* forecast, std::optional<double> now_air_c) const;

  /// Share of the cloudless light to expect under a forecast cloud cover of 0..1.
  double share_for_cloud(double cloud) const;
  /// The same with that hour's snowfall: what snows is thick cloud, however much of the sky it was said to cover.
  double share_for(double cloud, double snow_cm) const;

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  struct Seen { double sum = 0, weight = 0; };
  std::array<Seen, 5> by_cloud_{};                 ///< at cover 0, 1/4 .. 1
  Seen in_snowfall_;
  double error2_ = 0, error_weight_ = 0;           ///< squared error of the share, light-weighted
  struct Past { Utc hour{}; std::optional<double> share; double weight = 0; std::optional<double> air_c; };
  std::vector<Past> past_;                         ///< the last 72 hours
  double air_bias_c_ = 0;
};

}  // namespace fw::outlook
