#pragma once
// Clear the snow now, later, or let it be.
#include <optional>
#include <vector>

#include "outlook/bank_ahead.h"
#include "outlook/roof_ahead.h"
#include "rig/rig.h"
#include "words/words.h"

namespace fw::outlook {

enum class Choice {
  no_snow,        ///< nothing to clear
  clear,          ///< worth it today
  wait_snow,      ///< it snows or will soon: after that
  wait_day,       ///< a later day is worth it
  not_needed,     ///< much could be made, but bank and loads could not take it
  too_small,      ///< under the owner's threshold all the days ahead
  unsafe,         ///< wind or cold while it would be worth it
};

/// Energies are what bank and loads would really take, unless they say "possible".
struct Clearing {
  Choice choice = Choice::no_snow;
  double today_kwh = 0;          ///< by clearing in today's best window (or now, when the choice is to wait), until local midnight
  double total_kwh = 0;          ///< the same until the snow would be gone by itself or the plan ends
  double possible_today_kwh = 0; ///< what the strings could make more today, taken or not
  std::optional<Utc> best_from, best_to;
  std::optional<Utc> later_day;  ///< a moment in the better day's window
  double later_kwh = 0;          ///< gain on that day
  bool grey_until = false;       ///< under half of a clear sky's light until that day
  std::optional<Utc> snow_ends;  ///< wait_snow
  double now_kwh = 0;            ///< by clearing at once while it snows, counted only while the glass stays free
  std::vector<int> strings;
  bool lies_now = false;         ///< false: only snow still to fall would be cleared
  bool by_wind = false;          ///< unsafe: wind; else cold
};

struct ClearingInput {
  std::vector<bool> under_snow;
  bool snowing_now = false;
  std::optional<double> wind_now_ms;
  bool advised = false;          ///< it is the standing advice: a tenth less does not turn it over
};

/// bank: none when the state of charge is unknown; then all that could be made counts.
Clearing decide_clearing(const rig::Rig& rig, const Words& words, const RoofAhead& roof, const std::vector<LeftAlone>& left,
                         const std::vector<BankStep>& as_is, const std::optional<BankNow>& bank, const ClearingInput& in);

}  // namespace fw::outlook
