#pragma once
// What one minute shows of a string, held against its calibrated model. Everything the evidence terms see.
#include <optional>
#include <vector>

#include "units/channel.h"

namespace fw::diagnosis {

struct StringLook {
  bool usable = false;          ///< live, moving, the sun up
  double measured_w = 0;
  double clear_w = 0;           ///< cloudless, clean, nothing in the way, no controller limit
  double open_beam_w = 0, open_diffuse_w = 0;  ///< the parts of clear_w
  double glow_w = 0, ground_w = 0;  ///< of open_beam_w, from close around the sun; of open_diffuse_w, from the ground
  double even_sky_w = 0;        ///< what a clear sky's diffuse light would make if it were spread evenly
  double beam_w = 0;            ///< of clear_w, behind learned fixed shade
  double diffuse_w = 0;         ///< of clear_w, behind learned fixed shade, which a cloudless sky brightens
  double film_pass = 1;         ///< through the film that has been made out over days
  double shade_total = 1;       ///< learned fixed shade here: cloudless power over that without
  double seen = 0;              ///< what it made with the sun here on an earlier day, over what it makes in the open; 0: not known
  double limit_w = 1e9;         ///< of the controller, array side
  double sigma = 0.03;          ///< relative scatter of the model: low sun, rounding
  double bias = 0.04;           ///< relative error that may stand for days: a deviation within it is none
  double half_bias = 0;         ///< the same of a string with rows cut off
  double lean_sigma = 0;        ///< relative error for hours from a plane that leans otherwise than believed, the sun low
  double plane_sigma = 0;       ///< extra scatter under a cloudy sky, for planes unlike the horizontal
  double wake_w = 5;            ///< a controller shows nothing below about this
  double dim_gain = 0;          ///< cooler cells in weak light: relative gain at no light

  bool over_voltage = false;    ///< the controller waits: too many volts, no current
  bool has_volts = false;
  double volts = 0;
  double volts_ln = 0;          ///< ln(volts over the working voltage at the light the power implies)
  double volts_ln_doubled = 0;  ///< the same if one of the parallel rows carries nothing
  double volts_to_open = 0;     ///< volts over the open-circuit voltage under a clear sky
  double volts_sigma = 0.05;

  double shaded_clear_w() const { return (beam_w + diffuse_w) * film_pass; }
  /// ln(measured / clear behind fixed shade and film); only with measured_w > 0 and a clear power
  double ratio_ln = 0;
  bool carries() const { return measured_w >= wake_w; }
};

/// What the minute shows of everything that is not a string.
struct SiteLook {
  double sun_elevation_deg = -90;
  std::optional<double> air_c;
  double hidden = 0.3, hidden_before = 0.3;  ///< chance that something stands before the sun here, and a minute ago
  double brightest = 1;            ///< most that any string makes of its clear-sky power
  double since_bright_min = 1e6;   ///< since a string made half of its clear-sky power or more
  double forecast_cloud = -1;      ///< 0..1, negative: none
  double snowing = 0;              ///< chance that snow falls now, from forecast and air
  double fall_cm_h = 0;            ///< of snow, as forecast about now; none in warm air
  double fallen_cm = 0;            ///< of it in the last half day
  bool forecast_snow = false;      ///< the forecast has snow within a few hours of now
  bool snow_lately = true;         ///< the forecast had some in the last day and a half, or there is none
  bool has_forecast = false;
  std::optional<double> irradiance_share;  ///< measured over clear
  std::optional<double> soc, bank_v, bank_c_rate;
  double bank_nominal_v = 12.8;
  std::optional<bool> charge_allowed;
  bool permit = true;
};

}  // namespace fw::diagnosis
