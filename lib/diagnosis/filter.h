#pragma once
// The coupled filter: one sky, one snowfall, any number of strings. Kept between minutes are the joint
// belief about the sky's regime and about what a snowfall left on us, and for each of their combinations the
// belief about the share of clear-sky light and about every string, so that a dark sky over thin snow and a
// bright sky over thick snow stay two whole explanations. Within a minute the strings are joined through the
// share of light they have in common; since minutes repeat each other, and strings beyond three too, what they
// say together counts for less than it would if all were news. The work grows with the strings, but for a small
// part that grows with their square.
#include <array>
#include <vector>

#include "diagnosis/evidence.h"
#include "diagnosis/light_sensor.h"
#include "diagnosis/sky_regime.h"
#include "diagnosis/string_state.h"
#include "diagnosis/transitions.h"

namespace fw::diagnosis {

/// One thing for each regime and cover.
template <class T>
using Joint = std::array<std::array<T, cover_count>, regime_count>;

/// Belief per row under each explanation. The regimes lie side by side, row by row and cover by cover, so that they
/// are worked on together; the lanes beyond them stay zero.
class GivenBelief {
 public:
  static constexpr int quads = quads_of(regime_count);
  static constexpr int stride = quads * 4;   ///< from row to row

  GivenBelief() = default;
  explicit GivenBelief(int rows) : rows_(rows), v_(static_cast<std::size_t>(cover_count * rows * quads)) {}
  int rows() const { return rows_; }

  double& at(std::size_t regime, std::size_t cover, int row) { return numbers(block(cover) + row * quads)[regime]; }
  const double& at(std::size_t regime, std::size_t cover, int row) const { return numbers(block(cover) + row * quads)[regime]; }
  Belief of(std::size_t regime, std::size_t cover) const;
  void set(std::size_t regime, std::size_t cover, const Belief& belief);

  /// All regimes under a cover: [row * quads + quad].
  Quad* block(std::size_t cover) { return v_.data() + cover * static_cast<std::size_t>(rows_ * quads); }
  const Quad* block(std::size_t cover) const { return v_.data() + cover * static_cast<std::size_t>(rows_ * quads); }

 private:
  int rows_ = 0;
  std::vector<Quad> v_;
};

struct StringBelief {
  GivenBelief given;
  double held_back = 0.02;         ///< chance that output is held back
  double shade_min = 0;            ///< minutes of this day's sun for which shade was the likeliest
};

struct FilterState {
  Joint<double> sky{};             ///< sums to 1
  Joint<std::array<double, share_count>> light{};  ///< belief about the share of light, each sums to 1
  std::vector<StringBelief> strings;
  std::array<LightSensor, cover_count> sensor{};   ///< of light, by what lies on the strings
  double regime(Regime r) const;
  double spell() const;            ///< that snow lies
};

class Filter {
 public:
  explicit Filter(const std::vector<StringStates>& states, std::vector<double> hold_snow);

  /// Lets time pass without looking: one minute, or several in the dark. seen: StringLook::seen of each string.
  void pass(const SiteLook& site, const std::vector<double>& seen, double minutes_of_sun, double step_min = 1);

  /// Takes a minute's evidence. hints: held_back_hint() of each string.
  void see(const SiteLook& site, const std::vector<StringLook>& looks, const SkyShares& sky, const Motion& motion,
           const std::vector<double>& hints);

  const FilterState& state() const { return state_; }
  /// To put back what was kept.
  FilterState& restored() {
    forget_beliefs();
    return state_;
  }
  void cleared(int string);
  void forget();

  /// Belief per row of a string, over all combinations.
  const Belief& belief(int string) const;
  /// Belief about the share of clear-sky light in the last minute seen.
  const std::array<double, share_count>& shares() const { return shares_; }
  double cloudless() const { return state_.regime(Regime::cloudless); }

 private:
  const std::vector<StringStates>& states_;
  std::vector<double> hold_snow_;
  FilterState state_;
  std::array<double, share_count> shares_{};
  mutable std::vector<Belief> beliefs_;   ///< by string, as far as asked for since the last change
  void forget_beliefs() { beliefs_.assign(states_.size(), {}); }
  /// Of one string in the minute looked at: likelihoods by row that counts and node, and by node and row.
  struct Work {
    std::vector<int> rows;
    std::vector<Quad> by_row, held_by_row, by_node;
    Joint<std::array<Quad, quads_of(share_count)>> sum{}, sum_held{};   ///< over rows
    const double* sum_over(std::size_t s, std::size_t g) const { return numbers(sum[s][g].data()); }
    const double* sum_held_over(std::size_t s, std::size_t g) const { return numbers(sum_held[s][g].data()); }
  };
  void pass_covers(const SiteLook& site, double step_min, const Joint<double>& bare);
  void pass_sky(const SiteLook& site, double step_min);
  void pass_strings(const SiteLook& site, const std::vector<double>& seen, double minutes_of_sun, double step_min, Joint<double>& bare);
  void weigh_rows(const StringLook& look, const SkyShares& sky, const StringStates& states, double held, double hidden, const GivenBelief& given, Work& w) const;
  std::vector<Quad> before_, after_;   ///< room to work in
  std::vector<Work> work_;
  std::vector<GivenBelief> mixed_;
};

}  // namespace fw::diagnosis
