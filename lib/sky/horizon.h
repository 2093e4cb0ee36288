#pragma once
// What stands around the rig: hills, houses, a forest edge.
#include <vector>

namespace fw::sky {

/// Horizon heights, straight between points and around north. No points: a flat horizon.
class Horizon {
 public:
  struct Point {
    double azimuth_deg = 0;    ///< 0..360, from north, clockwise
    double elevation_deg = 0;  ///< 0..85
  };
  Horizon() = default;
  explicit Horizon(std::vector<Point> points);

  double elevation_deg(double azimuth_deg) const;
  /// Share of a uniform sky's light on a horizontal plane that comes over the horizon, 0..1.
  double sky_share() const { return sky_share_; }
  bool flat() const { return points_.empty(); }

 private:
  std::vector<Point> points_;
  double sky_share_ = 1;
};

}  // namespace fw::sky
