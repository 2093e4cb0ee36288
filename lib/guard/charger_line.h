#pragma once
// One charger: what it was told, when it is told again, whether it obeys.
#include <optional>
#include <string>
#include <vector>

#include "guard/decisions.h"
#include "records/effect.h"
#include "rig/rig.h"
#include "units/channel.h"
#include "units/time.h"

namespace fw::guard {

class ChargerLine {
 public:
  ChargerLine(const rig::Rig& rig, int index, const Decisions& decisions);

  /// What the guard wants from now on. A change is said at once, the same thing only when it is due.
  void want(bool permit, double limit_a, const std::string& reason, Now now, std::vector<Effect>& out);
  /// Forgets changes older than an hour; before want().
  void settle(Elapsed now);
  /// Renewals, repeats, the off after a limit.
  void advance(Now now, std::vector<Effect>& out);
  std::optional<Elapsed> next_deadline() const;
  /// Its own readings: charger_*, and its strings' output current and stage.
  void on_reading(const Reading& r, Now now, std::vector<Effect>& out);
  /// The last word on a stop: no, limit 0, off, all retained.
  void farewell(const std::string& reason, Now now, std::vector<Effect>& out);

  bool permit() const { return permit_; }
  double limit_a() const { return limit_a_; }
  bool told() const { return told_; }
  Elapsed since() const { return since_; }
  std::optional<Utc> confirmed() const { return confirmed_; }
  /// It gives signs of doing otherwise than told, since.
  std::optional<Elapsed> contrary_since() const { return contrary_since_; }
  /// Long enough contrary to say so: three times the time it has to confirm.
  bool unconfirmed(Elapsed now) const;
  /// It may charge and gives clearly more than its limit.
  bool over_limit(Elapsed now) const;
  /// Current it gives by its own account, A.
  std::optional<double> current_a(Elapsed now) const;
  const std::string& reason() const { return reason_; }
  /// On a reload: what was last told, so that nothing is said twice.
  void recall(bool permit, double limit_a, const std::string& reason, Elapsed since);
  /// Permit changes lately; a yes waits while there were more than two within the hour.
  const std::vector<Elapsed>& changes() const { return changes_; }
  void recall_changes(std::vector<Elapsed> changes) { changes_ = std::move(changes); }

 private:
  void say(Now now, std::vector<Effect>& out);
  void judge(Now now, std::vector<Effect>& out);
  void store(Now now, std::vector<Effect>& out);
  enum class Sign { nothing, obeys, contrary };
  Sign sign(Elapsed now) const;

  struct Heard { double value = 0; Elapsed at{}; bool known = false; };
  const rig::Rig& rig_;
  const rig::Charger& charger_;
  const Decisions& decide_;
  int index_;
  bool told_ = false, permit_ = false;
  double limit_a_ = 0;
  std::string reason_;
  Elapsed since_{}, said_{}, limit_since_{};
  std::optional<Elapsed> off_due_;
  std::vector<Elapsed> changes_;
  bool waiting_ = false;   ///< wanted on, too soon after other changes
  Heard on_, limit_, current_;
  struct Output { int string = 0; Heard current, stage; };
  std::vector<Output> outputs_;
  std::optional<Utc> confirmed_;
  std::optional<Elapsed> contrary_since_;
  std::string command_id_;
  int commands_ = 0;
};

}  // namespace fw::guard
