#pragma once
// One sender's clock beside ours. Only the difference arrival - stamp is looked at, arrival on the
// elapsed line, so steps of our own clock do not matter and a constant offset of the sender's neither.
//
// The usual difference ("skew") is the smallest one seen while it holds steady. A message later than
// usual is late by what exceeds it. A sender whose clock was set, or drifts, shows a difference that
// stands still at a new place: after five messages over five minutes that becomes the usual one. A
// backlog sent after a gap shows differences that shrink, and is not taken for a wrong clock.
#include <cstdint>
#include <optional>

#include "units/time.h"

namespace fw::intake {

class SenderClock {
 public:
  enum class Order { newer, same, older };
  struct Judged {
    Order order = Order::newer;
    Span late{};               ///< older than usual by this much, on arrival; never negative
  };

  /// Takes a live message's stamp. `utc` is our own time of arrival when it can be trusted: at first a sender's
  /// clock is held to be right, and a difference of more than a minute is lateness until it has held steady for
  /// three messages over 20 s.
  Judged take(Elapsed at, Utc stamp, std::optional<Utc> utc);

  /// Usual arrival - stamp, on the elapsed line; nothing before the first message.
  std::optional<Span> skew() const { return usual_; }

 private:
  void restart_trial(Elapsed at, Span difference);

  std::optional<Span> usual_;
  bool settled_ = false;
  std::optional<Utc> newest_;
  Elapsed trial_since_{};
  Span trial_low_{}, trial_high_{};
  int trial_count_ = 0;
};

}  // namespace fw::intake
