#pragma once
// What a string could make: the whole chain for one instant.
#include <vector>

#include "roof/string_model.h"
#include "sky/state.h"

namespace fw::roof {

struct Weather {
  double air_c = 5;
  double wind_ms = 1;
};

struct Expected {
  double cos_aoi = 0;
  sky::PlaneIrradiance poa;   ///< in the plane, before the glass
  double effective_wm2 = 0;   ///< after the glass
  double cell_c = 0;
  double beam_w = 0;          ///< part of power_w due to the beam
  double diffuse_w = 0;       ///< the rest: sky and ground
  double glow_w = 0;          ///< of beam_w, from the sky close around the sun
  double ground_w = 0;        ///< of diffuse_w, thrown back by the ground
  double even_sky_w = 0;      ///< what the diffuse light would make if it came evenly from the whole sky, as under a closed cover
  double power_w = 0;         ///< at the maximum power point, after losses, no controller limit
  double limited_w = 0;       ///< within the controller's limits
  double v_mp_v = 0, v_oc_v = 0, i_mp_a = 0;  ///< of the string, unlimited
  double aoi_deg() const;
};

/// Expected power under sky.now. Finite for every finite input in range; all zero but temperature at
/// night. bank_v sets what the controller's current limit means in watts.
Expected expected(const StringModel& string, const sky::State& sky, const Weather& weather, double bank_v = 13.3);

/// A day's table of one string under a cloudless sky, steps from `from` (inclusive) to `to`.
struct DayRow {
  Utc at{};
  sky::State sky;
  Expected expected;
};
struct DayTable {
  std::vector<DayRow> rows;
  double energy_wh = 0;  ///< of limited_w, each row standing for one step around its middle
};
DayTable day_table(const StringModel& string, const sky::Site& site, Utc from, Utc to, Span step,
                   const Weather& weather, double albedo = sky::State::albedo_default, double bank_v = 13.3);

}  // namespace fw::roof
