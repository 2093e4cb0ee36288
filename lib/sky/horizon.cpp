#include "sky/horizon.h"

#include <algorithm>
#include <cmath>

#include "sun/angle.h"

namespace fw::sky {

Horizon::Horizon(std::vector<Point> points) : points_(std::move(points)) {
  for (auto& p : points_) p.azimuth_deg = sun::turn_deg(p.azimuth_deg);
  std::stable_sort(points_.begin(), points_.end(),
                   [](const Point& a, const Point& b) { return a.azimuth_deg < b.azimuth_deg; });
  if (points_.empty()) return;
  // Radiance times the sine of the height, integrated from the horizon line up: cos^2 of it.
  double sum = 0;
  for (int a = 0; a < 360; ++a) {
    const double c = sun::cos_deg(std::max(elevation_deg(a + 0.5), 0.0));
    sum += c * c;
  }
  sky_share_ = sum / 360.0;
}

double Horizon::elevation_deg(double azimuth_deg) const {
  if (points_.empty()) return 0;
  const double a = sun::turn_deg(azimuth_deg);
  const auto next =
      std::upper_bound(points_.begin(), points_.end(), a, [](double x, const Point& p) { return x < p.azimuth_deg; });
  const Point& hi = next == points_.end() ? points_.front() : *next;
  const Point& lo = next == points_.begin() ? points_.back() : *(next - 1);
  const double width = sun::turn_deg(hi.azimuth_deg - lo.azimuth_deg);
  if (width <= 0) return lo.elevation_deg;
  return lo.elevation_deg + (hi.elevation_deg - lo.elevation_deg) * sun::turn_deg(a - lo.azimuth_deg) / width;
}

}  // namespace fw::sky
