#pragma once
// A minute of the rig, as the window room hands it to everyone who judges.
#include <optional>
#include <vector>

#include "units/channel.h"
#include "units/forecast.h"
#include "units/time.h"

namespace fw {

/// One string's readings over one aligned minute of Utc.
struct StringMinute {
  std::optional<double> power_w;       ///< time-weighted mean; array side
  std::optional<double> voltage_v;
  std::optional<double> current_a;
  std::optional<double> power_sd_w;    ///< standard deviation of the samples; none below 3 samples
  std::optional<double> power_min_w, power_max_w;
  int samples = 0;                     ///< power samples that arrived in this minute
  bool live = false;                   ///< power (or what it follows from) fresh at the minute's end
  Span age{};                          ///< since the last message that gave a power, changed or not
  Span still_for{};                    ///< messages came, yet no digit of power, voltage or current moved for this long
  bool from_output = false;            ///< power follows from the bank side and an efficiency
  std::optional<Stage> stage;
  std::optional<double> output_voltage_v, output_current_a;
  std::optional<double> controller_c;
  std::optional<double> error;         ///< controller's error number, 0 none
};

struct RigMinute {
  Utc start{};                         ///< of the minute
  Elapsed at{};                        ///< its end, on the elapsed line
  bool clock_trusted = true;
  std::vector<StringMinute> strings;   ///< as in Rig::strings

  std::optional<double> bank_voltage_v, bank_current_a, soc, cell_min_c, cell_max_c;
  std::optional<bool> charge_allowed, bank_heater_on;
  std::optional<double> bank_heater_w;
  std::vector<std::optional<double>> cells_c;  ///< per cell sensor, believed values only

  std::optional<double> air_c, cabin_c, irradiance_wm2, snow_depth_cm, wind_ms, load_w;
  std::optional<double> heading_deg, pitch_deg, roll_deg, speed_ms;
  double latitude_deg = 0, longitude_deg = 0;

  /// What the guard said at the minute's end: per charger, may it charge.
  bool permit = true;                  ///< any solar charger may charge
  bool permit_known = false;           ///< a guard with chargers is configured
  const Forecast* forecast = nullptr;  ///< latest, may be old; null: none
};

}  // namespace fw
