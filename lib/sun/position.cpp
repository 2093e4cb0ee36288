#include "sun/position.h"

#include <algorithm>
#include <cmath>

#include "sun/angle.h"

namespace fw::sun {
namespace {

constexpr double event_elevation_deg = -0.8333;

struct Apparent {
  double right_ascension_deg, declination_deg, distance_au, equinoxes_deg, equation_of_time_min;
};

Position seen_from(const Apparent& sun, Utc at, const Place& place, const Air& air) {
  const double hour_angle =
      (greenwich_sidereal_deg(at, sun.equinoxes_deg) + place.longitude_deg - sun.right_ascension_deg) * rad_per_deg;
  const double latitude = place.latitude_deg * rad_per_deg;
  const double declination = sun.declination_deg * rad_per_deg;
  const double parallax = 8.794 / 3600.0 / sun.distance_au * rad_per_deg;
  const double sin_parallax = parallax;  // 2e-15 off its sine

  const double sin_lat = std::sin(latitude), cos_lat = std::cos(latitude);
  // The observer on the flattened Earth, in Earth radii: u = atan(0.99664719 tan latitude).
  const double flat_sin = 0.99664719 * sin_lat;
  const double norm = 1.0 / std::sqrt(flat_sin * flat_sin + cos_lat * cos_lat);
  const double x = cos_lat * norm + place.altitude_m / 6378140.0 * cos_lat;
  const double y = 0.99664719 * flat_sin * norm + place.altitude_m / 6378140.0 * sin_lat;

  const double sin_h = std::sin(hour_angle), cos_h = std::cos(hour_angle);
  const double sin_d = std::sin(declination), cos_d = std::cos(declination);
  // Right ascension and declination shifted by parallax, as a vector in the equator's frame that
  // turns with the observer; the same as the report's formulas (12.x) without their tangents.
  const double toward = cos_d * cos_h - x * sin_parallax;  // meridian
  const double across = cos_d * sin_h;                     // west
  const double along = sin_d - y * sin_parallax;           // pole

  Position p;
  p.hour_angle_deg = std::atan2(across, toward) * deg_per_rad;
  const double length = std::sqrt(toward * toward + across * across + along * along);
  p.declination_deg = std::asin(std::clamp(along / length, -1.0, 1.0)) * deg_per_rad;
  const double up = toward * cos_lat + along * sin_lat;
  const double south = toward * sin_lat - along * cos_lat;
  p.elevation_deg = std::atan2(up, std::sqrt(south * south + across * across)) * deg_per_rad;
  p.azimuth_deg = turn_deg(std::atan2(across, south) * deg_per_rad + 180.0);
  p.apparent_elevation_deg = p.elevation_deg + refraction_deg(p.elevation_deg, air);
  p.distance_au = sun.distance_au;
  p.equation_of_time_min = sun.equation_of_time_min;
  return p;
}

Apparent apparent(Utc at, double delta_t) {
  const Geocentric g = geocentric(at, delta_t);
  return {g.right_ascension_deg, g.declination_deg, g.distance_au,
          g.nutation_longitude_deg * cos_deg(g.true_obliquity_deg), g.equation_of_time_min};
}

std::int64_t day_of(Utc at) { return ms_of(floor_to(at, days{1})) / 86400000; }

}  // namespace

Position position(Utc at, const Place& place, const Air& air, double delta_t) {
  return seen_from(apparent(at, delta_t), at, place, air);
}

Position position(Utc at, const Place& place, const Air& air) { return position(at, place, air, delta_t_s(at)); }

double refraction_deg(double elevation_deg, const Air& air) {
  if (elevation_deg < -(0.26667 + 0.5667)) return 0.0;
  return air.pressure_pa / 101000.0 * 283.0 / (273.0 + air.temperature_c) * 1.02 /
         (60.0 * std::tan((elevation_deg + 10.3 / (elevation_deg + 5.11)) * rad_per_deg));
}

void Ephemeris::load(std::int64_t day) {
  for (int i = 0; i < 4; ++i) nodes_[i] = at_midnight(day + i - 1);
  for (int i = 1; i < 4; ++i)  // right ascension without the jump at 360
    nodes_[i].right_ascension_deg =
        nodes_[i - 1].right_ascension_deg + half_turn_deg(nodes_[i].right_ascension_deg - nodes_[i - 1].right_ascension_deg);
  day_ = day;
}

const Ephemeris::Node& Ephemeris::at_midnight(std::int64_t day) {
  const auto n = static_cast<std::int64_t>(known_.size());
  Known& known = known_[static_cast<std::size_t>((day % n + n) % n)];
  if (known.day != day) {
    const Utc at = utc_ms(day * 86400000);
    const Apparent a = apparent(at, delta_t_s(at));
    known = {day, {a.right_ascension_deg, a.declination_deg, a.distance_au, a.equinoxes_deg, a.equation_of_time_min}};
  }
  return known.node;
}

Position Ephemeris::position(Utc at, const Place& place, const Air& air) {
  const std::int64_t day = day_of(at);
  if (day != day_) load(day);
  const double t = static_cast<double>(ms_of(at) - day * 86400000) / 86400000.0;
  const double w0 = -t * (t - 1) * (t - 2) / 6, w1 = (t + 1) * (t - 1) * (t - 2) / 2, w2 = -(t + 1) * t * (t - 2) / 2,
               w3 = (t + 1) * t * (t - 1) / 6;
  const auto mix = [&](double Node::*f) {
    return w0 * nodes_[0].*f + w1 * nodes_[1].*f + w2 * nodes_[2].*f + w3 * nodes_[3].*f;
  };
  return seen_from({mix(&Node::right_ascension_deg), mix(&Node::declination_deg), mix(&Node::distance_au),
                    mix(&Node::equinoxes_deg), mix(&Node::equation_of_time_min)},
                   at, place, air);
}

Day day_events(Utc local_midnight, Span length, const Place& place) {
  Ephemeris ephemeris;
  const Air none{0, 10};
  const Place ground{place.latitude_deg, place.longitude_deg, 0};
  const auto sun = [&](Utc at) { return ephemeris.position(at, ground, none); };
  // The transit nearest to the middle of the local day.
  Utc transit = local_midnight + length / 2;
  for (int i = 0; i < 4; ++i) {
    const double minutes_off = 4.0 * sun(transit).hour_angle_deg * (i == 0 ? 1.0 : 0.9973);
    transit -= Span{std::llround(minutes_off * 60000.0)};
  }
  Day day;
  day.transit = transit;
  day.transit_elevation_deg = sun(transit).elevation_deg;

  const auto height = [&](Utc at) { return sun(at).elevation_deg - event_elevation_deg; };
  // Walks from the transit to 12 h beside it and narrows the first change of sign found.
  const auto crossing = [&](int direction) -> std::optional<Utc> {
    constexpr Span step = minutes{10};
    Utc near = transit;
    double near_height = height(near);
    for (int i = 1; i <= 72; ++i) {
      const Utc far = transit + direction * i * step;
      const double far_height = height(far);
      if ((near_height >= 0) != (far_height >= 0)) {
        Utc a = near, b = far;
        while (a - b > Span{1} || b - a > Span{1}) {
          const Utc middle = a + (b - a) / 2;
          ((height(middle) >= 0) == (near_height >= 0) ? a : b) = middle;
        }
        return a;
      }
      near = far;
      near_height = far_height;
    }
    return std::nullopt;
  };
  const bool up = height(transit) >= 0;
  if (up) {
    day.sunrise = crossing(-1);
    day.sunset = crossing(+1);
  }
  if (!up) day.kind = DayKind::sun_never_rises;
  else if (!day.sunrise && !day.sunset) day.kind = DayKind::sun_never_sets;
  return day;
}

Direction direction(double elevation_deg, double azimuth_deg) {
  const double c = cos_deg(elevation_deg);
  return {c * sin_deg(azimuth_deg), c * cos_deg(azimuth_deg), sin_deg(elevation_deg)};
}

}  // namespace fw::sun
