#pragma once
// From cloud or a measured irradiance to global, beam and diffuse.
#include "sky/irradiance.h"

namespace fw::sky {

/// Share of the cloudless global irradiance that is left under a cloud cover of 0..1.
/// Source: Kasten & Czeplak 1980, Solar Energy 24, 177: 1 - 0.75 N^3.4.
double share_under_cloud(double cloud_cover);
inline constexpr double cloud_power = 3.4;   ///< of the cover N, by which it takes light

/// Diffuse share of the global irradiance for a clearness index (global over extraterrestrial
/// horizontal), 0..1 and above. Source: Erbs, Klein & Duffie 1982, Solar Energy 28, 293.
double diffuse_share_erbs(double clearness_index);

/// Splits a global irradiance after Erbs. apparent_elevation_deg: below 1 deg all of it is diffuse.
Irradiance split_erbs(double ghi_wm2, double apparent_elevation_deg, double dni_extra_wm2);

/// The sky when global irradiance is `share` (0..1.5) of the cloudless one: at 1 and above the
/// cloudless split (scaled), below that Erbs' relation on the scale where a cloudless sky counts
/// as a clearness index of 0.75, so that a low sun is not taken for a cloud.
Irradiance under_share(const Irradiance& clear, double share, double apparent_elevation_deg);

}  // namespace fw::sky
