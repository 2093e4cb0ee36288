#include "diagnosis/stand.h"

#include <cmath>
#include <numbers>

namespace fw::diagnosis {

namespace {

constexpr int settle_minutes = 5;
constexpr double moving_ms = 1;
constexpr double same_slope_deg = 0.7;  // a sensor's noise, people walking about
constexpr double same_heading_deg = 5;
constexpr double same_place_m = 1000;

double heading_apart_deg(double a, double b) { return std::fabs(std::remainder(a - b, 360.0)); }

bool same(const roof::Attitude& a, const roof::Attitude& b) {
  return heading_apart_deg(a.heading_deg, b.heading_deg) < same_heading_deg && std::fabs(a.pitch_deg - b.pitch_deg) < same_slope_deg &&
         std::fabs(a.roll_deg - b.roll_deg) < same_slope_deg;
}

double apart_m(double lat_a, double lon_a, double lat_b, double lon_b) {
  constexpr double metres_per_deg = 111'200;
  const double east = std::remainder(lon_a - lon_b, 360.0) * std::cos(lat_a * std::numbers::pi / 180);
  return metres_per_deg * std::hypot(lat_a - lat_b, east);
}

}  // namespace

Stand::Stand(const rig::Rig& rig)
    : rig_(rig),
      attitude_{rig.site.heading_deg, rig.site.pitch_deg, rig.site.roll_deg},
      latitude_deg_(rig.site.latitude_deg),
      longitude_deg_(rig.site.longitude_deg) {
  for (const auto& s : rig.strings) mounted_.push_back(roof::mounted_on_rig({s.tilt_deg, s.azimuth_deg}, attitude_));
}

Stand::Change Stand::follow(const RigMinute& m) {
  Change change;
  moving_ = m.speed_ms && *m.speed_ms > moving_ms;
  if (moving_) {
    attitude_minutes_ = place_minutes_ = 0;
    return change;
  }
  const roof::Attitude now{m.heading_deg.value_or(attitude_.heading_deg), m.pitch_deg.value_or(attitude_.pitch_deg),
                           m.roll_deg.value_or(attitude_.roll_deg)};
  if (same(now, attitude_)) {
    attitude_minutes_ = 0;
  } else {
    attitude_minutes_ = attitude_minutes_ > 0 && same(now, next_attitude_) ? attitude_minutes_ + 1 : 1;
    next_attitude_ = now;
    if (attitude_minutes_ >= settle_minutes) {
      attitude_ = now;
      attitude_minutes_ = 0;
      change.attitude = true;
    }
  }
  if (apart_m(m.latitude_deg, m.longitude_deg, latitude_deg_, longitude_deg_) < same_place_m) {
    place_minutes_ = 0;
  } else {
    const bool holds = place_minutes_ > 0 && apart_m(m.latitude_deg, m.longitude_deg, next_latitude_deg_, next_longitude_deg_) < same_place_m;
    place_minutes_ = holds ? place_minutes_ + 1 : 1;
    next_latitude_deg_ = m.latitude_deg;
    next_longitude_deg_ = m.longitude_deg;
    if (place_minutes_ >= settle_minutes) {
      latitude_deg_ = m.latitude_deg;
      longitude_deg_ = m.longitude_deg;
      place_minutes_ = 0;
      change.place = true;
    }
  }
  return change;
}

std::vector<sky::Plane> Stand::planes() const {
  std::vector<sky::Plane> planes;
  for (const auto& mounted : mounted_) planes.push_back(roof::plane_on_rig(mounted, attitude_));
  return planes;
}

}  // namespace fw::diagnosis
