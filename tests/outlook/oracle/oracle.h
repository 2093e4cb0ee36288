#pragma once
// What really came, and the choice somebody who knew it would have made. Its own simple sums, fed by the
// truth; nothing of the product is used here. Test only.
#include <optional>
#include <string>
#include <vector>

#include "rig/rig.h"
#include "units/time.h"

namespace fw::oracle {

inline constexpr Span truth_step = minutes{5};

/// Five minutes of truth.
struct StringTruth {
  double clear_w = 0;    ///< cloudless, clean
  double bare_w = 0;     ///< with no snow on it, under the real sky
  double snow_loss = 0;  ///< share the snow takes
  double actual_w = 0;
};
struct StepTruth {
  std::vector<StringTruth> strings;
  double soc = 0, load_w = 0, air_c = 0;
  bool may_charge = true;
  bool curtailed = false;
  bool ice_holds = false;  ///< frost and too little sun so far this day: snow sticks to the glass
};

struct World {
  std::string name;
  Utc start{};
  std::vector<StepTruth> steps;
  double capacity_wh = 0;
  std::vector<std::pair<Utc, Utc>> snowfalls;
  std::vector<std::pair<Utc, int>> cleared;  ///< somebody cleared that string
  Utc at(std::size_t i) const { return start + truth_step * static_cast<std::int64_t>(i); }
  std::size_t index(Utc t) const {
    return t < start ? 0 : static_cast<std::size_t>((t - start) / truth_step);
  }
};

/// Energy the bank and loads really take more, from step `at` until step `end`, when every string with snow
/// on it is cleared at `at`. New snow covers bare glass within 45 minutes.
double gain_kwh(const World& w, std::size_t at, std::size_t end, bool count_bank = true);

/// Fills in ice_holds: until the day's sun has brought 100 Wh/m2 to the plane, unless it is warmer than 1 degC (common
/// practice: a couple of morning hours in winter) or somebody is about to clear it.
void judge_ice(World& w, const rig::Rig& rig);

struct Best { double kwh = 0; std::size_t step = 0; };
/// Best half hour of [from, end) with light; by somebody who waits until the ice lets go, or at once.
Best best_clearing(const World& w, std::size_t from, std::size_t end, bool waits_for_ice);

/// Energy that could have been made and found no taker because the bank was full, [from, end), kWh.
double curtailed_kwh(const World& w, std::size_t from, std::size_t end);

double median(std::vector<double> v);

}  // namespace fw::oracle
