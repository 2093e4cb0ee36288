#pragma once
// A condition with memory: evidence moves a level, the level switches with a deadband.
#include <cmath>

#include "units/time.h"

namespace fw::diagnosis {

struct Condition {
  double level = 0;
  bool on = false;
  Utc since{}, until{};
  double lost_kwh = 0;

  /// p: how likely now, 0..1; tau_min: memory; switches on above on_at, off below off_at.
  void step(Utc now, double p, double tau_min, double on_at, double off_at) {
    level += (p - level) * (1 - std::exp(-1 / tau_min));
    if (!on && level > on_at) {
      on = true;
      since = now;
      lost_kwh = 0;
    } else if (on && level < off_at) {
      on = false;
      until = now;
    }
  }
  void clear(Utc now) {
    if (on) until = now;
    on = false;
    level = 0;
  }
};

}  // namespace fw::diagnosis
