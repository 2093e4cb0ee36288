#include "window/track.h"

#include <algorithm>
#include <cmath>

namespace fw::window {

namespace {
constexpr Span shortest_max_age = std::chrono::minutes{1};
constexpr Span longest_max_age = std::chrono::minutes{30};
constexpr double forget_per_message = 0.99;
}  // namespace

Span Track::max_age() const {
  if (fixed_max_age_) return *fixed_max_age_;
  if (interval_ms_ <= 0 || rests(last_)) return longest_max_age;
  return std::clamp(Span{static_cast<Span::rep>(3 * interval_ms_)}, shortest_max_age, longest_max_age);
}

void Track::hold_until(Elapsed t) {
  if (!known_ || t <= integrated_to_) return;
  const Elapsed end = std::min(t, last_at_ + max_age());
  if (end > integrated_to_) {
    const auto ms = static_cast<double>((end - integrated_to_).count());
    weighted_ += last_ * ms;
    weight_ms_ += ms;
  }
  integrated_to_ = t;
}

void Track::take(double value, Elapsed at) {
  hold_until(at);
  if (known_) {
    const auto gap = static_cast<double>((at - last_at_).count());
    // A silence longer than any allowed age is an interruption, not the sender's habit.
    if (gap <= static_cast<double>(longest_max_age.count()) && !rests(last_)) interval_ms_ = std::max(gap, interval_ms_ * forget_per_message);
  }
  if (!known_ || value != last_) changed_at_ = at;
  known_ = true;
  last_ = value;
  last_at_ = at;
  integrated_to_ = at;
  least_ = samples_ == 0 ? value : std::min(least_, value);
  most_ = samples_ == 0 ? value : std::max(most_, value);
  sum_ += value;
  sum_sq_ += value * value;
  ++samples_;
}

Track::Minute Track::close(Elapsed end) {
  hold_until(end);
  Minute m;
  m.samples = samples_;
  if (weight_ms_ > 0) m.mean = weighted_ / weight_ms_;
  else if (samples_ > 0) m.mean = sum_ / samples_;
  if (samples_ > 0) {
    m.least = least_;
    m.most = most_;
  }
  if (samples_ >= 3) {
    const double n = samples_;
    m.sd = std::sqrt(std::max(0.0, (sum_sq_ - sum_ * sum_ / n) / (n - 1)));
  }
  weighted_ = weight_ms_ = sum_ = sum_sq_ = 0;
  samples_ = 0;
  integrated_to_ = end;
  return m;
}

}  // namespace fw::window
