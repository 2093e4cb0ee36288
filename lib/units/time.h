#pragma once
// Two kinds of time. Elapsed never steps: every dwell, age, permit end and window runs on it.
// Utc = Elapsed + offset serves the sun, dates and stamps. Elapsed is counted in milliseconds
// from 1970 as the run's clock had it at its start, so that a feed line's `t` is an Elapsed.
// The types do not mix; only utc_at() joins them.
#include <chrono>
#include <cstdint>

namespace fw {

using Span = std::chrono::milliseconds;
using std::chrono::days;
using std::chrono::hours;
using std::chrono::minutes;
using std::chrono::seconds;
using namespace std::chrono_literals;

struct ElapsedClock {
  using rep = std::int64_t;
  using period = std::milli;
  using duration = Span;
  using time_point = std::chrono::time_point<ElapsedClock, Span>;
  static constexpr bool is_steady = true;
};
using Elapsed = ElapsedClock::time_point;
using Utc = std::chrono::sys_time<Span>;

/// The UTC instant of an elapsed instant under the present clock offset.
constexpr Utc utc_at(Elapsed e, Span offset) { return Utc{e.time_since_epoch() + offset}; }

constexpr Elapsed elapsed_ms(std::int64_t ms) { return Elapsed{Span{ms}}; }
constexpr Utc utc_ms(std::int64_t ms) { return Utc{Span{ms}}; }
constexpr std::int64_t ms_of(Elapsed e) { return e.time_since_epoch().count(); }
constexpr std::int64_t ms_of(Utc u) { return u.time_since_epoch().count(); }

/// Start of the aligned interval of length `step` that holds t (also for t before 1970).
template <class Clock>
constexpr std::chrono::time_point<Clock, Span> floor_to(std::chrono::time_point<Clock, Span> t, Span step) {
  auto r = t.time_since_epoch() % step;
  if (r < Span::zero()) r += step;
  return t - r;
}

/// Both times of one moment, and whether the wall clock behind the second is to be believed.
struct Now {
  Elapsed at{};
  Utc utc{};
  bool trusted = true;
};

constexpr double hours_of(Span s) { return static_cast<double>(s.count()) / 3.6e6; }
constexpr double seconds_of(Span s) { return static_cast<double>(s.count()) / 1e3; }

}  // namespace fw
