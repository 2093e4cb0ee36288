#include "intake/sender_clock.h"

#include <algorithm>

namespace fw::intake {

namespace {

constexpr Span first_trial = std::chrono::seconds{20};
constexpr int first_count = 3;
constexpr Span later_trial = std::chrono::minutes{5};
constexpr int later_count = 5;
constexpr Span believed_at_first = std::chrono::minutes{1};

/// Differences of one steady clock scatter by the network's delay only.
Span steady_within(Span over) { return std::max<Span>(std::chrono::seconds{10}, over / 10); }

}  // namespace

void SenderClock::restart_trial(Elapsed at, Span difference) {
  trial_since_ = at;
  trial_low_ = trial_high_ = difference;
  trial_count_ = 1;
}

SenderClock::Judged SenderClock::take(Elapsed at, Utc stamp, std::optional<Utc> utc) {
  const Span difference{ms_of(at) - ms_of(stamp)};
  if (!usual_) {
    const Span as_if_right = utc ? Span{ms_of(at) - ms_of(*utc)} : difference;
    const Span off = difference - as_if_right;
    const bool near = off <= believed_at_first && off >= -believed_at_first;
    usual_ = near ? difference : as_if_right;
    settled_ = near;
    restart_trial(at, difference);
  } else {
    trial_low_ = std::min(trial_low_, difference);
    trial_high_ = std::max(trial_high_, difference);
    ++trial_count_;
  }

  Judged judged;
  if (newest_) judged.order = stamp == *newest_ ? Order::same : stamp < *newest_ ? Order::older : Order::newer;

  const Span over = at - trial_since_;
  if (trial_high_ - trial_low_ > steady_within(over)) {
    restart_trial(at, difference);
  } else if (settled_ ? over >= later_trial && trial_count_ >= later_count : over >= first_trial && trial_count_ >= first_count) {
    if (trial_low_ > *usual_ + steady_within(over)) judged.order = Order::newer;  // the clock was set back: its stamps begin anew
    usual_ = trial_low_;
    settled_ = true;
    restart_trial(at, difference);
  } else if (difference < *usual_ && difference > *usual_ - believed_at_first) {
    usual_ = difference;
  }

  judged.late = std::max(Span::zero(), difference - *usual_);
  // A stamp far ahead does not count as the newest until its clock has shown to stay there.
  if (judged.order == Order::newer && difference >= *usual_ - believed_at_first) newest_ = stamp;
  return judged;
}

}  // namespace fw::intake
