#pragma once
// The coupled filter: one sky, one snowfall, any number of strings. A minute's evidence of all strings is
// joined exactly through the share of clear-sky light they have in common; between minutes the belief is
// kept per string and per answer to 'has snow fallen on us', which keeps the cost linear in strings.
#include <array>
#include <vector>

#include "diagnosis/evidence.h"
#include "diagnosis/sky_regime.h"
#include "diagnosis/string_state.h"
#include "diagnosis/transitions.h"

namespace fw::diagnosis {

struct StringBelief {
  std::array<Belief, 2> given{};   ///< by spell: 0 no snow has fallen lately, 1 it has
  double held_back = 0.02;         ///< output held back
};

struct FilterState {
  std::array<double, regime_count> regime{};
  double snow_spell = 0.03;
  std::vector<StringBelief> strings;
};

class Filter {
 public:
  explicit Filter(const std::vector<StringStates>& states, std::vector<double> hold_snow);

  /// Lets a minute pass without looking.
  void pass(const SiteLook& site, double minutes_of_sun);

  /// Takes a minute's evidence. hints: odds that each string is held back.
  void see(const SiteLook& site, const std::vector<StringLook>& looks, const SkyShares& sky, const Motion& motion,
           const std::vector<double>& hints);

  const FilterState& state() const { return state_; }
  FilterState& state() { return state_; }
  void cleared(int string);
  void forget();

  /// Belief per row of a string, over both spells.
  Belief belief(int string) const;
  /// Belief about the share of clear-sky light in the last minute seen.
  const std::array<double, share_count>& shares() const { return shares_; }
  double cloudless() const { return state_.regime[0]; }

 private:
  const std::vector<StringStates>& states_;
  std::vector<double> hold_snow_;
  FilterState state_;
  std::array<double, share_count> shares_{};
  // scratch, kept to avoid allocation
  Belief scratch_;
  struct Work {
    std::vector<double> track, held;               ///< [row * share_count + node]
    std::array<std::array<double, share_count>, 2> sum{}, sum_held{};
  };
  std::vector<Work> work_;
};

}  // namespace fw::diagnosis
