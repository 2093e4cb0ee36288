#pragma once
// The room that looks ahead: keeps what has been learned of sky, loads and bank, makes a new plan every
// quarter of an hour or when something jumped, and turns it into advice, facts and plain sentences.
#include <deque>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bank/thermal.h"
#include "outlook/load_model.h"
#include "outlook/plan.h"
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

/// A piece of advice as it stands.
struct Advice {
  std::string text;
  std::optional<double> gain_kwh;
  std::optional<Utc> best_from, best_to;
  std::string sort;                   ///< advice of another sort is news, the same sort only when its figures moved
};

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
  std::vector<Fact> facts(Now now) const;

  /// What clearing is worth, for the end of a snow message. "" without snow.
  std::string clearing_sentence(Now now) const;
  /// False: nothing to decide, the journal is enough.
  bool clearing_worth_saying() const;

  /// Up to three plain lines: bank and self-reliance; energy today; clearing or what is to spare.
  std::vector<std::string> summary_lines(Now now) const;

  /// Until the reserve is reached; none: unknown or not within a month.
  std::optional<double> hours_left() const;
  /// What cold cells cost of today's sun; "" for next to nothing.
  std::string held_off_sentence() const;
  const Plan& plan() const { return plan_; }
  bool away() const { return away_; }
  const std::map<std::string, Advice>& advice() const { return advice_; }

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  double low_limit() const;  ///< share of charge below which the bank is called low
  struct StringState {
    snow::Layer layer;
    bool under_snow = false;
    double standing_share = 1;                 ///< what dirt or an outage leaves
    double soiling_loss = 0;
    std::optional<Utc> snow_seen;              ///< last minute with snow on it
    double thick_pass = 1;                     ///< see StringNow
    double minutes_under = 0;                  ///< of light in which it was seen
    std::optional<Utc> dim_at;                 ///< last minute under snow with next to no light coming through
    double cover_before = 0;                   ///< before it came free
    double shown_under_snow = 0;               ///< of the cloudless watts, over the last quarter of an hour under snow
    // after a clearing: what it brought
    std::optional<Utc> cleared_at;
    double brought_kwh = 0;
    snow::Layer would_be;                            ///< the layer had it not been cleared
  };
  struct Promise { Utc due{}; double mid = 0, sigma = 0; };

  void learn(const RigMinute& m, const std::vector<Verdict>& verdicts);
  void follow_strings(const RigMinute& m, const std::vector<Verdict>& verdicts);
  void close_hour(const RigMinute& m);
  void replan(const RigMinute& m, const std::vector<const roof::Calibration*>& calibrations);
  void advise(const RigMinute& m);
  void begin_account(StringState& state, Utc at);
  void end_clearing_account(Utc utc, Elapsed at, bool trusted);
  void put(const std::string& kind, const Advice& advice, const Stamp& when);
  void withdraw(const std::string& kind, const std::string& why, const Stamp& when);
  void withdraw_if_lasting(const std::string& kind, const std::string& why, const Stamp& when);
  std::optional<double> load_of(const RigMinute& m) const;
  LoadModel& loads() { return away_ ? away_loads_ : home_loads_; }
  const LoadModel& loads() const { return away_ ? away_loads_ : home_loads_; }

  const rig::Rig& rig_;
  Words words_;
  WeatherAhead weather_;
  LoadModel home_loads_, away_loads_;            ///< what stands on while nobody is there is learned by itself
  bank::ThermalModel thermal_;
  std::vector<StringState> strings_;
  Forecast forecast_;
  bool has_forecast_ = false;
  Plan plan_;
  std::optional<Utc> planned_at_;
  bool replan_now_ = true;
  bool away_ = false, shore_ = false;

  // the latest
  std::optional<double> soc_, bank_v_, bank_a_, cell_c_, air_c_, cabin_c_, wind_ms_;
  std::optional<Utc> soc_at_, wind_at_, snow_fell_at_;
  bool charging_allowed_ = true, heavy_before_ = false, snowing_ = false;
  double latitude_deg_ = 0, longitude_deg_ = 0;
  std::optional<double> heading_deg_, pitch_deg_, roll_deg_;
  double full_draw_w_ = 0;                       ///< learned: taken beyond the loads while full

  // the hour under way
  std::optional<Utc> hour_;
  double hour_light_w_ = 0, hour_clear_w_ = 0, noon_clear_w_ = 1, air_sum_ = 0;
  int air_count_ = 0;

  // balance between what was counted and what the bank says
  std::optional<Utc> balance_from_;
  double balance_soc_ = 0, balance_wh_ = 0, unexplained_w_ = 0, heater_w_ = 0;
  bool heater_on_ = false;
  std::deque<Promise> promises_;
  double missed2_ = 0, missed_weight_ = 0;

  mutable bool low_standing_ = false;
  bool ahead_standing_ = false, cabin_standing_ = false;
  std::map<std::string, Advice> advice_;
  std::map<std::string, Elapsed> gone_since_;    ///< advice that the last plans no longer give
  std::optional<double> promised_kwh_;           ///< what clearing was said to be worth when it was done
  std::string brought_;                          ///< what the last clearing brought, told until the next noon
  std::optional<Utc> brought_until_;
  std::vector<Effect> effects_;
};

}  // namespace fw::outlook
