#include "mqtt/backoff.h"

#include <algorithm>

namespace fw::mqtt {
namespace {
constexpr Span first = 300ms;
constexpr Span longest = 15s;
constexpr Span longest_contested = 60s;
constexpr Span short_life = 30s;
constexpr Span short_life_contested = 90s;
constexpr int short_lives_for_suspicion = 4;
}  // namespace

void Backoff::failed() {
  ++failures_;
  short_lives_ = 0;  // a broker that is away explains the losses before it
}

void Backoff::lost(Span lived, bool by_broker, bool taken_over) {
  const bool brief = by_broker && lived < (contested_ ? short_life_contested : short_life);
  if (brief || taken_over) {
    ++short_lives_;
    if (taken_over || short_lives_ >= short_lives_for_suspicion) contested_ = true;
    failures_ = std::max(failures_ + 1, contested_ ? 3 : 0);
    return;
  }
  short_lives_ = 0;
  failures_ = 0;
}

void Backoff::holding(Span lived) {
  if (lived < short_life_contested) return;
  failures_ = 0;
  short_lives_ = 0;
  contested_ = false;
}

Span Backoff::pause(double chance) const {
  const Span limit = contested_ ? longest_contested : longest;
  Span base = first;
  for (int i = 0; i < failures_ && base < limit; ++i) base *= 2;
  base = std::min(base, limit);
  // Half to whole; a contested id waits at least half a minute once the limit is reached.
  return Span{static_cast<Span::rep>(static_cast<double>(base.count()) * (0.5 + 0.5 * chance))};
}

}  // namespace fw::mqtt
