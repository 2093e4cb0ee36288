#pragma once
// Turns the description that lies beside a labelled practice feed (site.json) into a described rig with
// its sources. Test only.
#include <string>

#include "rig/rig.h"
#include "units/result.h"

namespace fw::score {

struct PracticeOptions {
  bool no_forecast = false;
  bool no_irradiance = false;
  bool no_stage = false;       ///< drops the controller's stage
  bool no_voltage = false;     ///< drops the string's voltage where power does not depend on it
  bool perturb = false;        ///< the config's watts, tilt and azimuth are off by 12 %, 8 deg and 28 deg
};

Result<rig::Rig> practice_rig(const std::string& folder, const PracticeOptions& options);
/// The same from the text of a site.json; `where` is named in faults.
Result<rig::Rig> practice_rig_of(const std::string& site_json, const std::string& where, const PracticeOptions& options);

}  // namespace fw::score
