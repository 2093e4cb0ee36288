#pragma once
// What the diagnosis keeps between minutes.
#include <optional>
#include <string>
#include <vector>

#include "diagnosis/condition.h"
#include "diagnosis/film.h"
#include "diagnosis/diagnosis.h"
#include "diagnosis/filter.h"
#include "diagnosis/look.h"
#include "diagnosis/motion.h"
#include "diagnosis/retrospect.h"
#include "diagnosis/opinion.h"
#include "diagnosis/skyline.h"
#include "diagnosis/stand.h"
#include "diagnosis/volts_bias.h"
#include "roof/calibration.h"
#include "roof/described.h"
#include "roof/expected.h"
#include "sky/state.h"
#include "units/text.h"

namespace fw::diagnosis {

struct StringMemory {
  explicit StringMemory(roof::StringModel paper) : calibration(std::move(paper)) {}
  roof::Calibration calibration;
  Film film;
  double icy_minutes = 0;            ///< of warmth it takes until no ice can be left from the last snow
  Retrospect retrospect;
  Track track;                       ///< of ln(measured / clear behind fixed shade)
  VoltsBias volts_bias;
  bool off_by_owner = false;
  Utc off_since{};
  StringLook look;
  roof::Expected paper_expected;
  Opinion opinion;
  double in_cloud_share = 1;         ///< of clear-sky power, in the minute before, when that was a cloud's; else 1
  bool cloud_just_passed = false;
  Verdict verdict;
  double least_pass = 1;             ///< of the snow that stands on it today
  bool some_snow_left = false;       ///< when its alarm ended
  std::optional<Utc> last_bare;      ///< made then what only bare glass does
  Condition snow, outage, half, shade, controller, over_voltage, stale, soiling, float_low;
  double over_voltage_volts = 0;
  double cold_open_v = 0, cold_air_c = 0;  ///< forecast open-circuit voltage of the coming morning, 0: no worry
  std::optional<Utc> silent_since;
  bool may_switch_on = false;
  bool frozen = false;
  Cause worded_cause = Cause::dark;  ///< for which the evidence was put into words
  int worded_age = 0;
};

struct Diagnosis::State {
  State(const rig::Rig& rig, const Words& words);

  const rig::Rig& rig;
  const Words& words;
  std::vector<StringStates> states;
  Filter filter;
  std::vector<StringMemory> strings;
  sky::Site site;
  Stand stand;
  Skyline skyline;
  double hidden_before = 0.3;        ///< chance, a minute ago, that something stands before the sun
  sun::Ephemeris ephemeris;
  std::optional<Utc> last;           ///< start of the last minute
  std::optional<Utc> snow_was_forecast;   ///< when last there was some within hours
  double fallen_cm = 0;              ///< see SiteLook
  double snow_may_lie = 0.2;         ///< chance by the weather alone: snow forecast, the air, the time since
  double minutes_of_sun = 0, waiting_min = 0;
  double highest_sun_deg = 15;       ///< of the last days
  SiteLook site_look;
  std::optional<Utc> last_bright;    ///< see SiteLook
  sky::State sky;
  SkyShares sky_shares;
  Motion motion;

  /// All strings alike and low under what may be a closed cover, no snow forecast lately, no voltage that speaks: watts alone
  /// cannot tell cloud from snow.
  bool nothing_tells() const;
  /// Half the rows gone looks like half the light: only of a string that is known, under a clear sky or beside another, does it tell.
  bool half_tells(std::size_t string) const;
  std::optional<double> film_of_others(std::size_t string) const;
  void look_at(const RigMinute& m);
  void follow_snow_weather();
  StringLook look_at(const RigMinute& m, int string);
  void learn(const RigMinute& m);
  void judge(const RigMinute& m);
  void judge_on_the_move(const RigMinute& m);
  /// Splits every string's clear-sky power. open_w: what each would make under the sky as believed, nothing in the way.
  void book(const std::vector<double>& open_w, bool bank_cold);
  void follow_stand(const RigMinute& m);
  void conditions(const RigMinute& m);
};

/// The clauses that speak for a verdict.
std::vector<std::string> evidence_words(const Diagnosis::State& state, int string);

}  // namespace fw::diagnosis
