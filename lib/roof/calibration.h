#pragma once
// What a string has shown it can make, learned from clear moments and held against what the sheet says.
//
// The caller (diagnosis) decides which minutes are fit to learn from: cloudless, uncovered, not
// curtailed, sun over some degrees. Here they are gathered by sun position and by day; from that come
// a scale, a small change of the plane and of the haze, and a map of fixed shade. Faults only ever take
// power away and may last a week, so what counts as normal at a position is near the best of the
// recent days there, and the scale comes down far slower than it goes up.
//
// Usage:
//   Calibration c(paper);                       // the string as described
//   c.learn(day, sky, expected(paper, sky, weather), measured_w);
//   StringModel real = c.corrected();           // use this for judging ...
//   c.shade(elevation, azimuth).beam            // ... and this for fixed shade
//   CalibratedPower p = c.power(sky, weather);  // or all of it at once
#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "roof/expected.h"
#include "units/result.h"

namespace fw::roof {

/// Fixed shade at a sun position.
struct Shade {
  double beam = 1;      ///< share of the beam that arrives, 0..1
  double diffuse = 1;   ///< diffuse behind the obstacle over the model's, 0.3..6
  double total = 1;     ///< cloudless power over that without shade
  int days = 0;         ///< days that have seen this position
  bool known = false;   ///< two days at least agree, here or beside
};

struct CalibratedPower {
  Expected open;        ///< corrected string without its learned shade
  double power_w = 0;   ///< best estimate with learned shade, no controller limit
  double limited_w = 0; ///< within the controller's limits
  Shade shade;
};

class Calibration {
 public:
  explicit Calibration(StringModel paper);

  /// One minute fit to learn from. local_day: any count of local days (the day changes at night).
  /// sky must be cloudless (sky.now == sky.clear); paper_expected: expected() of the paper string.
  /// weight 0..1. Ignored when expected power is under 3 % of the rating, measured is not finite
  /// or negative, or the ratio lies outside 0..2.
  void learn(std::int32_t local_day, const sky::State& sky, const Expected& paper_expected, double measured_w,
             double weight = 1);

  /// Works out scale, plane, haze and shade anew from what is gathered; learn() does so by itself
  /// every 15 minutes learned. Cheap enough for once a minute (well under a millisecond).
  void refit();

  double scale() const { return scale_; }                 ///< of the paper watts, 0.6..1.3
  const sky::Plane& plane() const { return plane_; }      ///< corrected
  double haze() const { return haze_; }                   ///< ln of light lost per unit of air mass over 2, -0.06..0.06
  double hours() const;                                   ///< clear hours gathered (weighted), all days
  int days() const;
  /// How far to trust an unshaded clear-sky figure: relative standard error, 0.15 at the start, down to 0.02.
  double uncertainty() const;
  /// Enough clear hours to call a deviation a fault.
  bool settled() const { return uncertainty() < 0.06; }

  const StringModel& paper() const { return paper_; }
  const StringModel& corrected() const { return corrected_; }
  Shade shade(double elevation_deg, double azimuth_deg) const;

  /// The best estimate under sky.now.
  CalibratedPower power(const sky::State& sky, const Weather& weather, double bank_v = 13.3) const;

  /// One sentence for people: 'Makes 94 % of its rating, ... '.
  std::string explanation() const;

  /// Forget all (a new heading or place, a note); forget_shade() keeps the scale (the rig was moved).
  void reset();
  void forget_shade();

  /// Compact text, versioned, without blanks at the ends; restore() refuses what it cannot read and
  /// leaves the object as it was.
  std::string snapshot() const;
  Result<void> restore(std::string_view text);

 private:
  struct DaySum {
    std::int32_t day = 0;
    double weight = 0;  ///< minutes
    double ratio = 0, ratio_beam_share = 0;
  };
  struct Cell;
  StringModel paper_;
  StringModel corrected_;
  double scale_ = 1;
  sky::Plane plane_;
  double haze_ = 0;
};

}  // namespace fw::roof
