#pragma once
// One cause per string and minute, and where the clear-sky watts went.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "units/time.h"

namespace fw {

enum class Cause { clear, cloud, snow, soiling, shade, curtailed, outage, dark, stale, unsure };
inline constexpr int cause_count = 10;
std::string_view name(Cause c);
std::optional<Cause> cause_in(std::string_view text);

/// made + losses = clear_sky_w, exact by construction (the rest is `unexplained_w`). W.
struct LossSplit {
  double made_w = 0, cloud_w = 0, snow_w = 0, soiling_w = 0, shade_w = 0, curtailed_w = 0, cold_w = 0, outage_w = 0,
         no_data_w = 0, unexplained_w = 0;
  double sum() const {
    return made_w + cloud_w + snow_w + soiling_w + shade_w + curtailed_w + cold_w + outage_w + no_data_w + unexplained_w;
  }
};

struct Verdict {
  Utc utc{};                                ///< start of the minute
  int string = 0;
  Cause cause = Cause::dark;
  double confidence = 0;                    ///< 0..1, calibrated
  std::string reason;                       ///< finer, in plain words, stable: "frost", "bank full", "half lost", ...
  std::vector<std::string> evidence;        ///< each a short plain clause
  std::optional<double> performance_index;  ///< measured / expected
  double clear_sky_w = 0;                   ///< clean glass, cloudless, no obstacles, within controller limits
  double expected_w = 0;                    ///< best estimate for the present sky with learned shade
  std::optional<double> measured_w;
  double sun_elevation_deg = 0;
  LossSplit split;
  std::optional<double> snow_cover;         ///< share of light the snow takes, 0..1
  std::optional<double> snow_cm;            ///< equivalent settled depth
  std::optional<double> soiling_loss, soiling_low, soiling_high;  ///< fractions
};

}  // namespace fw
