#include "diagnosis/filter.h"

#include <algorithm>
#include <cmath>

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
constexpr double held_back_start = 1.0 / 400, held_back_end = 1.0 / 60;
constexpr double least = 1e-8;      ///< no explanation is ever forgotten
constexpr double forgotten = 1e-6;  ///< but below this it is not worked on

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

Filter::Filter(const std::vector<StringStates>& states, std::vector<double> hold_snow)
    : states_(states), hold_snow_(std::move(hold_snow)), work_(states.size()) {
  forget();
}

void Filter::forget() {
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
    each_joint([&](std::size_t s, std::size_t g) {
      b.given[s][g] = g ? snowed_on(states_[i], clean, hold_snow_[i], static_cast<Cover>(g)) : clean;
    });
    state_.strings.push_back(std::move(b));
  }
}

Belief Filter::belief(int string) const {
  const StringBelief& b = state_.strings[static_cast<std::size_t>(string)];
  Belief out(b.given[0][0].size(), 0.0);
  each_joint([&](std::size_t s, std::size_t g) {
    const double p = state_.sky[s][g];
    for (std::size_t h = 0; h < out.size(); ++h) out[h] += p * b.given[s][g][h];
  });
  return out;
}

void Filter::cleared(int string) {
  for (std::size_t i = 0; i < state_.strings.size(); ++i)
    if (string < 0 || static_cast<std::size_t>(string) == i)
      each_joint([&](std::size_t s, std::size_t g) {
        if (g) diagnosis::cleared(states_[i], state_.strings[i].given[s][g]);
      });
}

void Filter::pass(const SiteLook& site, const std::vector<double>& seen, double minutes_of_sun, double step_min) {
  Passing now;
  now.sun_elevation_deg = site.sun_elevation_deg;
  now.air_c = site.air_c;
  now.minutes_of_sun = minutes_of_sun;
  now.minutes = step_min;
  const auto clear_of = [](std::size_t s) {
    const auto regime = static_cast<Regime>(s);
    return regime == Regime::cloudless || regime == Regime::behind ? 1.0 : regime == Regime::broken ? 0.4 : 0.1;
  };

  // each string by itself, under each explanation
  Joint<double> bare{};   // chance that no string is covered
  for (auto& row : bare) row.fill(1);
  for (std::size_t i = 0; i < states_.size(); ++i) {
    now.hold_snow = hold_snow_[i];
    now.seen = seen[i];
    each_joint([&](std::size_t s, std::size_t g) {
      if (state_.sky[s][g] < forgotten) return;
      now.cloudless = clear_of(s);
      now.snowing = g && now.cloudless < 0.5 ? site.snowing : 0;
      now.spell = g > 0;
      Belief& b = state_.strings[i].given[s][g];
      pass_minute(states_[i], now, b, scratch_);
      keep_within(states_[i], static_cast<Cover>(g), b);
      double snow = 0;
      for (int h = states_[i].snow_from; h < states_[i].snow_to; ++h) snow += b[static_cast<std::size_t>(h)];
      bare[s][g] *= 1 - std::min(snow, 1.0);
    });
    double& held = state_.strings[i].held_back;
    held += step_min * ((1 - held) * held_back_start - held * held_back_end);
  }

  // covers: a snowfall begins, melts, grows; a spell ends with nothing covered
  mixed_ = state_.strings;
  Joint<double> covered = state_.sky;
  for (std::size_t s = 0; s < regime_count; ++s) {
    now.cloudless = clear_of(s) >= 1 ? 1 : 0;
    now.snowing = now.cloudless < 0.5 ? site.snowing : 0;
    const double onset = snow_onset_per_minute(now, site);
    std::array<std::array<double, cover_count>, cover_count> turn{};
    for (std::size_t from = 0; from < cover_count; ++from) {
      double leaves = 0;
      for (std::size_t to = 0; to < cover_count; ++to) {
        if (from == to) continue;
        const double rate = from == 0 ? onset * cover_left[to]
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
      if (total < 1e-13) continue;
      for (std::size_t i = 0; i < states_.size(); ++i) {
        Belief& b = mixed_[i].given[s][to];
        std::fill(b.begin(), b.end(), 0.0);
        for (std::size_t from = 0; from < cover_count; ++from) {
          const double part = turn[from][to] / total;
          if (part < 1e-7) continue;
          const Belief& own = state_.strings[i].given[s][from];
          if (from == to) {
            for (std::size_t h = 0; h < b.size(); ++h) b[h] += part * own[h];
          } else {
            Belief changed = from == 0 ? snowed_on(states_[i], own, hold_snow_[i], static_cast<Cover>(to)) : own;
            keep_within(states_[i], static_cast<Cover>(to), changed);
            for (std::size_t h = 0; h < b.size(); ++h) b[h] += part * changed[h];
          }
        }
        normalise(b);
      }
    }
  }
  std::swap(state_.strings, mixed_);
  state_.sky = covered;

  // the sky drifts back to what is usual, or forecast
  const auto prior = regime_prior(site.forecast_cloud, site.hidden);
  mixed_ = state_.strings;
  Joint<double> next{};
  for (std::size_t to = 0; to < regime_count; ++to)
    for (std::size_t g = 0; g < cover_count; ++g) {
      std::array<double, regime_count> part{};
      double total = 0;
      for (std::size_t from = 0; from < regime_count; ++from) {
        const double leave = std::min(0.9, step_min * leave_per_minute(static_cast<Regime>(from), site.hidden_before, site.hidden));
        part[from] = state_.sky[from][g] * (leave * prior[to] + (from == to ? 1 - leave : 0.0));
        total += part[from];
      }
      next[to][g] = total + least;
      if (total < 1e-13) continue;
      // the light goes on as it was, drifting; what comes from another sky knows nothing of it
      const double same = part[to] / total * (1 - regime_rows[to].jump);
      const double drift = regime_rows[to].drift;
      const auto& fresh = share_density()[to];
      auto& light = state_.light[to][g];
      const auto before = light;
      for (std::size_t k = 0; k < share_count; ++k) {
        const double left = k > 0 ? before[k - 1] : 0, right = k + 1 < share_count ? before[k + 1] : 0;
        light[k] = fresh[k] > 1e-6 ? same * ((1 - 2 * drift) * before[k] + drift * (left + right)) + (1 - same) * fresh[k] : 0;
      }
      normalise(light);
      for (std::size_t i = 0; i < states_.size(); ++i) {
        Belief& b = mixed_[i].given[to][g];
        std::fill(b.begin(), b.end(), 0.0);
        for (std::size_t from = 0; from < regime_count; ++from) {
          const double f = part[from] / total;
          if (f < 1e-7) continue;
          const Belief& own = state_.strings[i].given[from][g];
          for (std::size_t h = 0; h < b.size(); ++h) b[h] += f * own[h];
        }
        normalise(b);
      }
    }
  std::swap(state_.strings, mixed_);
  double sum = 0;
  each_joint([&](std::size_t s, std::size_t g) { sum += next[s][g]; });
  each_joint([&](std::size_t s, std::size_t g) { state_.sky[s][g] = next[s][g] / sum; });
}

void Filter::see(const SiteLook& site, const std::vector<StringLook>& looks, const SkyShares& sky, const Motion& motion,
                 const std::vector<double>& hints) {
  static const auto support = supports();
  const auto density = state_.light;
  const std::size_t n = looks.size();

  std::array<double, share_count> outside;
  for (std::size_t k = 0; k < share_count; ++k)
    outside[k] = site.irradiance_share ? irradiance_likelihood(*site.irradiance_share, sky.global[k]) : 1;

  const int usable = static_cast<int>(std::count_if(looks.begin(), looks.end(), [](const StringLook& l) { return l.usable; }));

  // likelihood of each string's minute by node and row, and summed over rows under each explanation
  for (std::size_t i = 0; i < n; ++i) {
    if (!looks[i].usable) continue;
    const double held = odds_to(state_.strings[i].held_back, hints[i]);
    Work& w = work_[i];
    const StringStates& states = states_[i];
    w.track.resize(static_cast<std::size_t>(states.size()) * share_count);
    w.held.resize(w.track.size());
    for (auto& row : w.sum)
      for (auto& s : row) s.fill(0);
    for (auto& row : w.sum_held)
      for (auto& s : row) s.fill(0);
    const double measured_ln = std::log(std::max(looks[i].measured_w, 0.01));
    std::array<double, share_count> clean_w, clean_ln;
    for (std::size_t k = 0; k < share_count; ++k) {
      clean_w[k] = predicted_w(looks[i], sky, static_cast<int>(k), StringState{});
      clean_ln[k] = std::log(std::max(clean_w[k], 1e-6));
    }
    for (int h = 0; h < states.size(); ++h) {
      const StringState& row = states[h];
      const double v_track = (1 - held) * voltage_likelihood(looks[i], row, states.half_to > states.half_from);
      // a row of shade is wide in the beam only
      const double beam_w = row.kind == Kind::shade ? looks[i].beam_w * std::max(row.pass, 0.05) : 1;
      const double width = row.kind == Kind::shade ? row.width * beam_w / std::max(1.0, beam_w + looks[i].diffuse_w) : row.width;
      const double v_held = held * held_back_voltage_likelihood(looks[i], row);
      const double near = looks[i].sigma;
      const double far = std::sqrt(near * near + looks[i].plane_sigma * looks[i].plane_sigma + 0.04 * 0.04);
      const double behind = std::sqrt(far * far + 0.08 * 0.08);   // each sees another part of the sky
      double* track = &w.track[static_cast<std::size_t>(h) * share_count];
      double* back = &w.held[static_cast<std::size_t>(h) * share_count];
      const double bias = row.kind == Kind::clean ? looks[i].bias : 0;
      const double bias_behind = bias > 0 ? std::max(bias, 0.08 + 1.6 * looks[i].plane_sigma) : 0;  // which does not change from minute to minute
      const bool even = row.kind != Kind::shade;   // then the prediction is the clean one times a share
      const double pass_ln = even && row.pass > 0 ? std::log(row.pass) : 0;
      for (int k = 0; k < share_count; ++k) {
        const auto at = static_cast<std::size_t>(k);
        double p, deviation;
        if (even) {
          const double dim = looks[i].dim_gain * (clean_w[at] - clean_w[at] * row.pass) / std::max(1.0, looks[i].clear_w);
          p = std::min(clean_w[at] * row.pass * (1 + dim), looks[i].limit_w);
          deviation = measured_ln - (clean_ln[at] + pass_ln + dim);
        } else {
          p = predicted_w(looks[i], sky, k, row);
          deviation = p > 0 ? measured_ln - std::log(p) : 9;
        }
        track[k] = v_track * power_likelihood(looks[i], p, deviation, k == cloudless_node ? near : k < under_sky ? far : behind, width, k < under_sky ? bias : bias_behind);
        back[k] = v_held * held_back_likelihood(looks[i], p, deviation);
      }
      each_joint([&](std::size_t s, std::size_t g) {
        if (state_.sky[s][g] < forgotten) return;
        const double b = state_.strings[i].given[s][g][static_cast<std::size_t>(h)];
        if (b < 1e-7) return;
        for (int k = support[s].from; k < support[s].to; ++k) {
          w.sum[s][g][static_cast<std::size_t>(k)] += b * (track[k] + back[k]);
          w.sum_held[s][g][static_cast<std::size_t>(k)] += b * back[k];
        }
      });
    }
  }

  Joint<double> joint{};
  double total = 0;
  shares_.fill(0);
  Joint<std::array<double, share_count>> all;
  each_joint([&](std::size_t s, std::size_t g) {
    if (state_.sky[s][g] < forgotten) return;
    double l = 0;
    for (int k = support[s].from; k < support[s].to; ++k) {
      const auto at = static_cast<std::size_t>(k);
      double p = density[s][g][at] * outside[at];
      for (std::size_t i = 0; i < n; ++i)
        if (looks[i].usable) p *= work_[i].sum[s][g][at];
      all[s][g][at] = p;
      l += p;
    }
    double m = motion.known ? std::pow(motion_likelihood(motion, static_cast<Regime>(s)), motion_weight) : 1;
    joint[s][g] = state_.sky[s][g] * m * level_weighted(l, usable);
    total += joint[s][g];
    // within an explanation, where the light is now
    if (l > 0)
      for (int k = support[s].from; k < support[s].to; ++k) {
        all[s][g][static_cast<std::size_t>(k)] /= l;
        state_.light[s][g][static_cast<std::size_t>(k)] = all[s][g][static_cast<std::size_t>(k)];
      }
  });
  each_joint([&](std::size_t s, std::size_t g) {
    joint[s][g] /= total;
    if (state_.sky[s][g] < forgotten) return;
    for (int k = support[s].from; k < support[s].to; ++k)
      shares_[static_cast<std::size_t>(k)] += joint[s][g] * all[s][g][static_cast<std::size_t>(k)];
  });
  normalise(shares_);

  mixed_ = state_.strings;
  for (std::size_t i = 0; i < n; ++i) {
    if (!looks[i].usable) continue;
    Work& w = work_[i];
    StringBelief& after = mixed_[i];
    double held_sum = 0, seen_sum = 0;
    std::array<double, share_count> weight;
    each_joint([&](std::size_t s, std::size_t g) {
      if (state_.sky[s][g] < forgotten) return;
      double here = 0, here_held = 0;
      for (int k = support[s].from; k < support[s].to; ++k) {
        const auto at = static_cast<std::size_t>(k);
        double others = density[s][g][at] * outside[at];
        for (std::size_t j = 0; j < n; ++j)
          if (j != i && looks[j].usable) others *= work_[j].sum[s][g][at];
        weight[at] = others;
        here += others * w.sum[s][g][at];
        here_held += others * w.sum_held[s][g][at];
      }
      if (here > 0) {
        held_sum += joint[s][g] * here_held / here;
        seen_sum += joint[s][g];
      }
      Belief& b = after.given[s][g];
      for (std::size_t h = 0; h < b.size(); ++h) {
        if (b[h] < 1e-7) continue;
        const double* track = &w.track[h * share_count];
        const double* back = &w.held[h * share_count];
        double l = 0;
        for (int k = support[s].from; k < support[s].to; ++k) l += weight[static_cast<std::size_t>(k)] * (track[k] + back[k]);
        b[h] *= level_weighted(l);
      }
      normalise(b);
    });
    // the direct look is strong, yet one minute may not flip it
    if (seen_sum > 0)
      after.held_back = std::clamp(0.6 * state_.strings[i].held_back + 0.4 * held_sum / seen_sum, 1e-4, 1 - 1e-4);
  }
  std::swap(state_.strings, mixed_);
  state_.sky = joint;
  for (auto& row : state_.sky)
    for (double& p : row) p = (p + least) / (1 + cover_count * regime_count * least);
}

}  // namespace fw::diagnosis
