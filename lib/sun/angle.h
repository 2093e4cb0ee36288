#pragma once
// Degrees and radians, turns.
#include <cmath>
#include <numbers>

namespace fw::sun {

inline constexpr double rad_per_deg = std::numbers::pi / 180.0;
inline constexpr double deg_per_rad = 180.0 / std::numbers::pi;

inline double sin_deg(double deg) { return std::sin(deg * rad_per_deg); }
inline double cos_deg(double deg) { return std::cos(deg * rad_per_deg); }

/// 0 <= result < 360.
inline double turn_deg(double deg) {
  const double r = deg - 360.0 * std::floor(deg / 360.0);
  return r < 360.0 ? r : 0.0;
}
/// -180 <= result < 180.
inline double half_turn_deg(double deg) { return turn_deg(deg + 180.0) - 180.0; }

}  // namespace fw::sun
