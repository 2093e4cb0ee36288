#pragma once
// The cells through the planned hours, and what heating them costs.
#include <optional>
#include <vector>

#include "bank/thermal.h"
#include "outlook/weather_ahead.h"
#include "rig/rig.h"

namespace fw::outlook {

struct CellsNow {
  double cell_c = 0;
  std::optional<double> cabin_c;
  bool charging_allowed = true;
  bool heater_on = false;
  double heater_usual_w = 0;     ///< of the bank's heaters over the last day: the loads learned hold it already
};

/// Per hour of the weather.
struct CellsAhead {
  std::vector<double> cell_c;    ///< at the hour's middle
  std::vector<double> sigma_k;   ///< standard error of it
  std::vector<double> heat_w;    ///< of the bank's heaters, beyond what is usual
};

CellsAhead cells_ahead(const rig::Rig& rig, const bank::ThermalModel& thermal, const CellsNow& now, Utc at, const std::vector<WeatherHour>& weather);

}  // namespace fw::outlook
