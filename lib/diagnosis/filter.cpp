#include "diagnosis/filter.h"

#include <algorithm>
#include <cmath>

namespace fw::diagnosis {

namespace {

/// Consecutive minutes repeat each other: a minute's evidence counts for this share of a fresh look.
constexpr double level_weight = 0.22;
constexpr double motion_weight = 0.18;
constexpr double held_back_start = 1.0 / 400, held_back_end = 1.0 / 60;
constexpr double least = 1e-7;

template <class V>
void normalise(V& v, double floor = 0) {
  double sum = 0;
  for (double& x : v) {
    x = std::max(x, floor);
    sum += x;
  }
  if (sum > 0)
    for (double& x : v) x /= sum;
}

double odds_to(double p, double odds) {
  const double o = p / (1 - p) * std::exp(odds);
  return std::clamp(o / (1 + o), 1e-5, 1 - 1e-5);
}

}  // namespace

Filter::Filter(const std::vector<StringStates>& states, std::vector<double> hold_snow)
    : states_(states), hold_snow_(std::move(hold_snow)), work_(states.size()) {
  forget();
}

void Filter::forget() {
  state_ = {};
  state_.regime = regime_prior(-1);
  for (std::size_t i = 0; i < states_.size(); ++i) {
    StringBelief b;
    Belief clean(static_cast<std::size_t>(states_[i].size()), 1e-4);
    for (int j = states_[i].snow_from; j < states_[i].snow_to; ++j) clean[static_cast<std::size_t>(j)] = 0;
    clean[0] = 1;
    normalise(clean);
    b.given[0] = clean;
    b.given[1] = snowed_on(states_[i], clean, hold_snow_[i]);
    state_.strings.push_back(std::move(b));
  }
  state_.snow_spell = 0.1;
}

Belief Filter::belief(int string) const {
  const StringBelief& s = state_.strings[static_cast<std::size_t>(string)];
  Belief b(s.given[0].size());
  for (std::size_t i = 0; i < b.size(); ++i) b[i] = (1 - state_.snow_spell) * s.given[0][i] + state_.snow_spell * s.given[1][i];
  return b;
}

void Filter::cleared(int string) {
  for (std::size_t i = 0; i < state_.strings.size(); ++i)
    if (string < 0 || static_cast<std::size_t>(string) == i)
      diagnosis::cleared(states_[i], state_.strings[i].given[1]);
}

void Filter::pass(const SiteLook& site, double minutes_of_sun) {
  // the sky drifts back to what is usual, or forecast
  const auto prior = regime_prior(site.forecast_cloud);
  auto next = prior;
  double leaving = 0;
  for (std::size_t i = 0; i < regime_count; ++i) {
    const double leave = state_.regime[i] / regime_rows[i].dwell_min;
    leaving += leave;
    next[i] = state_.regime[i] - leave;
  }
  for (std::size_t i = 0; i < regime_count; ++i) state_.regime[i] = next[i] + leaving * prior[i];

  Passing now;
  now.sun_elevation_deg = site.sun_elevation_deg;
  now.air_c = site.air_c;
  now.snowing = site.snowing;
  now.minutes_of_sun = minutes_of_sun;
  now.cloudless = state_.regime[0];

  double covered_none = 1;
  for (std::size_t i = 0; i < states_.size(); ++i) {
    double snow = 0;
    for (int j = states_[i].snow_from; j < states_[i].snow_to; ++j) snow += state_.strings[i].given[1][static_cast<std::size_t>(j)];
    covered_none *= 1 - snow;
  }
  const double onset = snow_onset_per_minute(now, site.has_forecast, site.forecast_snow);
  const double over = spell_end_per_minute * covered_none;
  const double p1 = state_.snow_spell, in = (1 - p1) * onset, out = p1 * over;
  for (std::size_t i = 0; i < states_.size(); ++i) {
    StringBelief& s = state_.strings[i];
    now.hold_snow = hold_snow_[i];
    now.snowing = site.snowing;
    pass_minute(states_[i], now, s.given[1], scratch_);
    now.snowing = 0;
    pass_minute(states_[i], now, s.given[0], scratch_);
    const Belief arriving = snowed_on(states_[i], s.given[0], hold_snow_[i]);
    const double keep1 = p1 - out;
    for (std::size_t j = 0; j < s.given[1].size(); ++j) {
      const double bare = states_[i][static_cast<int>(j)].kind == Kind::snow ? 0 : s.given[1][j];
      s.given[0][j] = (s.given[0][j] * (1 - p1 - in) + bare * out) ;
      s.given[1][j] = s.given[1][j] * keep1 + arriving[j] * in;
    }
    normalise(s.given[0]);
    normalise(s.given[1]);
    s.held_back += (1 - s.held_back) * held_back_start - s.held_back * held_back_end;
  }
  state_.snow_spell = std::clamp(p1 + in - out, 1e-4, 1 - 1e-4);
}

void Filter::see(const SiteLook& site, const std::vector<StringLook>& looks, const SkyShares& sky, const Motion& motion,
                 const std::vector<double>& hints) {
  const auto& density = share_density();
  const std::size_t n = looks.size();

  std::array<double, share_count> outside;
  for (int k = 0; k < share_count; ++k)
    outside[static_cast<std::size_t>(k)] = site.irradiance_share ? irradiance_likelihood(*site.irradiance_share, k) : 1;

  // likelihood of each string's minute by node and row, and summed over rows
  std::vector<double> held(n);
  for (std::size_t i = 0; i < n; ++i) {
    held[i] = odds_to(state_.strings[i].held_back, hints[i] );
    Work& w = work_[i];
    for (auto& s : w.sum) s.fill(1);
    for (auto& s : w.sum_held) s.fill(0);
    if (!looks[i].usable) continue;
    const StringStates& states = states_[i];
    w.track.resize(static_cast<std::size_t>(states.size()) * share_count);
    w.held.resize(w.track.size());
    for (auto& s : w.sum) s.fill(0);
    const double v_held = held[i] * held_back_voltage_likelihood(looks[i]);
    for (int h = 0; h < states.size(); ++h) {
      const StringState& row = states[h];
      const double v_track = (1 - held[i]) * voltage_likelihood(looks[i], row, states.half >= 0);
      const double near = std::sqrt(looks[i].sigma * looks[i].sigma + row.width * row.width / 3);
      const double far = std::sqrt(near * near + looks[i].plane_sigma * looks[i].plane_sigma + 0.04 * 0.04);
      double* track = &w.track[static_cast<std::size_t>(h) * share_count];
      double* back = &w.held[static_cast<std::size_t>(h) * share_count];
      for (int k = 0; k < share_count; ++k) {
        const double p = predicted_w(looks[i], sky, k, row);
        track[k] = v_track * power_likelihood(looks[i], p, k == cloudless_node ? near : far);
        back[k] = v_held * held_back_likelihood(looks[i], p);
      }
      for (std::size_t g = 0; g < 2; ++g) {
        const double b = state_.strings[i].given[g][static_cast<std::size_t>(h)];
        if (b <= 0) continue;
        for (std::size_t k = 0; k < share_count; ++k) {
          w.sum[g][k] += b * (track[k] + back[k]);
          w.sum_held[g][k] += b * back[k];
        }
      }
    }
  }

  // regime, spell and share
  std::array<double, regime_count> motion_l;
  motion_l.fill(1);
  if (motion.known)
    for (int s = 0; s < regime_count; ++s) motion_l[static_cast<std::size_t>(s)] = std::pow(motion_likelihood(motion, static_cast<Regime>(s)), motion_weight);
  std::array<std::array<double, share_count>, 2> all;
  for (std::size_t g = 0; g < 2; ++g)
    for (std::size_t k = 0; k < share_count; ++k) {
      double p = outside[k];
      for (std::size_t i = 0; i < n; ++i) p *= work_[i].sum[g][k];
      all[g][k] = p;
    }
  std::array<std::array<double, 2>, regime_count> joint{};  // after this minute, tempered
  std::array<std::array<double, 2>, regime_count> prior{};
  double total = 0;
  shares_.fill(0);
  for (std::size_t s = 0; s < regime_count; ++s)
    for (std::size_t g = 0; g < 2; ++g) {
      prior[s][g] = state_.regime[s] * motion_l[s] * (g ? state_.snow_spell : 1 - state_.snow_spell);
      double l = 0;
      for (std::size_t k = 0; k < share_count; ++k) l += density[s][k] * all[g][k];
      joint[s][g] = prior[s][g] * std::pow(l + 1e-300, level_weight);
      total += joint[s][g];
    }
  for (std::size_t s = 0; s < regime_count; ++s)
    for (std::size_t g = 0; g < 2; ++g)
      for (std::size_t k = 0; k < share_count; ++k) shares_[k] += joint[s][g] / total * density[s][k] * all[g][k];
  normalise(shares_);

  // each string: rows given spell, and held back or not
  std::vector<StringBelief> after = state_.strings;
  for (std::size_t i = 0; i < n; ++i) {
    if (!looks[i].usable) continue;
    Work& w = work_[i];
    StringBelief& b = after[i];
    double held_sum = 0, track_sum = 0;
    for (std::size_t g = 0; g < 2; ++g) {
      std::array<std::array<double, share_count>, regime_count> weight;
      for (std::size_t s = 0; s < regime_count; ++s)
        for (std::size_t k = 0; k < share_count; ++k) {
          double others = outside[k];
          for (std::size_t j = 0; j < n; ++j)
            if (j != i) others *= work_[j].sum[g][k];
          weight[s][k] = density[s][k] * others;
          held_sum += joint[s][g] * weight[s][k] * w.sum_held[g][k];
          track_sum += joint[s][g] * weight[s][k] * (w.sum[g][k] - w.sum_held[g][k]);
        }
      for (int h = 0; h < states_[i].size(); ++h) {
        double& p = b.given[g][static_cast<std::size_t>(h)];
        if (p <= 0) continue;
        const double* track = &w.track[static_cast<std::size_t>(h) * share_count];
        const double* back = &w.held[static_cast<std::size_t>(h) * share_count];
        double sum = 0;
        for (std::size_t s = 0; s < regime_count; ++s) {
          double l = 0;
          for (std::size_t k = 0; k < share_count; ++k) l += weight[s][k] * (track[k] + back[k]);
          sum += prior[s][g] * std::pow(l + 1e-300, level_weight);
        }
        p *= sum;
      }
      normalise(b.given[g]);
    }
    if (held_sum + track_sum > 0) {
      const double p = held_sum / (held_sum + track_sum);
      // the direct look is strong, yet one minute may not flip it
      b.held_back = std::clamp(0.6 * state_.strings[i].held_back + 0.4 * p, 1e-4, 1 - 1e-4);
    }
  }
  state_.strings = std::move(after);
  double spell = 0;
  for (std::size_t s = 0; s < regime_count; ++s) {
    state_.regime[s] = (joint[s][0] + joint[s][1]) / total;
    spell += joint[s][1] / total;
  }
  normalise(state_.regime, least);
  state_.snow_spell = std::clamp(spell, 1e-4, 1 - 1e-4);
}

}  // namespace fw::diagnosis
