#pragma once
// The core of one rig: messages and time in, effects out. Everything firnwatt decides is decided in
// here, by one thread, without a clock, a disk or a network; live and replay differ only in who calls
// and who performs.
//
//   Core core(rig, words, start);
//   core.restore(journal.snapshots());
//   core.on_message(m);   core.advance_to(t);      // nothing else changes it
//   for (const Effect& e : core.take_effects()) shell.perform(e);
//   sleep until core.next_deadline();
//
// Core time never runs backwards: a message with an earlier arrival is taken at the present time and
// counted. Deadlines at or before a message's time fire before it, each stamped with its own due time,
// so that a timer that is early, late or missing never changes the result.
//
// What the shell tells the core comes as messages on reserved topics under firnwatt/<rig>/, so that it
// is recorded and replayed like everything else (see inbound.h).
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "alarms/alarms.h"
#include "core/inbound.h"
#include "diagnosis/diagnosis.h"
#include "guard/guard.h"
#include "intake/intake.h"
#include "outbox/outbox.h"
#include "outlook/outlook.h"
#include "records/effect.h"
#include "records/minute.h"
#include "records/verdict.h"
#include "rig/rig.h"
#include "units/message.h"
#include "window/window.h"
#include "words/words.h"

namespace fw::core {

class Core {
 public:
  /// reload: the same process goes on with another config, and what was fresh still is.
  /// snapshots_every: how often the large rooms' state goes out as rows; what changes with a transition goes with it.
  Core(rig::Rig rig, const Words& words, Now start, guard::Continuity how = guard::Continuity::restart,
       Span snapshots_every = std::chrono::hours{1});
  Core(const Core&) = delete;
  Core& operator=(const Core&) = delete;

  /// State of an earlier run, by room name; before the first message. What cannot be read starts afresh.
  void restore(const std::map<std::string, std::string>& snapshots);
  std::map<std::string, std::string> snapshots() const;

  void on_message(const Message& message);
  void advance_to(Elapsed t);
  std::optional<Elapsed> next_deadline() const;
  std::vector<Effect> take_effects();

  /// The way out: every charger's and heater's off first, then the last rows and 'offline'.
  std::vector<Effect> stop(Elapsed t);

  /// What to subscribe to: the rig's sources and our own inbound topics.
  std::vector<std::string> filters() const;

  const rig::Rig& rig() const { return rig_; }
  Now now() const { return {now_, utc_at(now_, offset_), trusted_}; }

  struct Counts {
    std::uint64_t messages = 0, unmatched = 0, late = 0, inbound_refused = 0, payload_faults = 0;
  };
  const Counts& counts() const { return counts_; }

 private:
  void fire_until(Elapsed t);
  void take_telemetry(const Message& m);
  void take_inbound(const Message& m, std::string_view below_root);
  void take_note(Note note);
  void on_minute();
  void judge(const RigMinute& minute);
  void gather_facts();
  std::vector<Fact> own_facts(const Remembered& remembered) const;
  void tell_rooms_the_time();
  void collect();
  void publish_state(const RigMinute& minute);
  void publish_summary(bool always);
  void publish_alive(std::string_view state);
  void store(Row row);
  void store_snapshots(bool all);
  void log(Level level, std::string text);
  Stamp stamp() const { return {utc_at(now_, offset_), now_, trusted_}; }

  const rig::Rig rig_;
  const Words words_;
  const std::string root_;

  guard::Continuity how_;
  const Span snapshots_every_;
  Elapsed now_;
  Span offset_{};
  bool trusted_ = true;

  intake::Intake intake_;
  window::Window window_;
  guard::Guard guard_;
  diagnosis::Diagnosis diagnosis_;
  outlook::Outlook outlook_;
  alarms::Alarms alarms_;
  outbox::Outbox outbox_;
  Inbound inbound_;

  std::optional<Forecast> forecast_;
  std::vector<Verdict> verdicts_;
  std::optional<RigMinute> minute_;
  std::vector<std::optional<Cause>> told_cause_;   ///< by string, as last journalled
  std::vector<std::string> told_reason_;
  std::map<std::string, std::string> published_;   ///< retained state as last sent, by topic below root
  Elapsed minute_due_, alive_due_, state_due_, snapshot_due_;
  std::optional<std::string> diagnosis_fault_, journal_trouble_;
  bool broker_connected_ = false, link_up_ = true, id_taken_ = false, link_seen_ = false;
  std::optional<Elapsed> link_down_since_;
  std::string summary_;                            ///< without its time
  std::uint64_t asked_ = 0;
  std::vector<Effect> effects_;
  Counts counts_;
};

}  // namespace fw::core
