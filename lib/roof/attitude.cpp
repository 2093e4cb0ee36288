#include "roof/attitude.h"

#include <algorithm>
#include <cmath>

#include "sun/angle.h"

namespace fw::roof {

sky::Plane plane_on_rig(const sky::Plane& mounted, const Attitude& attitude) {
  using namespace sun;
  // Body axes: x to the nose, y to the right, z down; the panel's normal in them.
  const double x = sin_deg(mounted.tilt_deg) * cos_deg(mounted.azimuth_deg);
  const double y = sin_deg(mounted.tilt_deg) * sin_deg(mounted.azimuth_deg);
  const double z = -cos_deg(mounted.tilt_deg);
  const double cr = cos_deg(attitude.roll_deg), sr = sin_deg(attitude.roll_deg);
  const double cp = cos_deg(attitude.pitch_deg), sp = sin_deg(attitude.pitch_deg);
  const double ch = cos_deg(attitude.heading_deg), sh = sin_deg(attitude.heading_deg);
  const double y1 = cr * y - sr * z, z1 = sr * y + cr * z;
  const double x2 = cp * x + sp * z1, z2 = -sp * x + cp * z1;
  const double north = ch * x2 - sh * y1, east = sh * x2 + ch * y1;
  sky::Plane plane;
  plane.tilt_deg = std::acos(std::clamp(-z2, -1.0, 1.0)) * deg_per_rad;
  plane.azimuth_deg = std::hypot(north, east) < 1e-9 ? 180.0 : turn_deg(std::atan2(east, north) * deg_per_rad);
  return plane;
}

sky::Plane mounted_on_rig(const sky::Plane& in_the_world, const Attitude& attitude) {
  using namespace sun;
  const double north = sin_deg(in_the_world.tilt_deg) * cos_deg(in_the_world.azimuth_deg);
  const double east = sin_deg(in_the_world.tilt_deg) * sin_deg(in_the_world.azimuth_deg);
  const double z2 = -cos_deg(in_the_world.tilt_deg);
  const double cr = cos_deg(attitude.roll_deg), sr = sin_deg(attitude.roll_deg);
  const double cp = cos_deg(attitude.pitch_deg), sp = sin_deg(attitude.pitch_deg);
  const double ch = cos_deg(attitude.heading_deg), sh = sin_deg(attitude.heading_deg);
  const double x2 = ch * north + sh * east, y1 = -sh * north + ch * east;
  const double x = cp * x2 - sp * z2, z1 = sp * x2 + cp * z2;
  const double y = cr * y1 + sr * z1, z = -sr * y1 + cr * z1;
  sky::Plane plane;
  plane.tilt_deg = std::acos(std::clamp(-z, -1.0, 1.0)) * deg_per_rad;
  plane.azimuth_deg = std::hypot(x, y) < 1e-9 ? 180.0 : turn_deg(std::atan2(y, x) * deg_per_rad);
  return plane;
}

JackGain jack_gain(const StringModel& string, const sky::Plane& mounted, const Attitude& now, double pitch_low_deg,
                   double pitch_high_deg, const sky::Site& site, Utc from, Utc to, const Weather& weather,
                   double share_of_clear, double albedo, Span step) {
  std::vector<sky::State> skies;
  sun::Ephemeris ephemeris;
  for (Utc at = from; at < to; at += step) {
    const sky::State sky = sky::under_share_of_clear(
        sky::clear_state(site, at, ephemeris, weather.air_c, albedo), share_of_clear);
    if (sky.now.ghi_wm2 > 0) skies.push_back(sky);
  }
  const auto energy_wh = [&](double pitch_deg) {
    Attitude a = now;
    a.pitch_deg = pitch_deg;
    const StringModel turned = string.on(plane_on_rig(mounted, a));
    double wh = 0;
    for (const auto& sky : skies) wh += expected(turned, sky, weather).limited_w * hours_of(step);
    return wh;
  };
  JackGain gain;
  gain.now_wh = energy_wh(now.pitch_deg);
  gain.best_pitch_deg = now.pitch_deg;
  gain.best_wh = gain.now_wh;
  constexpr int steps = 8;
  for (int i = 0; i <= steps; ++i) {
    const double pitch = pitch_low_deg + (pitch_high_deg - pitch_low_deg) * i / steps;
    const double wh = energy_wh(pitch);
    if (i == 0) gain.low_wh = wh;
    if (i == steps) gain.high_wh = wh;
    if (wh > gain.best_wh) {
      gain.best_wh = wh;
      gain.best_pitch_deg = pitch;
    }
  }
  return gain;
}

}  // namespace fw::roof
