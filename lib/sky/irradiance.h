#pragma once

namespace fw::sky {

/// Light on the ground, W/m2.
struct Irradiance {
  double ghi_wm2 = 0;  ///< global on a horizontal plane
  double dni_wm2 = 0;  ///< beam on a plane facing the sun
  double dhi_wm2 = 0;  ///< diffuse on a horizontal plane
};

}  // namespace fw::sky
