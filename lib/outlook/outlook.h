#pragma once
// The room that looks ahead: keeps what has been learned of sky, loads and bank, makes a new plan every
// quarter of an hour or when something jumped, and turns it into advice, facts and plain sentences.
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bank/thermal.h"
#include "outlook/glass.h"
#include "outlook/hindsight.h"
#include "outlook/load_model.h"
#include "outlook/plan.h"
#include "outlook/standing_advice.h"
#include "outlook/successive_forecasts.h"
#include "outlook/weather_ahead.h"
#include "records/effect.h"
#include "records/fact.h"
#include "records/minute.h"
#include "records/note.h"
#include "records/verdict.h"
#include "rig/rig.h"
#include "roof/calibration.h"
#include "words/words.h"

namespace fw::outlook {

class Outlook {
 public:
  /// Both outlive the room's work with them; words are copied.
  Outlook(const rig::Rig& rig, const Words& words);

  /// One minute of the rig with its verdicts (one a string, in order) and the strings' calibrations (null: data sheet).
  void on_minute(const RigMinute& minute, const std::vector<Verdict>& verdicts,
                 const std::vector<const roof::Calibration*>& calibrations);
  void on_note(const Note& note, Now now);

  /// Advice to store and publish (retained on firnwatt/<rig>/advice/<kind>, emptied when withdrawn).
  std::vector<Effect> take_effects();

  /// bank_low, bank_gone, reserve_ahead, surplus, cabin_cold, subject "rig".
  std::vector<Fact> facts(Now now, const Remembered& remembered = always_remembered) const;

  /// What clearing is worth, for the end of a snow message. "" without snow.
  std::string clearing_sentence(Now now) const;
  /// What washing is worth, for the end of a message on film.
  std::string cleaning_sentence() const;
  /// False: nothing to decide, the journal is enough.
  bool clearing_worth_saying() const;
  /// Its hour is near: what is best done at ten need not be said again at midnight.
  bool clearing_hour_near() const;

  /// Up to three plain lines: bank and self-reliance; energy today; clearing or what is to spare.
  std::vector<std::string> summary_lines() const;
  /// The same beside the word of an alarm, which may have said already how the bank stands and what the sun will give.
  std::vector<std::string> lines_beside(std::string_view alarm) const;

  /// Until the reserve is reached; none: unknown or not within a month.
  std::optional<double> hours_left() const;
  /// What cold cells cost of today's sun; "" for next to nothing.
  std::string held_off_sentence() const;
  const Plan& plan() const { return plan_; }
  bool away() const { return away_; }
  const std::map<std::string, Advice>& advice() const { return advice_.all(); }

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  double low_limit() const;  ///< share of charge below which the bank is called low
  std::optional<double> heavy_hours() const;  ///< until the reserve with a heavy load that is on; none: none is
  bool heavy_soon() const;   ///< within the hours in which it is worth a word
  bool weak_cells() const;   ///< nearly empty by its voltage
  void learn(const RigMinute& m, const std::vector<Verdict>& verdicts);
  void close_hour(const RigMinute& m);
  std::optional<double> promised_kwh() const;
  void book_clearings(const Stamp& when);
  void replan(const RigMinute& m, const std::vector<const roof::Calibration*>& calibrations);
  bool reserve_in_sight() const;
  void advise(const Stamp& when);
  void advise_clearing(const Stamp& when);
  void advise_surplus(const Stamp& when);
  std::optional<double> made_w(const RigMinute& m) const;  ///< behind the controllers; none: a string is not known
  std::optional<double> load_w(const RigMinute& m) const;
  LoadModel& loads() { return away_ ? away_loads_ : home_loads_; }
  const LoadModel& loads() const { return away_ ? away_loads_ : home_loads_; }

  const rig::Rig& rig_;
  Words words_;
  WeatherAhead weather_;
  LoadModel home_loads_, away_loads_;            ///< what stands on while nobody is there is learned by itself
  bank::ThermalModel thermal_;
  Hindsight hindsight_;
  Shortage shortage_;
  Glass glass_;
  StandingAdvice advice_;
  SuccessiveForecasts forecasts_;
  Plan plan_;
  std::optional<Utc> planned_at_;
  bool replan_now_ = true;
  bool away_ = false, shore_ = false;

  // the latest
  std::optional<double> soc_, bank_v_, bank_a_, cell_c_, air_c_, cabin_c_, wind_ms_;
  std::optional<Utc> soc_at_, wind_at_;
  bool charging_allowed_ = true, heavy_before_ = false;
  double latitude_deg_ = 0, longitude_deg_ = 0;
  std::optional<double> heading_deg_, pitch_deg_, roll_deg_;
  double heater_w_ = 0;                          ///< over the last day
  bool heater_on_ = false;

  // the hour under way
  std::optional<Utc> hour_;
  double hour_light_w_ = 0, hour_clear_w_ = 0, noon_clear_w_ = 1, air_sum_ = 0;
  int air_count_ = 0;

  bool low_by_load_ = false;                     ///< the last word about a low bank was of a heavy load
  bool low_standing_ = false, ahead_standing_ = false, cabin_standing_ = false;
  std::string brought_;                          ///< what the last clearing brought, told until the next noon
  std::optional<Utc> brought_until_;
  std::vector<Effect> effects_;
};

}  // namespace fw::outlook
