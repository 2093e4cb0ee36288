#pragma once
// The only place that reads clocks. Elapsed time is the boot-time clock (it counts sleep and never
// steps) anchored to the wall clock at start.
#include <optional>

#include "units/time.h"

namespace fw {

/// Steady, from an arbitrary origin; counts time spent asleep.
Span steady_time();
Utc wall_time();

/// What is known of the wall clock, for deciding whether to believe it.
struct ClockEvidence {
  Utc wall{};
  bool synchronised = false;      ///< the kernel says that something keeps it
  bool board_without_clock = false;  ///< the kernel knows of no battery-backed clock, on a machine that would show one
  std::optional<Utc> not_before;  ///< the journal's last entry
};

/// A synchronised clock in a sane year is believed. One that nothing keeps is believed unless it lies
/// before the journal's last entry, or the board has no clock that runs without power.
bool believable(const ClockEvidence& evidence);
ClockEvidence clock_evidence(std::optional<Utc> not_before);

/// The run's elapsed line. Fixed at construction, so it may be asked from any thread.
class ElapsedLine {
 public:
  ElapsedLine() : ElapsedLine(wall_time(), steady_time()) {}
  ElapsedLine(Utc wall, Span steady) : origin_(wall.time_since_epoch() - steady) {}
  Elapsed now() const { return Elapsed{origin_ + steady_time()}; }

 private:
  Span origin_;
};

}  // namespace fw
