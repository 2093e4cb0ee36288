#include "bank/hidden_heater.h"

#include <algorithm>
#include <cmath>

namespace fw::bank {

void HiddenHeater::watch(Elapsed at, double cell_c, const Known& k) {
  weigh(at, cell_c, k);
  follow_swing(at, cell_c, k);
  // Below every level it ever came on at, and still off.
  const auto h = hold();
  if (!h || on_ > 0.5 || cell_c > h->turn_c - std::max(0.1, 0.6 * std::min(k.digit_k, 1.0))) overdue_since_.reset();
  else if (!overdue_since_) overdue_since_ = at;
  if (overdue_since_ && at - *overdue_since_ >= minutes{45}) {
    turns_.clear();
    overdue_since_.reset();
  }
}

void HiddenHeater::recall(const std::vector<Turn>& turns) {
  turns_ = turns;
  high_.reset();
  low_.reset();
  weighed_at_.reset();
}

void HiddenHeater::follow_swing(Elapsed at, double c, const Known& k) {
  constexpr double swing_k = 0.8;                 // more than a coarse digit's hop
  constexpr double unexplained_k_per_h = 0.7;     // a rise the surroundings do not make
  const auto falling_by = [&] {
    const double h = hours_of(at - high_at_);
    return h > 0.1 ? (*high_ - c) / h : 0.0;
  };
  if (!low_) {
    high_ = low_ = c;
    high_at_ = low_at_ = at;
    return;
  }
  if (falling_) {
    if (c <= *low_) {
      low_ = c;
      low_at_ = at;
      cooling_ = falling_by();
    } else if (c >= *low_ + swing_k) {
      const double h = std::max(hours_of(at - low_at_), 0.02);
      const double rise = (c - *low_) / h;
      if (h < 3 && !k.told_heater && cooling_ > 0.05 && rise - std::max(k.unheated_k_per_h, -cooling_) > unexplained_k_per_h) {
        turns_.push_back({low_at_, *low_, 0, cooling_ + rise});
        if (turns_.size() > 8) turns_.erase(turns_.begin());
      }
      falling_ = false;
      high_ = c;
      high_at_ = at;
    }
  } else if (c >= *high_) {
    high_ = c;
    high_at_ = at;
  } else if (c <= *high_ - swing_k) {
    if (!turns_.empty() && turns_.back().at == low_at_) {
      // The first rise is the case's; what the heater does to the whole shows over its whole time, unless that is so long
      // that the day comes in between.
      const double swing = *high_ - turns_.back().low_c;
      const double h = hours_of(high_at_ - low_at_);
      if (h > 0.02 && h < 3) turns_.back().strength_k_per_h = std::min(turns_.back().strength_k_per_h, cooling_ + swing / h);
      // Cells that sink with it on have not shown where it lets go.
      if (on_ < 0.5 && swing < 3.5) turns_.back().amplitude_k = swing;
    }
    falling_ = true;
    low_ = c;
    low_at_ = at;
    cooling_ = falling_by();
  }
  last_c_ = c;
  while (!turns_.empty() && at - turns_.front().at > hours{7 * 24}) turns_.erase(turns_.begin());
}

std::optional<HiddenHeater::Hold> HiddenHeater::hold() const {
  // Swings from nearly one level, each smaller than a day's course and within hours of another.
  std::vector<const Turn*> alike;
  for (const Turn& t : turns_) {
    const auto near_another = std::any_of(turns_.begin(), turns_.end(), [&](const Turn& o) {
      const Span apart = o.at > t.at ? o.at - t.at : t.at - o.at;
      return &o != &t && std::abs(o.low_c - t.low_c) < 0.8 && apart < (std::min(o.strength_k_per_h, t.strength_k_per_h) > 1 ? hours{26} : hours{5});
    });
    if (near_another) alike.push_back(&t);
  }
  // One turn alone counts where the rise after it can be nothing but a heater.
  if (alike.size() < 2 && !turns_.empty() && turns_.back().strength_k_per_h > 2.5) alike = {&turns_.back()};
  else if (alike.size() < 2) return std::nullopt;
  Hold h;
  double low = 1e9, low_max = -1e9;
  std::vector<double> off;
  for (const Turn* t : alike) {
    low = std::min(low, t->low_c);
    low_max = std::max(low_max, t->low_c);
    if (t->amplitude_k > 0) off.push_back(t->low_c + t->amplitude_k);
    h.strength_k_per_h += t->strength_k_per_h / static_cast<double>(alike.size());
  }
  if (low_max - low > 1.5 || h.strength_k_per_h <= 0) return std::nullopt;
  h.turn_c = low;
  h.off_c = low + 1.5;
  if (!off.empty()) {
    std::sort(off.begin(), off.end());
    h.off_c = std::max(off[off.size() / 2], low + 0.5);
  }
  if (last_c_ < h.turn_c - 0.6 && on_ < 0.5) return std::nullopt;  // it went through: no hold now
  return h;
}

void HiddenHeater::weigh(Elapsed at, double c, const Known& known) {
  constexpr double least_error_k_per_h = 0.6, error_lasts_h = 2;
  constexpr double unrest_k2_per_h = 0.003;
  constexpr double odd_per_h = 0.02;                        // a change where a thermostat makes none: it failed, or was switched
  const auto held = hold();
  if (!held) {
    on_ = 0;
    weighed_at_.reset();
    return;
  }
  const double error_k_per_h = std::hypot(least_error_k_per_h, known.unsure_k_per_h);
  const double digit = std::min(known.digit_k, 1.0);
  // A coarse digit shows the same value many times over: each repeat is little news.
  const double repeats = digit > 0.3 ? 8 : 2;
  const double noise = repeats * (0.0025 + digit * digit / 12);
  const double h = weighed_at_ ? hours_of(at - *weighed_at_) : 1;
  weighed_at_ = at;
  if (h <= 0 || h > 0.35 || std::abs(c - guess_[0].t) > 2 + digit) {
    guess_.fill({c, 0, noise, 0, error_k_per_h * error_k_per_h});
    on_ = !falling_ ? 0.9 : c <= held->turn_c + 0.3 ? 0.5 : 0.2;
    return;
  }
  // Chances of a change within this step, from what a thermostat does at this temperature.
  const double near = std::max(0.2, digit / 2);
  const bool off_seen = std::any_of(turns_.begin(), turns_.end(), [](const Turn& t) { return t.amplitude_k > 0; });
  const double comes_on = c <= held->turn_c + near ? 2.0 : odd_per_h;
  const double goes_off = c >= held->off_c - near ? (off_seen ? 3.0 : 0.5) : off_seen || c < held->turn_c + 0.5 ? odd_per_h : 0.2;
  const double up = 1 - std::exp(-comes_on * h), down = 1 - std::exp(-goes_off * h);
  const std::array<double, 2> p{1 - on_, on_};
  const std::array<std::array<double, 2>, 2> change{{{1 - up, up}, {down, 1 - down}}};
  const double strength = known.strength_k_per_h > 0 ? known.strength_k_per_h : held->strength_k_per_h;
  const double keep = std::exp(-h / error_lasts_h);
  std::array<Guess, 2> next{};
  std::array<double, 2> fit{};
  for (std::size_t k = 0; k < 2; ++k) {
    const double ahead = p[0] * change[0][k] + p[1] * change[1][k];
    Guess g;
    for (std::size_t i = 0; i < 2; ++i) {
      const double share = p[i] * change[i][k] / ahead;
      g.t += share * guess_[i].t;
      g.error += share * guess_[i].error;
    }
    for (std::size_t i = 0; i < 2; ++i) {
      const double share = p[i] * change[i][k] / ahead, dt = guess_[i].t - g.t, de = guess_[i].error - g.error;
      g.tt += share * (guess_[i].tt + dt * dt);
      g.te += share * (guess_[i].te + dt * de);
      g.ee += share * (guess_[i].ee + de * de);
    }
    g.t += (known.unheated_k_per_h + (k == 1 ? strength : 0) + g.error) * h;
    g.tt += 2 * h * g.te + h * h * g.ee + unrest_k2_per_h * h;
    g.te = keep * (g.te + h * g.ee);
    g.error *= keep;
    g.ee = keep * keep * g.ee + (1 - keep * keep) * error_k_per_h * error_k_per_h;
    const double miss = c - g.t, spread = g.tt + noise;
    fit[k] = ahead * std::exp(-0.5 * std::min(miss * miss / spread, 60.0)) / std::sqrt(spread);
    const double gain_t = g.tt / spread, gain_e = g.te / spread;
    g.t += gain_t * miss;
    g.error += gain_e * miss;
    g.ee -= gain_e * g.te;
    g.te *= 1 - gain_t;
    g.tt *= 1 - gain_t;
    next[k] = g;
  }
  guess_ = next;
  on_ = std::clamp(fit[1] / (fit[0] + fit[1]), 0.002, 0.998);
}

}  // namespace fw::bank
