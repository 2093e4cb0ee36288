#pragma once
// The sums of the coming three days: a pure function from what is known to what will be.
#include <optional>
#include <string>
#include <vector>

#include "outlook/attitude_gain.h"
#include "outlook/bank_ahead.h"
#include "outlook/cleaning.h"
#include "outlook/clearing.h"
#include "outlook/roof_ahead.h"
#include "words/words.h"

namespace fw::outlook {

inline constexpr int plan_hours = 72;

struct LoadHour { double watts = 0, error_w = 0; };

struct PlanInput {
  Utc now{};
  std::vector<StringNow> strings;            ///< as in Rig::strings
  std::vector<bool> under_snow;              ///< strings that clearing would help
  bool snow_seen = false;                    ///< false: only a forecast laid it there
  bool away = false;                         ///< nobody will clear it: under snow on all strings the loads alone decide
  std::vector<WeatherHour> weather;          ///< from the hour that holds now
  bool forecast_used = false;
  Span forecast_age{};
  std::vector<LoadHour> loads;               ///< per hour, as weather
  std::vector<double> cells_c;               ///< per hour at its middle; empty: unknown
  std::vector<double> cell_sigma_k;          ///< standard error of these; empty: none
  std::optional<BankNow> bank;               ///< none: state of charge unknown
  sky::Site site;
  bool snowing_now = false;
  bool advised = false;                      ///< clearing is the standing advice
  bool reserve_told = false;                 ///< that the reserve is in sight is the standing word
  std::optional<double> wind_ms;             ///< now
  std::vector<double> soiling_loss;          ///< per string
  std::optional<roof::Attitude> attitude;    ///< as the rig stands; none: attitude is not asked for
};

struct PlanHour {
  Utc from{};
  std::vector<double> as_is_w, cleared_w;    ///< per string, mean over the hour (the first from now on)
  double wanted_w = 0, served_w = 0;         ///< loads: by habit, and what of them a bank running low still feeds
  double soc_low = 0, soc_mid = 0, soc_high = 0;   ///< at its end; 80 % lie between low and high
  double accepted_w = 0, curtailed_w = 0, held_off_w = 0;
  bool chargeable = true;
  double air_c = 0, clear_share = 1, snow_cm = 0;
};

/// Energy that will find no taker on one local day.
struct Surplus {
  double kwh = 0;
  Utc from{}, to{};
};

struct Plan {
  Utc at{};
  bool soc_known = false;
  bool forecast_used = false;
  Span forecast_age{};
  std::vector<PlanHour> hours;               ///< plan_hours rows
  double today_made_kwh = 0;                 ///< from now to local midnight, as it is and as the bank takes it
  double today_held_off_kwh = 0;
  std::optional<Utc> held_off_from;          ///< when the hours begin that hold most of it
  double tomorrow_made_kwh = 0, tomorrow_held_off_kwh = 0;
  std::optional<Utc> reserve_at, reserve_early, reserve_late;  ///< middle and 80 % range; none: not reached
  bool reserve_beyond = false;               ///< reserve_at lies beyond the plan's hours (the last day repeated)
  double lowest_soc = 1;                     ///< on the middle path
  Utc lowest_at{};
  std::optional<Utc> departure_at;
  std::optional<Utc> reserve_perhaps, departure_perhaps;  ///< on the path that one in four is poorer than; only when reserve_told
  bool rises = false;                        ///< within half a day to clearly more than what is kept for leaving
  double reserve_probability = 0;            ///< that it is reached within the plan's hours
  std::optional<double> saving_w;            ///< this much less from now on would carry the bank past `saving_until`
  std::optional<Utc> saving_until;
  bool saving_to_sun = false;                ///< what comes then charges the bank; else it is only light to see by
  std::optional<Utc> full_at;                ///< bank full, today or tomorrow
  std::optional<Surplus> surplus_today, surplus_tomorrow;
  Clearing clearing;
  bool snow_seen = false;                    ///< false: only a forecast laid it there
  Cleaning cleaning;
  std::optional<AttitudeGain> attitude;
};

Plan make_plan(const rig::Rig& rig, const Words& words, const PlanInput& in);

}  // namespace fw::outlook
