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
#include <optional>
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
  double seen = 0;      ///< near the best of those days, over what the string makes in the open; 0: no day
  bool known = false;   ///< two days agree here or on both sides, or the one day here agrees with a side where two do
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

  /// One minute fit to learn from. local_day: any running count of local days. sky must be cloudless
  /// (sky.now equal to sky.clear); paper_expected: expected() of the paper string under it, unlimited.
  /// weight 0..1: share of a minute. Left out: expected power under 3 % of the rating, measured power
  /// not finite or negative, more than twice what is expected.
  /// may_be_covered 0..1: chance, by the weather alone, that snow lies on the glass unseen. What such days show
  /// lowers the scale only as far as a rating may be off.
  void learn(std::int32_t local_day, const sky::State& sky, const Expected& paper_expected, double measured_w,
             double weight = 1, double may_be_covered = 0);

  /// Most that a day gave with the sun here (measured over paper), whatever the sky, when there was sun before and after:
  /// days on which it is always little, and alike, tell of an obstacle that no calm minute showed.
  void keep_best(std::int32_t day, const sky::State& sky, const Expected& paper, double ratio);

  /// Works out scale, plane, haze and shade anew from what is gathered; learn() does so by itself
  /// after every 15 minutes learned (30 when settled).
  void refit();

  double scale() const { return scale_; }               ///< of the paper watts, 0.6..1.3
  const sky::Plane& plane() const { return corrected_.sheet().plane; }
  double haze() const { return haze_; }                 ///< light lost per unit of air mass beyond 2 (ln), -0.06..0.06
  double hours() const;                                 ///< clear hours gathered, all days
  int days() const { return static_cast<int>(day_scales_.size()); }
  /// Relative standard error of an unshaded clear-sky figure: 0.15 at the start, down to 0.02.
  double uncertainty() const;
  /// Enough clear hours (about three) to call a deviation a fault.
  bool settled() const { return uncertainty() < 0.06; }

  const StringModel& paper() const { return paper_; }
  /// The string with its learned scale and plane; haze and shade are not in it.
  const StringModel& corrected() const { return corrected_; }
  /// Power factor of the learned haze at an air mass.
  double haze_factor(double airmass_absolute) const;
  Shade shade(double elevation_deg, double azimuth_deg) const;
  /// The scale of one day (clear moments of that day over what the paper says, plane and haze learned),
  /// and the minutes it rests on: what soiling is read from.
  struct DayScale {
    double minutes = 0;
    double scale = 1;
    double covered = 0;   ///< mean chance that snow lay there unseen
  };
  const std::map<std::int32_t, DayScale>& day_scales() const { return day_scales_; }

  /// The best estimate under sky.now.
  CalibratedPower power(const sky::State& sky, const Weather& weather, double bank_v = 13.3) const;

  /// One or two sentences for people, with what it rests on.
  std::string explanation() const;

  /// Forgets all (a new heading or place, a note); forget_shade() keeps scale, plane and haze and forgets
  /// the sun positions (the rig was moved a little, the tree is gone).
  void reset();
  void forget_shade();
  /// The rig stands otherwise now: keeps the scale, forgets what belonged to the old view of the sky.
  void stand_on(const sky::Plane& plane);

  /// Compact text, versioned, one line; restore() refuses what it cannot read and then leaves the object
  /// as it was.
  std::string snapshot() const;
  Result<void> restore(std::string_view text);

 private:
  struct DayRatio {
    std::int32_t day = 0;
    double minutes = 0;
    double ratio = 0;  ///< measured over paper
  };
  struct DayBest {
    std::int32_t day = 0;
    double ratio = 0;
  };
  /// A patch of sky, 3 deg of azimuth by 2 deg of elevation.
  struct Patch {
    double minutes = 0, elevation_deg = 0, azimuth_deg = 0, airmass = 0, beam_share = 0;  ///< means
    std::vector<DayRatio> days;  ///< oldest first
    std::vector<DayBest> best;   ///< see keep_best(); oldest first
    double shade_total = 1;      ///< near the best of the days
    int shade_days = 0;
    bool shade_agreed = false;
  };
  struct Fit;
  /// A patch as the fit uses it.
  struct Seen {
    sun::Direction sun;
    double beam_over_cos = 0, rest = 0, airmass_over_2 = 0;
  };
  Seen seen(const Patch& patch) const;
  const Patch* patch_at(double elevation_deg, double azimuth_deg) const;
  double predicted(const Patch& patch, const Fit& fit) const;
  double predicted(const Seen& seen, const Fit& fit) const;
  void fit_plane_and_haze();
  void fit_scale();
  void fit_shade();
  void apply();

  StringModel paper_;
  StringModel corrected_;
  std::map<int, Patch> patches_;
  std::map<std::int32_t, DayScale> day_scales_;
  double scale_ = 1;
  double lean_east_ = 0, lean_north_ = 0;  ///< added to the plane's normal
  double haze_ = 0;
  std::int32_t scale_day_ = 0;             ///< day of the last change of the scale
  double unfitted_minutes_ = 0;
};

}  // namespace fw::roof
