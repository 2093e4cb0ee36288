#pragma once
// What each string could give in the coming days, in steps of a quarter of an hour, of half an hour beyond the first
// day: under its snow as it is, and with clean glass from any moment on.
#include <optional>
#include <vector>

#include "outlook/weather_ahead.h"
#include "rig/rig.h"
#include "roof/attitude.h"
#include "roof/calibration.h"
#include "roof/described.h"
#include "snow/layer.h"

namespace fw::outlook {

inline constexpr Span step_length = minutes{15}, far_step_length = minutes{30}, near_span = hours{24};

/// One string at the start.
struct StringNow {
  const roof::Calibration* calibration = nullptr;  ///< null: the data sheet
  snow::Layer layer;                   ///< snow on its glass
  double standing_share = 1;     ///< of its power that an outage or dirt leaves, 0..1
  double thick_pass = 1;         ///< what comes through over what the layer would pass, as long as it lies unbroken, 0..1
};

/// Weather at a step. ghi_wm2 lies on a horizontal plane.
struct StepWeather {
  Utc from{};                    ///< the first step begins now, the others on the quarter or half hour
  double hours = 0.25;
  double clear_share = 1, share_error = 0.3, air_c = 0, snow_cm = 0, ghi_wm2 = 0, sun_elevation_deg = 0;
  std::optional<double> wind_ms;
};

struct RoofAhead {
  std::vector<StepWeather> steps;
  std::vector<std::vector<double>> clean_w;    ///< [string][step]: bare glass, within the controller's limits
  std::vector<std::vector<double>> plane_wm2;  ///< [string][step]: light on its plane
  std::vector<StringNow> strings;
  std::vector<double> tilt_deg;
};

RoofAhead roof_ahead(const rig::Rig& rig, const std::vector<StringNow>& strings, const sky::Site& site, Utc now,
                     const std::vector<WeatherHour>& weather);

/// A string left as it is.
struct LeftAlone {
  std::vector<double> water_mm;                ///< on it at the start of every step, and at the end of the last
  std::vector<double> power_w;                 ///< mean over every step
};
LeftAlone left_alone(const RoofAhead& roof, int string);

/// Power over steps [cleared_at, end) into power_w (all steps), its glass being bare at the start of cleared_at.
/// While snow falls bare glass is covered again by what falls, within 45 minutes at the latest on flat glass
/// (common practice, no source).
void cleared_power(const RoofAhead& roof, int string, const LeftAlone& left, std::size_t cleared_at, std::size_t end,
                   std::vector<double>& power_w);

}  // namespace fw::outlook
