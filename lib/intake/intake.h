#pragma once
// Topic and payload in, readings out: mapping, units, validity, sender's time, freshness.
// A payload is parsed once, whatever the number of sources on it. What cannot be used becomes a
// reading without value and with its reason; the other fields of the same message are still used.
//
// value in the source's unit = sign * (raw * factor + offset); then into the channel's unit.
//
// Sender's time. Clocks of senders are wrong more often than right, so a stamp is compared with that
// sender's usual skew, learned on the elapsed line. What arrives later than usual by more than the
// source's maximum age (as configured, else three times its longest recent silence, 1 to 30 min) is `too_old`; a message older than the one before it (out of order), or the
// same message again with the same stamp (duplicate), gives no reading and is counted. A retained
// message is last known: it gives readings marked so, and teaches nothing.
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/rig.h"
#include "units/channel.h"
#include "units/forecast.h"
#include "units/message.h"
#include "units/result.h"

namespace fw::intake {

struct Taken {
  bool matched = false;                 ///< some source or the forecast listens on this topic
  std::vector<Reading> readings;
  std::optional<Forecast> forecast;
  std::vector<Fault> faults;            ///< at most one an hour per source and reason
};

/// What one source of the rig has delivered so far; same order as Rig::sources, then the forecast.
struct SourceCount {
  std::uint64_t taken = 0;              ///< readings with a value
  std::uint64_t null = 0, not_a_number = 0, missing_field = 0, out_of_range = 0, sentinel = 0, unknown_word = 0, too_old = 0;
  std::uint64_t duplicates = 0, out_of_order = 0, retained = 0;
  std::optional<Span> skew;             ///< how far the sender's clock seems behind ours
  std::uint64_t bad() const { return null + not_a_number + missing_field + out_of_range + sentinel + unknown_word; }
};

class Intake {
 public:
  explicit Intake(const rig::Rig& rig);
  Intake(Intake&&) noexcept;
  Intake& operator=(Intake&&) noexcept;
  ~Intake();

  /// Never throws for any payload. Messages are expected in order of arrival.
  Taken take(const Message& m, Now now);

  /// Topic filters to subscribe to, sorted, each once.
  std::vector<std::string> filters() const;

  const std::vector<SourceCount>& counts() const;
  std::uint64_t unknown_topics() const;  ///< messages on topics nobody asked for

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace fw::intake
