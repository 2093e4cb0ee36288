#pragma once
// The coupled filter: one sky, one snowfall, any number of strings. Kept between minutes are the joint
// belief about the sky's regime and about what a snowfall left on us, and for each of their combinations the
// belief about every string, so that a dark sky over thin snow and a bright sky over thick snow stay two
// whole explanations. Within a minute the strings are joined exactly through the share of clear-sky light
// they have in common. The cost is linear in strings.
#include <array>
#include <vector>

#include "diagnosis/evidence.h"
#include "diagnosis/sky_regime.h"
#include "diagnosis/string_state.h"
#include "diagnosis/transitions.h"

namespace fw::diagnosis {

/// One thing for each regime and cover.
template <class T>
using Joint = std::array<std::array<T, cover_count>, regime_count>;

struct StringBelief {
  Joint<Belief> given;
  double held_back = 0.02;         ///< output held back
};

struct FilterState {
  Joint<double> sky{};             ///< sums to 1
  Joint<std::array<double, share_count>> light{};  ///< belief about the share of light, each sums to 1
  std::vector<StringBelief> strings;
  double regime(Regime r) const;
  double spell() const;            ///< that snow lies
};

class Filter {
 public:
  explicit Filter(const std::vector<StringStates>& states, std::vector<double> hold_snow);

  /// Lets time pass without looking: one minute, or several in the dark.
  void pass(const SiteLook& site, const std::vector<double>& seen, double minutes_of_sun, double step_min = 1);

  /// Takes a minute's evidence. hints: odds that each string is held back.
  void see(const SiteLook& site, const std::vector<StringLook>& looks, const SkyShares& sky, const Motion& motion,
           const std::vector<double>& hints);

  const FilterState& state() const { return state_; }
  FilterState& state() { return state_; }
  void cleared(int string);
  void forget();

  /// Belief per row of a string, over all combinations.
  Belief belief(int string) const;
  /// Belief about the share of clear-sky light in the last minute seen.
  const std::array<double, share_count>& shares() const { return shares_; }
  double cloudless() const { return state_.regime(Regime::cloudless); }

 private:
  const std::vector<StringStates>& states_;
  std::vector<double> hold_snow_;
  FilterState state_;
  std::array<double, share_count> shares_{};
  Belief scratch_;
  struct Work {
    std::vector<double> track, held;               ///< likelihoods, [row * share_count + node]
    Joint<std::array<double, share_count>> sum{}, sum_held{};
  };
  std::vector<Work> work_;
  std::vector<StringBelief> mixed_;
};

}  // namespace fw::diagnosis
