#include "diagnosis/filter.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "diagnosis/exp_ln.h"

namespace fw::diagnosis {

namespace {

constexpr int independent_strings = 3;   ///< more of them repeat each other, and the model's faults with them
/// Consecutive minutes repeat each other: a minute's evidence counts for a share of a fresh look, a quarter
/// for levels (as two square roots) and a fifth for motion. strings: that the likelihood is a product of.
double level_weighted(double likelihood, int strings = 1) {
  if (strings > independent_strings) return std::pow(likelihood + 1e-280, 0.25 * independent_strings / strings);
  return std::sqrt(std::sqrt(likelihood + 1e-280));
}
constexpr double motion_weight = 0.20;
/// Light and rows are believed in apart, though a dark sky over clean glass and a brighter one over snow tell the same
/// power: while the light goes on as it was, what divides covers by less than this (ln) is no news, for it comes of
/// believing apart, and counts for little.
constexpr double apart = 3, apart_weight = 1.0 / 25;
constexpr double held_back_start = 1.0 / 400, held_back_end = 1.0 / 60;
constexpr double least = 1e-8;      ///< no explanation is ever forgotten
constexpr double forgotten = 2e-6;  ///< but below this it is not worked on
constexpr double negligible = 1e-13, negligible_part = 1e-7;   ///< of an explanation, of what mixes into it
constexpr double least_worked_on = 1e-7;   ///< of a row

template <class V>
void normalise(V& v) {
  double sum = 0;
  for (const double x : v) sum += x;
  if (sum > 0)
    for (double& x : v) x /= sum;
}

double odds_to(double p, double odds) {
  const double o = p / (1 - p) * std::exp(odds);
  return std::clamp(o / (1 + o), 1e-5, 1 - 1e-5);
}

/// Nodes at which a regime has any density.
struct Support { int from = 0, to = 0; };
std::array<Support, regime_count> supports() {
  std::array<Support, regime_count> out;
  const auto& density = share_density();
  for (std::size_t s = 0; s < regime_count; ++s) {
    int from = share_count, to = 0;
    for (int k = 0; k < share_count; ++k)
      if (density[s][static_cast<std::size_t>(k)] > 1e-6) {
        from = std::min(from, k);
        to = k + 1;
      }
    out[s] = {from, to};
  }
  return out;
}

double cloudless_in(std::size_t s) {
  const auto regime = static_cast<Regime>(s);
  return regime == Regime::cloudless || regime == Regime::behind ? 1.0 : regime == Regime::broken ? 0.4 : 0.1;
}

/// So that every lane sums to 1; one that holds nothing stays.
FW_WIDE void normalise_lanes(int rows, int quads, Quad* b) {
  for (int q = 0; q < quads; ++q) {
    Quad sum{};
    for (int h = 0; h < rows; ++h) sum += b[h * quads + q];
    for (int lane = 0; lane < 4; ++lane)
      if (!(sum[lane] > 0)) sum[lane] = 1;
    for (int h = 0; h < rows; ++h) b[h * quads + q] /= sum;
  }
}

using Lanes = std::array<Quad, GivenBelief::quads>;

bool any(const Lanes& parts) {
  for (const Quad& q : parts)
    for (int lane = 0; lane < 4; ++lane)
      if (q[lane] > 0) return true;
  return false;
}

FW_WIDE void add_parts(int rows, const Lanes& parts, const Quad* own, Quad* sum) {
  for (int h = 0; h < rows; ++h)
    for (int q = 0; q < GivenBelief::quads; ++q) sum[h * GivenBelief::quads + q] += parts[static_cast<std::size_t>(q)] * own[h * GivenBelief::quads + q];
}

FW_WIDE void take_parts(int rows, const Lanes& parts, const Quad* own, Quad* sum) {
  for (int h = 0; h < rows; ++h)
    for (int q = 0; q < GivenBelief::quads; ++q) sum[h * GivenBelief::quads + q] = parts[static_cast<std::size_t>(q)] * own[h * GivenBelief::quads + q];
}

/// shares: by regime it comes from, in each the lanes it goes to.
FW_WIDE void mix_regimes(int rows, const std::array<Lanes, regime_count>& shares, const Quad* own, Quad* mixed) {
  constexpr int quads = GivenBelief::quads;
  for (int h = 0; h < rows; ++h)
    for (int q = 0; q < quads; ++q) {
      Quad sum{};
      for (int from = 0; from < regime_count; ++from) sum += shares[static_cast<std::size_t>(from)][static_cast<std::size_t>(q)] * own[h * quads + from / 4][from % 4];
      mixed[h * quads + q] = sum;
    }
}

constexpr int node_quads = quads_of(share_count);
constexpr int most_rows = 64;

/// Runs f with the count as a constant, so that what is kept for each cover stays in registers.
template <class F>
FW_INLINE void with_covers(std::size_t count, F&& f) {
  switch (count) {
    case 1: f(std::integral_constant<std::size_t, 1>{}); break;
    case 2: f(std::integral_constant<std::size_t, 2>{}); break;
    case 3: f(std::integral_constant<std::size_t, 3>{}); break;
    case 4: f(std::integral_constant<std::size_t, 4>{}); break;
    case 5: f(std::integral_constant<std::size_t, 5>{}); break;
    case 6: f(std::integral_constant<std::size_t, 6>{}); break;
    case 7: f(std::integral_constant<std::size_t, 7>{}); break;
    case 8: f(std::integral_constant<std::size_t, 8>{}); break;
    case 9: f(std::integral_constant<std::size_t, 9>{}); break;
    default: break;
  }
}

using Covers = std::vector<std::size_t>;

/// Rows that some cover under a regime believes in, and how much each does.
struct Believed {
  int rows = 0;
  std::array<int, most_rows> row;
  std::array<std::array<double, cover_count>, most_rows> b;
};

/// Likelihoods by row and node into sums over rows by node, for some covers under one regime.
FW_WIDE void sum_rows(const Believed& believed, const Support& nodes, const Quad* by_row, const Quad* held_by_row, const Covers& covers,
                      std::array<std::array<Quad, node_quads>, cover_count>& sum, std::array<std::array<Quad, node_quads>, cover_count>& sum_held) {
  with_covers(covers.size(), [&](auto n) __attribute__((always_inline)) {
    for (int q = nodes.from / 4; q < quads_of(nodes.to); ++q) {
      Quad all[n], held[n];
      for (int r = 0; r < believed.rows; ++r) {
        const auto at = static_cast<std::size_t>(r);
        const Quad here = by_row[believed.row[at] * node_quads + q], back = held_by_row[believed.row[at] * node_quads + q];
        for (std::size_t c = 0; c < n; ++c) {
          const double p = believed.b[at][c];
          all[c] += p * here;
          held[c] += p * back;
        }
      }
      for (std::size_t c = 0; c < n; ++c) {
        sum[covers[c]][static_cast<std::size_t>(q)] = all[c];
        sum_held[covers[c]][static_cast<std::size_t>(q)] = held[c];
      }
    }
  });
}

using Nodes = std::array<Quad, node_quads>;

/// A clean string in the light of every node: its power, and what that is made of.
struct CleanAt {
  std::array<Light<Quad>, node_quads> light;
  Nodes watts, ln;
};

FW_WIDE void in_clean_light(const StringLook& look, const SkyShares& sky, CleanAt& clean) {
  for (int k = 0; k < share_count; ++k) {
    const Light<double> l = light_at(look, sky, k);
    clean.light[static_cast<std::size_t>(k / 4)].beam_w[k % 4] = l.beam_w;
    clean.light[static_cast<std::size_t>(k / 4)].rest_w[k % 4] = l.rest_w;
  }
  for (std::size_t q = 0; q < node_quads; ++q) {
    clean.watts[q] = predicted_w(look, clean.light[q], StringState{});
    clean.ln[q] = ln_of(more_of(clean.watts[q], Quad(1e-6)));
  }
}

/// Power in a row's state at every node, and ln of the measured over it: of a row that stands before the beam, and of
/// one that dims all light alike, whose prediction is the clean one times a share.
FW_WIDE void predict_shade(const StringLook& look, const StringState& row, double measured_ln, const CleanAt& clean, Nodes& watts, Nodes& deviation) {
  for (std::size_t q = 0; q < node_quads; ++q) watts[q] = predicted_w(look, clean.light[q], row);
  for (std::size_t q = 0; q < node_quads; ++q) deviation[q] = Quad(measured_ln) - ln_of(more_of(watts[q], Quad(1e-6)));
}
FW_WIDE void predict_even(const StringLook& look, double pass, double pass_ln, double measured_ln, const CleanAt& clean, Nodes& watts, Nodes& deviation) {
  const Quad gain(look.dim_gain), full(std::max(1.0, look.clear_w)), limit(look.limit_w);
  for (std::size_t q = 0; q < node_quads; ++q) {
    const Quad w = clean.watts[q];
    const Quad dim = gain * (w - w * pass) / full;
    watts[q] = less_of(w * pass * (Quad(1.0) + dim), limit);
    deviation[q] = Quad(measured_ln) - (clean.ln[q] + pass_ln + dim);
  }
}

/// Likelihoods of a row by node: tracked and held back together, and held back alone.
FW_WIDE void join(double track, double back, const Nodes& tracked, const Nodes& held_back, Quad* all, Quad* held) {
  for (std::size_t q = 0; q < node_quads; ++q) {
    held[q] = Quad(back) * held_back[q];
    all[q] = Quad(track) * tracked[q] + held[q];
  }
}

/// What is there by row and node, by node and row. Rows fill up to whole quads.
FW_WIDE void turn(int rows, const Support& nodes, const Quad* by_row, Quad* by_node) {
  const int row_quads = quads_of(rows);
  for (int r = 0; r < row_quads; ++r)
    for (int q = nodes.from / 4; q < quads_of(nodes.to); ++q) {
      const auto row = [&](int i) __attribute__((always_inline)) { return by_row[(r * 4 + i) * node_quads + q].v; };
      const Quad::Numbers a = row(0), b = row(1), c = row(2), d = row(3);
      const Quad::Numbers ab0 = __builtin_shufflevector(a, b, 0, 4, 2, 6), ab1 = __builtin_shufflevector(a, b, 1, 5, 3, 7);
      const Quad::Numbers cd0 = __builtin_shufflevector(c, d, 0, 4, 2, 6), cd1 = __builtin_shufflevector(c, d, 1, 5, 3, 7);
      Quad* const out = by_node + q * 4 * row_quads + r;
      out[0 * row_quads] = Quad(__builtin_shufflevector(ab0, cd0, 0, 1, 4, 5));
      out[1 * row_quads] = Quad(__builtin_shufflevector(ab1, cd1, 0, 1, 4, 5));
      out[2 * row_quads] = Quad(__builtin_shufflevector(ab0, cd0, 2, 3, 6, 7));
      out[3 * row_quads] = Quad(__builtin_shufflevector(ab1, cd1, 2, 3, 6, 7));
    }
}

using Shares = std::array<double, share_count>;

/// A share of the light goes on as it was, drifting; the rest comes from another sky and knows nothing of it.
FW_WIDE void drift_light(const Support& nodes, double same, double drift, const Shares& fresh, Shares& light) {
  std::array<double, share_count + 2> before{};
  std::copy(light.begin(), light.end(), before.begin() + 1);
  light.fill(0);
  for (int i = nodes.from; i < nodes.to; ++i) {
    const auto k = static_cast<std::size_t>(i);
    const double moved = same * ((1 - 2 * drift) * before[k + 1] + drift * (before[k] + before[k + 2])) + (1 - same) * fresh[k];
    light[k] = fresh[k] > 1e-6 ? moved : 0;
  }
}

FW_WIDE void product(const Support& nodes, const Shares& a, const double* b, Shares& out) {
  for (int k = nodes.from; k < nodes.to; ++k) out[static_cast<std::size_t>(k)] = a[static_cast<std::size_t>(k)] * b[k];
}
FW_WIDE void multiply(const Support& nodes, Shares& by, const double* b) {
  for (int k = nodes.from; k < nodes.to; ++k) by[static_cast<std::size_t>(k)] *= b[k];
}

/// What all but one string say of the light, by node, for some covers under one regime.
struct Explained {
  Covers covers;
  std::array<std::array<double, cover_count>, share_count> at;
};

/// A string's belief after its minute, under one regime.
FW_WIDE void take_evidence(int rows, const int* row, const Quad* by_node, const Support& nodes, const Explained& weight, std::size_t regime, GivenBelief& given) {
  const int row_quads = quads_of(rows);
  std::array<std::array<Quad, most_rows / 4>, cover_count> likelihood;
  with_covers(weight.covers.size(), [&](auto n) __attribute__((always_inline)) {
    for (int q = 0; q < row_quads; ++q) {
      Quad sum[n];
      for (int k = nodes.from; k < nodes.to; ++k) {
        const Quad here = by_node[k * row_quads + q];
        for (std::size_t c = 0; c < n; ++c) sum[c] += weight.at[static_cast<std::size_t>(k)][c] * here;
      }
      for (std::size_t c = 0; c < n; ++c) likelihood[c][static_cast<std::size_t>(q)] = sum[c];
    }
  });
  for (std::size_t c = 0; c < weight.covers.size(); ++c) {
    double* const b = &given.at(regime, weight.covers[c], 0);
    constexpr int stride = GivenBelief::stride;
    for (int r = 0; r < rows; ++r)
      if (b[row[r] * stride] >= least_worked_on) b[row[r] * stride] *= level_weighted(numbers(likelihood[c].data())[r]);
    double total = 0;
    for (int h = 0; h < given.rows(); ++h) total += b[h * stride];
    if (total > 0)
      for (int h = 0; h < given.rows(); ++h) b[h * stride] /= total;
  }
}

template <class F>
void each_joint(F&& f) {
  for (std::size_t s = 0; s < regime_count; ++s)
    for (std::size_t g = 0; g < cover_count; ++g) f(s, g);
}

}  // namespace

double FilterState::regime(Regime r) const {
  double p = 0;
  for (const double v : sky[static_cast<std::size_t>(r)]) p += v;
  return p;
}

double FilterState::spell() const {
  double bare = 0;
  for (const auto& row : sky) bare += row[0];
  return 1 - bare;
}

Belief GivenBelief::of(std::size_t regime, std::size_t cover) const {
  Belief b(static_cast<std::size_t>(rows_));
  for (int h = 0; h < rows_; ++h) b[static_cast<std::size_t>(h)] = at(regime, cover, h);
  return b;
}

void GivenBelief::set(std::size_t regime, std::size_t cover, const Belief& belief) {
  for (int h = 0; h < rows_; ++h) at(regime, cover, h) = belief[static_cast<std::size_t>(h)];
}

Filter::Filter(const std::vector<StringStates>& states, std::vector<double> hold_snow)
    : states_(states), hold_snow_(std::move(hold_snow)), work_(states.size()) {
  forget();
}

void Filter::forget() {
  forget_beliefs();
  mixed_.clear();
  for (const StringStates& s : states_) mixed_.emplace_back(s.size());
  constexpr double spell = 0.1;
  state_ = {};
  const auto regime = regime_prior(-1, 0.3);
  each_joint([&](std::size_t s, std::size_t g) {
    state_.sky[s][g] = regime[s] * (g ? spell * cover_left[g] : 1 - spell) + least;
    state_.light[s][g] = share_density()[s];
  });
  for (std::size_t i = 0; i < states_.size(); ++i) {
    StringBelief b;
    Belief clean(static_cast<std::size_t>(states_[i].size()), 1e-4);
    for (int j = states_[i].snow_from; j < states_[i].snow_to; ++j) clean[static_cast<std::size_t>(j)] = 0;
    clean[0] = 1;
    normalise(clean);
    b.given = GivenBelief(states_[i].size());
    for (std::size_t s = 0; s < regime_count; ++s) b.given.set(s, 0, clean);
    for (std::size_t g = 1; g < cover_count; ++g)
      snowed_on(states_[i], hold_snow_[i], static_cast<Cover>(g), GivenBelief::quads, b.given.block(0), b.given.block(g));
    state_.strings.push_back(std::move(b));
  }
}

const Belief& Filter::belief(int string) const {
  Belief& out = beliefs_[static_cast<std::size_t>(string)];
  if (!out.empty()) return out;
  const StringBelief& b = state_.strings[static_cast<std::size_t>(string)];
  out.assign(static_cast<std::size_t>(b.given.rows()), 0.0);
  each_joint([&](std::size_t s, std::size_t g) {
    const double p = state_.sky[s][g];
    const double* given = &b.given.at(s, g, 0);
    for (std::size_t h = 0; h < out.size(); ++h) out[h] += p * given[h * GivenBelief::stride];
  });
  return out;
}

void Filter::cleared(int string) {
  forget_beliefs();
  for (std::size_t i = 0; i < state_.strings.size(); ++i)
    if (string < 0 || static_cast<std::size_t>(string) == i)
      each_joint([&](std::size_t s, std::size_t g) {
        if (!g) return;
        Belief b = state_.strings[i].given.of(s, g);
        diagnosis::cleared(states_[i], b);
        state_.strings[i].given.set(s, g, b);
      });
}

/// Each string by itself, under each explanation that counts. Those to which the same happens go together.
void Filter::pass_strings(const SiteLook& site, const std::vector<double>& seen, double minutes_of_sun, double step_min, Joint<double>& bare) {
  Passing now;
  now.sun_elevation_deg = site.sun_elevation_deg;
  now.air_c = site.air_c;
  now.brightest = site.brightest;
  now.minutes_of_sun = minutes_of_sun;
  now.minutes = step_min;
  std::vector<std::pair<std::size_t, std::size_t>> alike;
  for (std::size_t i = 0; i < states_.size(); ++i) {
    const int rows = states_[i].size();
    StringBelief& string = state_.strings[i];
    now.hold_snow = hold_snow_[i];
    now.seen = seen[i];
    now.shade_min = string.shade_min;
    if (site.sun_elevation_deg < 0) string.shade_min = 0;
    for (const double cloudless : {1.0, 0.4, 0.1})
      for (const bool spell : {false, true}) {
        alike.clear();
        each_joint([&](std::size_t s, std::size_t g) {
          if (cloudless_in(s) == cloudless && (g > 0) == spell && state_.sky[s][g] >= forgotten) alike.emplace_back(s, g);
        });
        if (alike.empty()) continue;
        now.cloudless = cloudless;
        now.snowing = spell && cloudless < 0.5 ? site.snowing : 0;
        now.fall_cm_h = spell && cloudless < 0.5 ? site.fall_cm_h : 0;
        now.spell = spell;
        const int quads = quads_of(static_cast<int>(alike.size()));
        before_.assign(static_cast<std::size_t>(rows * quads), Quad{});
        after_.resize(before_.size());
        for (std::size_t n = 0; n < alike.size(); ++n) {
          const double* const own = &string.given.at(alike[n].first, alike[n].second, 0);
          double* const lane = numbers(before_.data()) + n;
          for (int h = 0; h < rows; ++h) lane[h * quads * 4] = own[h * GivenBelief::stride];
        }
        pass_minute(states_[i], now, quads, before_.data(), after_.data());
        for (std::size_t n = 0; n < alike.size(); ++n) {
          double* const own = &string.given.at(alike[n].first, alike[n].second, 0);
          const double* const lane = numbers(after_.data()) + n;
          for (int h = 0; h < rows; ++h) own[h * GivenBelief::stride] = lane[h * quads * 4];
        }
      }
    for (std::size_t g = 0; g < cover_count; ++g) keep_within(states_[i], static_cast<Cover>(g), GivenBelief::quads, string.given.block(g));
    each_joint([&](std::size_t s, std::size_t g) {
      if (state_.sky[s][g] < forgotten) return;
      double snow = 0;
      for (int h = states_[i].snow_from; h < states_[i].snow_to; ++h) snow += string.given.at(s, g, h);
      bare[s][g] *= 1 - std::min(snow, 1.0);
    });
    double& held = string.held_back;
    held += step_min * ((1 - held) * held_back_start - held * held_back_end);
  }
}

/// Covers: a snowfall begins, melts, grows; a spell ends with nothing covered.
void Filter::pass_covers(const SiteLook& site, double step_min, const Joint<double>& bare) {
  constexpr int quads = GivenBelief::quads;
  std::array<std::array<Lanes, cover_count>, cover_count> part{};   // [to][from], by regime
  std::array<Lanes, cover_count> kept{};                            // 1 where a belief stays as it is
  Passing now;
  now.sun_elevation_deg = site.sun_elevation_deg;
  now.air_c = site.air_c;
  Joint<double> covered = state_.sky;
  const auto left = cover_left_by(site.fallen_cm);
  for (std::size_t s = 0; s < regime_count; ++s) {
    now.cloudless = cloudless_in(s) >= 1 ? 1 : 0;
    now.snowing = now.cloudless < 0.5 ? site.snowing : 0;
    now.fall_cm_h = now.cloudless < 0.5 ? site.fall_cm_h : 0;
    const double onset = snow_onset_per_minute(now, site);
    std::array<std::array<double, cover_count>, cover_count> turn{};
    for (std::size_t from = 0; from < cover_count; ++from) {
      double leaves = 0;
      for (std::size_t to = 0; to < cover_count; ++to) {
        if (from == to) continue;
        const double rate = from == 0 ? onset * left[to] * could_fall(static_cast<Cover>(to), site.since_bright_min)
                            : to == 0 ? spell_end_per_minute * bare[s][from]
                                      : cover_turns(static_cast<Cover>(from), static_cast<Cover>(to), now);
        turn[from][to] = state_.sky[s][from] * std::min(1.0 / cover_count, rate * step_min);
        leaves += turn[from][to];
      }
      turn[from][from] = std::max(0.0, state_.sky[s][from] - leaves);
    }
    for (std::size_t to = 0; to < cover_count; ++to) {
      double total = 0;
      for (std::size_t from = 0; from < cover_count; ++from) total += turn[from][to];
      covered[s][to] = total;
      const auto quad = s / 4, lane = s % 4;
      if (total < negligible) kept[to][quad][static_cast<int>(lane)] = 1;
      else
        for (std::size_t from = 0; from < cover_count; ++from)
          if (turn[from][to] / total >= negligible_part) part[to][from][quad][static_cast<int>(lane)] = turn[from][to] / total;
    }
  }
  state_.sky = covered;

  for (std::size_t i = 0; i < states_.size(); ++i) {
    const StringStates& states = states_[i];
    const auto size = static_cast<std::size_t>(states.size() * quads);
    before_.resize(size);
    for (std::size_t to = 0; to < cover_count; ++to) {
      Quad* const mixed = mixed_[i].block(to);
      bool first = true;
      for (std::size_t from = 0; from < cover_count; ++from) {
        if (!any(part[to][from])) continue;
        const Quad* own = state_.strings[i].given.block(from);
        if (from != to) {
          if (from == 0) snowed_on(states, hold_snow_[i], static_cast<Cover>(to), quads, own, before_.data());
          else std::copy_n(own, size, before_.data());
          keep_within(states, static_cast<Cover>(to), quads, before_.data());
          own = before_.data();
        }
        if (std::exchange(first, false)) take_parts(states.size(), part[to][from], own, mixed);
        else add_parts(states.size(), part[to][from], own, mixed);
      }
      if (first) std::fill_n(mixed, size, Quad{});
      normalise_lanes(states.size(), quads, mixed);
      if (any(kept[to])) add_parts(states.size(), kept[to], state_.strings[i].given.block(to), mixed);
    }
    std::swap(state_.strings[i].given, mixed_[i]);
  }
}

void Filter::pass(const SiteLook& site, const std::vector<double>& seen, double minutes_of_sun, double step_min) {
  forget_beliefs();
  Joint<double> bare{};   // chance that no string is covered
  for (auto& row : bare) row.fill(1);
  pass_strings(site, seen, minutes_of_sun, step_min, bare);
  pass_covers(site, step_min, bare);
  pass_sky(site, step_min);
}

/// The sky drifts back to what is usual, or forecast.
void Filter::pass_sky(const SiteLook& site, double step_min) {
  static const auto support = supports();
  constexpr int quads = GivenBelief::quads;
  const auto prior = regime_prior(site.forecast_cloud, site.hidden), foreseen = regime_prior(site.forecast_cloud, 0);
  std::array<double, regime_count> leave;
  for (std::size_t from = 0; from < regime_count; ++from) {
    // what is not forecast is left sooner; what no forecast speaks of, as usual
    const double unforeseen = foreseen[from] > 0 ? std::clamp(regime_rows[from].typical / foreseen[from], 1.0, 4.0) : 1;
    leave[from] = std::min(0.9, step_min * unforeseen * leave_per_minute(static_cast<Regime>(from), site.hidden_before, site.hidden));
  }
  std::array<std::array<std::array<Quad, quads>, regime_count>, cover_count> shares{};   // [cover][from], by regime
  std::array<std::array<Quad, quads>, cover_count> kept{};
  Joint<double> next{};
  for (std::size_t to = 0; to < regime_count; ++to)
    for (std::size_t g = 0; g < cover_count; ++g) {
      std::array<double, regime_count> part{};
      double total = 0;
      for (std::size_t from = 0; from < regime_count; ++from) {
        part[from] = state_.sky[from][g] * (leave[from] * prior[to] + (from == to ? 1 - leave[from] : 0.0));
        total += part[from];
      }
      next[to][g] = total + least;
      if (total < negligible) {
        kept[g][to / 4][static_cast<int>(to % 4)] = 1;
        continue;
      }
      for (std::size_t from = 0; from < regime_count; ++from)
        if (part[from] / total >= negligible_part) shares[g][from][to / 4][static_cast<int>(to % 4)] = part[from] / total;
      const double same = part[to] / total * (1 - regime_rows[to].jump);
      drift_light(support[to], same, regime_rows[to].drift, share_density()[to], state_.light[to][g]);
      normalise(state_.light[to][g]);
    }
  for (std::size_t i = 0; i < states_.size(); ++i) {
    const int rows = states_[i].size();
    for (std::size_t g = 0; g < cover_count; ++g) {
      mix_regimes(rows, shares[g], state_.strings[i].given.block(g), mixed_[i].block(g));
      normalise_lanes(rows, quads, mixed_[i].block(g));
      if (any(kept[g])) add_parts(rows, kept[g], state_.strings[i].given.block(g), mixed_[i].block(g));
    }
    std::swap(state_.strings[i].given, mixed_[i]);
  }
  double sum = 0;
  each_joint([&](std::size_t s, std::size_t g) { sum += next[s][g]; });
  each_joint([&](std::size_t s, std::size_t g) { state_.sky[s][g] = next[s][g] / sum; });
}

/// Likelihood of a string's minute by node and row, and summed over rows under each explanation. Only rows and nodes
/// that some explanation believes in are worked on.
void Filter::weigh_rows(const StringLook& look, const SkyShares& sky, const StringStates& states, double held, double hidden, const GivenBelief& given, Work& w) const {
  static const auto support = supports();
  std::array<Covers, regime_count> covers;
  Support nodes{share_count, 0};
  for (std::size_t s = 0; s < regime_count; ++s) {
    for (std::size_t g = 0; g < cover_count; ++g)
      if (state_.sky[s][g] >= forgotten) covers[s].push_back(g);
    if (!covers[s].empty()) nodes = {std::min(nodes.from, support[s].from), std::max(nodes.to, support[s].to)};
  }
  w.rows.clear();
  for (int h = 0; h < states.size(); ++h) {
    bool counts = false;
    for (std::size_t s = 0; s < regime_count && !counts; ++s)
      for (const std::size_t g : covers[s]) counts |= given.at(s, g, h) >= least_worked_on;
    if (counts) w.rows.push_back(h);
  }
  const int rows = static_cast<int>(w.rows.size()), row_quads = quads_of(rows);
  w.by_row.resize(static_cast<std::size_t>(row_quads * 4 * node_quads));
  w.held_by_row.resize(w.by_row.size());
  w.by_node.resize(static_cast<std::size_t>(node_quads * 4 * row_quads));

  const double measured_ln = std::log(std::max(look.measured_w, 0.01));
  CleanAt clean;
  in_clean_light(look, sky, clean);
  const auto from = static_cast<std::size_t>(nodes.from / 4);
  const int quads = quads_of(nodes.to) - nodes.from / 4;
  const double near = look.sigma;
  const double far = std::sqrt(near * near + look.plane_sigma * look.plane_sigma + 0.04 * 0.04);
  // Behind what is known to stand there the strings' parts have been so for hours; elsewhere it counts against it.
  const double known = std::clamp((hidden - 0.5) / 0.4, 0.0, 1.0);
  const double behind_sq = look.plane_sigma * look.plane_sigma + 0.08 * 0.08;   // each sees another part of the sky
  const double bias_behind = look.bias > 0 ? std::max(look.bias, 0.08 + 1.6 * look.plane_sigma) : 0;  // which does not change from minute to minute
  Nodes sigma, lasting, bias, watts, deviation, tracked{}, held_back{};
  const Nodes no_bias{};
  Nodes half_bias;
  for (int k = 0; k < share_count; ++k) {
    numbers(sigma.data())[k] = k == cloudless_node ? near : k < under_sky ? far : std::sqrt(near * near + (1 - known) * behind_sq);
    numbers(lasting.data())[k] = k < under_sky ? look.lean_sigma * look.lean_sigma : known * behind_sq;
    numbers(bias.data())[k] = k < under_sky ? look.bias : bias_behind;
    numbers(half_bias.data())[k] = look.half_bias;
  }
  for (int r = 0; r < rows; ++r) {
    const StringState& row = states[w.rows[static_cast<std::size_t>(r)]];
    const double v_track = (1 - held) * voltage_likelihood(look, row, states.half_to > states.half_from);
    // a row of shade is wide in the beam only
    const double beam_w = row.kind == Kind::shade ? look.beam_w * std::max(row.pass, 0.05) : 1;
    const double width = row.kind == Kind::shade ? row.width * beam_w / std::max(1.0, beam_w + look.diffuse_w) : row.width;
    const double v_held = held * held_back_voltage_likelihood(look, row);
    if (row.kind == Kind::shade) predict_shade(look, row, measured_ln, clean, watts, deviation);
    else predict_even(look, row.pass, row.pass > 0 ? std::log(row.pass) : 0, measured_ln, clean, watts, deviation);
    const Nodes& stands = row.kind == Kind::clean ? bias : row.kind == Kind::half ? half_bias : no_bias;
    power_likelihoods(look, quads, &watts[from], &deviation[from], &sigma[from], &lasting[from], width, &stands[from], &tracked[from]);
    held_back_likelihoods(look, quads, &watts[from], &deviation[from], &held_back[from]);
    Quad* const all = &w.by_row[static_cast<std::size_t>(r * node_quads)];
    join(v_track, v_held, tracked, held_back, all, &w.held_by_row[static_cast<std::size_t>(r * node_quads)]);
  }
  turn(rows, nodes, w.by_row.data(), w.by_node.data());

  for (std::size_t s = 0; s < regime_count; ++s) {
    if (covers[s].empty()) continue;
    Believed believed;
    std::array<const double*, cover_count> own{};
    for (std::size_t c = 0; c < covers[s].size(); ++c) own[c] = &given.at(s, covers[s][c], 0);
    for (int r = 0; r < rows; ++r) {
      auto& b = believed.b[static_cast<std::size_t>(believed.rows)];
      const int at = w.rows[static_cast<std::size_t>(r)] * GivenBelief::stride;
      bool any_does = false;
      for (std::size_t c = 0; c < covers[s].size(); ++c) {
        const double v = own[c][at];
        b[c] = v < least_worked_on ? 0 : v;
        any_does |= b[c] > 0;
      }
      if (any_does) believed.row[static_cast<std::size_t>(believed.rows++)] = r;
    }
    sum_rows(believed, support[s], w.by_row.data(), w.held_by_row.data(), covers[s], w.sum[s], w.sum_held[s]);
  }
}

void Filter::see(const SiteLook& site, const std::vector<StringLook>& looks, const SkyShares& sky, const Motion& motion,
                 const std::vector<double>& hints) {
  forget_beliefs();
  static const auto support = supports();
  const auto& density = state_.light;
  const auto before = state_.sky;
  const std::size_t n = looks.size();

  const double sensor_sd = irradiance_sd(motion);
  std::array<Shares, cover_count> outside;
  for (std::size_t g = 0; g < cover_count; ++g) {
    outside[g].fill(1);
    if (site.irradiance_share) outside[g] = state_.sensor[g].says(*site.irradiance_share, sky, sensor_sd, g > 0);
  }

  const int usable = static_cast<int>(std::count_if(looks.begin(), looks.end(), [](const StringLook& l) { return l.usable; }));

  for (std::size_t i = 0; i < n; ++i)
    if (looks[i].usable) weigh_rows(looks[i], sky, states_[i], odds_to(state_.strings[i].held_back, hints[i]), site.hidden, state_.strings[i].given, work_[i]);

  Joint<double> joint{};
  double total = 0;
  shares_.fill(0);
  Joint<std::array<double, share_count>> all;
  Joint<bool> seen_light{};
  Joint<double> level{};
  each_joint([&](std::size_t s, std::size_t g) {
    if (state_.sky[s][g] < forgotten) return;
    double l = 0;
    Shares& here = all[s][g];
    product(support[s], density[s][g], outside[g].data(), here);
    for (std::size_t i = 0; i < n; ++i)
      if (looks[i].usable) multiply(support[s], here, work_[i].sum_over(s, g));
    for (int k = support[s].from; k < support[s].to; ++k) l += here[static_cast<std::size_t>(k)];
    level[s][g] = l;
    // within an explanation, where the light is now
    if (l > 0)
      for (int k = support[s].from; k < support[s].to; ++k) all[s][g][static_cast<std::size_t>(k)] /= l;
    seen_light[s][g] = l > 0;
  });
  // a string that makes nothing where a cloud would leave it something is news
  const bool all_carry = std::all_of(looks.begin(), looks.end(), [](const StringLook& l) { return !l.usable || l.carries(); });
  for (std::size_t s = 0; s < regime_count; ++s) {
    const double m = motion.known ? std::pow(motion_likelihood(motion, static_cast<Regime>(s)), motion_weight) : 1;
    const bool goes_on = all_carry && regime_rows[s].jump > 0 && regime_rows[s].jump < 1 && static_cast<Regime>(s) != Regime::behind;
    const double best = *std::max_element(level[s].begin(), level[s].end());
    for (std::size_t g = 0; g < cover_count; ++g) {
      if (state_.sky[s][g] < forgotten) continue;
      const double lags = goes_on && level[s][g] > 0 ? std::min(apart, std::log(best / level[s][g])) : 0;
      const double weighted = level_weighted(level[s][g] * std::exp(lags), usable) * std::exp(-apart_weight * lags);
      joint[s][g] = state_.sky[s][g] * m * weighted;
      total += joint[s][g];
    }
  }
  each_joint([&](std::size_t s, std::size_t g) {
    joint[s][g] /= total;
    if (state_.sky[s][g] < forgotten) return;
    for (int k = support[s].from; k < support[s].to; ++k)
      shares_[static_cast<std::size_t>(k)] += joint[s][g] * all[s][g][static_cast<std::size_t>(k)];
  });
  normalise(shares_);
  if (site.irradiance_share)
    for (std::size_t g = 0; g < cover_count; ++g) {
      Shares light{};
      for (std::size_t s = 0; s < regime_count; ++s)
        if (state_.sky[s][g] >= forgotten && seen_light[s][g])
          for (int k = support[s].from; k < support[s].to; ++k) light[static_cast<std::size_t>(k)] += joint[s][g] * all[s][g][static_cast<std::size_t>(k)];
      state_.sensor[g].learn(*site.irradiance_share, sky, sensor_sd, light);
    }

  for (std::size_t i = 0; i < n; ++i) {
    if (!looks[i].usable) continue;
    const Work& w = work_[i];
    StringBelief& string = state_.strings[i];
    double held_sum = 0, seen_sum = 0;
    Explained weight;
    for (std::size_t s = 0; s < regime_count; ++s) {
      weight.covers.clear();
      for (std::size_t g = 0; g < cover_count; ++g) {
        if (before[s][g] < forgotten) continue;
        double here = 0, here_held = 0;
        const double *const sum = w.sum_over(s, g), *const sum_held = w.sum_held_over(s, g);
        Shares others;
        product(support[s], density[s][g], outside[g].data(), others);
        for (std::size_t j = 0; j < n; ++j)
          if (j != i && looks[j].usable) multiply(support[s], others, work_[j].sum_over(s, g));
        for (int k = support[s].from; k < support[s].to; ++k) {
          const auto at = static_cast<std::size_t>(k);
          weight.at[at][weight.covers.size()] = others[at];
          here += others[at] * sum[at];
          here_held += others[at] * sum_held[at];
        }
        if (here > 0) {
          held_sum += joint[s][g] * here_held / here;
          seen_sum += joint[s][g];
        }
        weight.covers.push_back(g);
      }
      if (!weight.covers.empty())
        take_evidence(static_cast<int>(w.rows.size()), w.rows.data(), w.by_node.data(), support[s], weight, s, string.given);
    }
    double shade = 0;
    each_joint([&](std::size_t s, std::size_t g) {
      for (int h = states_[i].shade_from; h < states_[i].shade_to; ++h) shade += joint[s][g] * string.given.at(s, g, h);
    });
    if (shade > 0.5) string.shade_min += 1;
    // the direct look is strong, yet one minute may not flip it
    if (seen_sum > 0)
      string.held_back = std::clamp(0.6 * string.held_back + 0.4 * held_sum / seen_sum, 1e-4, 1 - 1e-4);
  }
  each_joint([&](std::size_t s, std::size_t g) {
    if (!seen_light[s][g]) return;
    for (int k = support[s].from; k < support[s].to; ++k) state_.light[s][g][static_cast<std::size_t>(k)] = all[s][g][static_cast<std::size_t>(k)];
  });
  state_.sky = joint;
  for (auto& row : state_.sky)
    for (double& p : row) p = (p + least) / (1 + cover_count * regime_count * least);
}

}  // namespace fw::diagnosis
