#pragma once
// Minute by minute weather of a scene. Test only.
#include <vector>

#include "score/generated/scene.h"

namespace fw::score {

struct WeatherMinute {
  double beam = 1;              ///< share of the clear beam that arrives
  double diffuse = 1;           ///< over the clear diffuse
  double extra = 0;             ///< diffuse from lit clouds, share of the clear horizontal light
  double cover = 0;             ///< 0..1, as a forecast would count it
  double air_c = 0, wind_ms = 1;
  double snow_cm = 0, rain_mm = 0;   ///< in this minute
  double aerosol = 0.06, water_cm = 0.5, albedo = 0.2;
};

std::vector<WeatherMinute> weather_of(const Scene& scene);

struct OutlookHour {
  double cloud = 0, air_c = 0, snow_cm = 0;
};
/// What a forecast issued at `issued_min` says of the 72 hours from there: right near by, vaguer further ahead.
std::vector<OutlookHour> outlook_of(const Scene& scene, const std::vector<WeatherMinute>& weather, long issued_min);

}  // namespace fw::score
