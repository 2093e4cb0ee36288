#pragma once
// The charge guard: no charging outside the bank's temperature window, whatever fails. The second line behind
// the bank's own protection, never a substitute for it.
//
// Per charger a permit and a current limit. A yes runs out by itself and is renewed only while a believed, fresh
// cell temperature allows it; a no is kept by the broker. Everything runs on Elapsed: no clock step lengthens anything.
// It knows nothing of the diagnosis and needs nothing from it. What fails and what then happens: FAILURES.md.
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "guard/decisions.h"
#include "records/effect.h"
#include "records/fact.h"
#include "records/minute.h"
#include "rig/rig.h"
#include "units/channel.h"
#include "units/time.h"
#include "words/words.h"

namespace fw::guard {

inline constexpr Span permit_valid_for = seconds{60};     ///< how long a yes stands without renewal
inline constexpr Span permit_renewed_every = seconds{20};
inline constexpr Span refusal_repeated_every = seconds{60};

/// After a restart nothing from before is fresh. On a reload in the same process the elapsed line goes on, and
/// what was fresh still is.
enum class Continuity { restart, reload };

class Guard {
 public:
  /// rig, words and decisions outlive the guard.
  Guard(const rig::Rig& rig, const Words& words, const Decisions& decisions = standard_decisions());
  ~Guard();
  Guard(Guard&&) noexcept;
  Guard& operator=(Guard&&) noexcept;

  /// Any reading; those that do not concern the bank are passed over. Retained ones are never fresh.
  void on_reading(const Reading& r, Now now);
  /// The minute, for learning and foresight.
  void on_minute(const RigMinute& m);
  /// Fires what is due. Early, late or missing calls change nothing but the time at which it is said.
  void advance(Now now);
  std::optional<Elapsed> next_deadline() const;
  std::vector<Effect> take_effects();

  /// bank_cold_ahead, bank_cold, bank_hot, bank_sensor, charging_unpermitted, command_unconfirmed, heater.
  std::vector<Fact> facts(Now now, const Remembered& remembered = always_remembered) const;

  bool may_charge(int charger) const;
  std::optional<double> current_limit_a(int charger) const;  ///< none while not permitted
  bool any_solar_permit() const;
  std::optional<double> cell_min_c() const;                  ///< believed and within its time; none otherwise
  std::optional<double> cell_max_c() const;
  std::optional<double> cell_c(int sensor) const;

  /// Which guard holds, at what temperature, until when; what is doubted; which charger cannot be stopped.
  std::vector<std::string> sentences(Now now) const;

  /// Every charger's and heater's off, retained, for a stop or before a charger leaves the rig.
  std::vector<Effect> all_off(std::string reason);

  std::string snapshot() const;
  void restore(std::string_view text, Now now, Continuity how = Continuity::restart);

  static const Decisions& standard_decisions();

 private:
  struct State;
  std::unique_ptr<State> s_;
};

}  // namespace fw::guard
