#pragma once
// Where the sun stands for an observer. Source of every formula unless said otherwise: Reda &
// Andreas, NREL/TP-560-34302 (2008).
#include <array>
#include <cstdint>
#include <optional>

#include "sun/spa.h"
#include "units/time.h"

namespace fw::sun {

struct Place {
  double latitude_deg = 0;   ///< -90..90, north positive
  double longitude_deg = 0;  ///< -180..180, east positive
  double altitude_m = 0;     ///< -430..9000, above sea level
};

/// The air the light is bent in.
struct Air {
  double pressure_pa = 101325;  ///< at the place, not reduced to sea level; 0 gives no refraction
  double temperature_c = 10;    ///< -60..60
};

/// Topocentric position.
struct Position {
  double elevation_deg = 0;           ///< true, without air, -90..90
  double apparent_elevation_deg = 0;  ///< with refraction; equals the true one below -0.8333 deg
  double azimuth_deg = 0;             ///< 0..360, clockwise from north
  double declination_deg = 0;         ///< topocentric
  double hour_angle_deg = 0;          ///< topocentric, -180..180, afternoon positive
  double distance_au = 1;
  double equation_of_time_min = 0;
  double apparent_zenith_deg() const { return 90.0 - apparent_elevation_deg; }
};

/// Full algorithm, every term, each call.
Position position(Utc at, const Place& place, const Air& air);
Position position(Utc at, const Place& place, const Air& air, double delta_t);

/// Bending of light by the air in degrees for a true elevation; 0 below -0.8333 deg.
double refraction_deg(double elevation_deg, const Air& air);

/// The same sun, faster: the geocentric position is computed at 0 h of four days and interpolated
/// by a cubic in between (within 1e-6 deg of position(), held by a test over 200 years). One object per
/// thread; the cache never changes a result.
class Ephemeris {
 public:
  Position position(Utc at, const Place& place, const Air& air);

 private:
  struct Node {
    double right_ascension_deg, declination_deg, distance_au, equinoxes_deg, equation_of_time_min;
  };
  struct Known {
    std::int64_t day = INT64_MIN;
    Node node{};
  };
  void load(std::int64_t day);
  const Node& at_midnight(std::int64_t day);
  std::int64_t day_ = INT64_MIN;
  std::array<Node, 4> nodes_{};
  std::array<Known, 16> known_{};   ///< by day, modulo: a week ahead again and again
};

/// The sun on one local day.
enum class DayKind { normal, sun_never_rises, sun_never_sets };
struct Day {
  DayKind kind = DayKind::normal;
  Utc transit{};               ///< highest sun (upper culmination) of the local day
  double transit_elevation_deg = 0;  ///< true elevation then
  std::optional<Utc> sunrise;  ///< the crossing before the transit; none on a polar day or night
  std::optional<Utc> sunset;   ///< the crossing after the transit
};

/// Sunrise, transit and sunset of the local day that begins at `local_midnight` and lasts `length`
/// (23, 24 or 25 h). Solved by root finding on the topocentric elevation, so western longitudes get
/// the evening that belongs to their day. An event is the upper limb on a sea-level horizon: true
/// elevation -0.8333 deg (34' refraction, 16' radius). Good to a second except where the sun
/// grazes the horizon.
Day day_events(Utc local_midnight, Span length, const Place& place);

/// Elevation and azimuth as a unit vector: x east, y north, z up.
struct Direction {
  double east = 0, north = 0, up = 1;
};
Direction direction(double elevation_deg, double azimuth_deg);

}  // namespace fw::sun
