#include "bank/belief.h"

#include <algorithm>
#include <cmath>

namespace fw::bank {

namespace {
constexpr double base_jump_k = 1.5;          // resolution, noise, and a sensor that only reports whole degrees
constexpr Span anchor_every = minutes{15};
constexpr Span new_level_after = minutes{10};
constexpr int new_level_readings = 4;
constexpr double coldest_possible_c = -60, hottest_possible_c = 90;
}  // namespace

double heat_capacity_j_per_k(double capacity_wh) { return 9.0 * std::max(capacity_wh, 100.0); }

double fastest_k_per_h(double capacity_wh, double heater_w) {
  return 15 + 3600 * std::max(heater_w, 0.0) / heat_capacity_j_per_k(capacity_wh);
}

std::string_view name(Doubt d) {
  switch (d) {
    case Doubt::none: return "none";
    case Doubt::impossible: return "impossible";
    case Doubt::jump: return "jump";
    case Doubt::too_fast: return "too fast";
    case Doubt::frozen: return "frozen";
  }
  return "none";
}

SensorBelief::SensorBelief(double fastest_k_per_h, std::vector<double> magic_c)
    : fastest_(fastest_k_per_h), magic_(std::move(magic_c)) {}

bool SensorBelief::is_magic(double v) const {
  return std::any_of(magic_.begin(), magic_.end(), [v](double m) { return std::abs(v - m) < 0.02; });
}

SensorBelief::Answer SensorBelief::believe(Elapsed at, double v) {
  if (believed_count_ == 0 || at - anchor_at_ >= anchor_every) {
    anchor_ = believed_count_ == 0 ? v : *value_;
    anchor_at_ = believed_count_ == 0 ? at : *at_;
  }
  ++believed_count_;
  value_ = v;
  at_ = at;
  doubted_since_.reset();
  doubt_ = Doubt::none;
  possible_ = false;
  cand_count_ = 0;
  return Answer::believed;
}

SensorBelief::Answer SensorBelief::reject(Elapsed at, double v, Doubt why) {
  if (!doubted_since_) doubted_since_ = at;
  doubt_ = why;
  last_doubted_ = v;
  // With little to hold it against, or not far away, a stray value on the cold side is better obeyed.
  const bool far = believed_count_ >= 3 && std::abs(v - *value_) > 4;
  const bool strayed = is_magic(v) && (far || v < -45 || v > 20);
  possible_ = why != Doubt::impossible && why != Doubt::frozen && !strayed;
  if (why == Doubt::impossible || why == Doubt::frozen) {
    cand_count_ = 0;
    return Answer::doubted;
  }
  const double drift = base_jump_k + fastest_ * hours_of(at - cand_at_);
  if (cand_count_ == 0 || std::abs(v - cand_) > drift) {
    cand_from_ = at;
    cand_count_ = 0;
    cand_low_ = cand_high_ = v;
  }
  cand_ = v;
  cand_at_ = at;
  ++cand_count_;
  cand_low_ = std::min(cand_low_, v);
  cand_high_ = std::max(cand_high_, v);
  const bool stands_on_magic = is_magic(v) && cand_high_ - cand_low_ < 0.05;
  // The first few believed readings are themselves no strong witness: two that agree outvote one.
  const bool young = believed_count_ < 3 && cand_count_ > believed_count_;
  const bool settled = at - cand_from_ >= new_level_after && cand_count_ >= new_level_readings;
  if (!stands_on_magic && (young || settled)) {
    believed_count_ = 0;
    return believe(at, v);
  }
  return Answer::doubted;
}

SensorBelief::Answer SensorBelief::offer(Elapsed at, double v) {
  if (!std::isfinite(v)) return reject(at, v, Doubt::impossible);
  if (!raw_seen_ || v != raw_last_) {
    if (raw_seen_ && still_since_ && !frozen_) longest_still_ = std::max(longest_still_, at - *still_since_);
    still_since_ = at;
    if (frozen_) {
      frozen_ = false;
      believed_count_ = std::min(believed_count_, 1);  // it moves again: its old level is no longer a witness
    }
  }
  raw_last_ = v;
  raw_seen_ = true;
  if (v < coldest_possible_c || v > hottest_possible_c) return reject(at, v, Doubt::impossible);
  if (frozen_) return reject(at, v, Doubt::frozen);
  if (believed_count_ == 0) {
    if (is_magic(v) && !(context_ && std::abs(*context_ - v) < 3)) return reject(at, v, Doubt::jump);
    return believe(at, v);
  }
  if (std::abs(v - *value_) > base_jump_k + fastest_ * hours_of(at - *at_)) return reject(at, v, Doubt::jump);
  if (std::abs(v - anchor_) > base_jump_k + fastest_ * hours_of(at - anchor_at_)) return reject(at, v, Doubt::too_fast);
  return believe(at, v);
}

void SensorBelief::declare_frozen(Elapsed at) {
  frozen_ = true;
  if (!doubted_since_) doubted_since_ = at;
  doubt_ = Doubt::frozen;
  last_doubted_ = raw_last_;
  possible_ = false;
}

UnitDoubt unit_doubt(double cell_c, std::optional<double> air_c, std::optional<double> cabin_c, bool idle) {
  if (!idle || (!air_c && !cabin_c)) return UnitDoubt::none;
  const double coolest = std::min(air_c.value_or(*(cabin_c ? cabin_c : air_c)), cabin_c.value_or(*(air_c ? air_c : cabin_c)));
  const double warmest = std::max(air_c.value_or(*(cabin_c ? cabin_c : air_c)), cabin_c.value_or(*(air_c ? air_c : cabin_c)));
  const auto at_home = [&](double c) { return c >= coolest - 10 && c <= warmest + 15; };
  const double from_f = (cell_c - 32) / 1.8;
  if (cell_c > warmest + 25 && cell_c > 30 && at_home(from_f)) return UnitDoubt::fahrenheit;
  const double from_c = cell_c * 1.8 + 32;
  // The cells lag behind a quick frost, so the other way round needs both surroundings and more room.
  if (air_c && cabin_c && cell_c < coolest - 12 && cell_c < 0 && at_home(from_c)) return UnitDoubt::celsius;
  return UnitDoubt::none;
}

bool looks_like_milliamps(double current_a, double capacity_ah) {
  return capacity_ah > 0 && std::abs(current_a) > 5 * capacity_ah;
}

}  // namespace fw::bank
