#include "sky/cloud.h"

#include <algorithm>
#include <cmath>

#include "sun/angle.h"

namespace fw::sky {

double share_under_cloud(double cloud_cover) { return 1 - 0.75 * std::pow(std::clamp(cloud_cover, 0.0, 1.0), cloud_power); }

double diffuse_share_erbs(double kt) {
  if (kt <= 0.22) return 1 - 0.09 * std::max(kt, 0.0);
  if (kt <= 0.8) return 0.9511 + kt * (-0.1604 + kt * (4.388 + kt * (-16.638 + kt * 12.336)));
  return 0.165;
}

Irradiance split_erbs(double ghi_wm2, double apparent_elevation_deg, double dni_extra_wm2) {
  const double ghi = std::max(ghi_wm2, 0.0);
  if (apparent_elevation_deg < 1 || dni_extra_wm2 <= 0) return {ghi, 0, ghi};
  const double cos_zenith = sun::sin_deg(apparent_elevation_deg);
  const double dhi = ghi * diffuse_share_erbs(ghi / (dni_extra_wm2 * cos_zenith));
  return {ghi, (ghi - dhi) / cos_zenith, dhi};
}

Irradiance under_share(const Irradiance& clear, double share, double apparent_elevation_deg) {
  if (clear.ghi_wm2 <= 0 || share <= 0) return {};
  const double ghi = clear.ghi_wm2 * share;
  if (apparent_elevation_deg < 1) return {ghi, 0, ghi};
  const double clear_diffuse = clear.dhi_wm2 / clear.ghi_wm2;
  constexpr double cloudless_index = 0.75;
  const double floor_share = diffuse_share_erbs(cloudless_index);
  const double clouded =
      share >= 1 ? 0 : (diffuse_share_erbs(cloudless_index * share) - floor_share) / (1 - floor_share);
  const double dhi = ghi * (clear_diffuse + (1 - clear_diffuse) * std::clamp(clouded, 0.0, 1.0));
  return {ghi, (ghi - dhi) / sun::sin_deg(apparent_elevation_deg), dhi};
}

}  // namespace fw::sky
