#pragma once
// What reaches the owner, when, in which order, and what became of it. Decides; does not send.
//
// Every stored notice ends as exactly one of delivered, folded (into the summary whose id its row names)
// or expired (its row says why). One notice is in flight at a time, so that they arrive in order.
//   - Nothing leaves while the broker is away or the bridge says its link is down. On return what still
//     stands goes first, worst first, then one summary of the rest.
//   - In quiet hours only urgent notices leave. The rest waits for the morning and goes as one message.
//   - At most rig.phone.max_per_day a local day besides urgent ones, the last of them kept for high priority.
//   - A notice our broker confirmed counts as delivered once the way has held for two seconds more: a broker
//     confirms before it has saved, and one that is killed in between forgets what it confirmed.
//   - The same id is never sent as news twice; after a crash, a reconnect or a missing confirmation it is
//     sent again with its id, and the receiver drops the double.
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "alarms/notice.h"
#include "outbox/compose.h"
#include "records/effect.h"
#include "rig/rig.h"
#include "units/time.h"
#include "words/words.h"

namespace fw::outbox {

/// Whether the condition behind a notice's key stands now.
using Standing = std::function<bool(std::string_view key)>;
/// What would be said of a standing key now: empty when nothing better than what was said, nothing when it is no
/// longer worth saying.
using Wording = std::function<std::optional<std::string>(std::string_view key)>;

class Outbox {
 public:
  /// rig and words outlive this.
  Outbox(const rig::Rig& rig, const Words& words);

  void add(const alarms::Notice& notice, Now now);
  void on_broker(bool connected, Now now);
  /// The bridge's own state. Without rig.phone.bridge_link the link counts as up.
  void on_link(bool up, Now now);
  /// Our broker confirmed the notice. An id that is not in flight is ignored.
  void on_sent(std::string_view id, Now now);
  /// The far side confirmed it on notices/seen.
  void on_seen(std::string_view id, Now now);
  /// What the daily message says, where the owner wants one.
  void set_summary(std::string text) { summary_ = std::move(text); }

  /// What waited for hours leaves with the figures of now.
  void set_wording(Wording wording) { wording_ = std::move(wording); }

  /// All decisions fall here. Call it after any of the above and at next_deadline().
  void advance(Now now, const Standing& standing);
  std::optional<Elapsed> next_deadline() const;

  /// Store NoticeRow (each change of state) and AlarmRow "notified"/"expired"; Publish to `notices`
  /// (JSON, carrying notice_id) and `notices/text` (bare text, notice_id "<id>#text").
  std::vector<Effect> take_effects();

  /// Keys whose beginning was given up unsaid since the last call: the owner has not heard of them.
  std::vector<std::string> take_unsaid() { return std::exchange(unsaid_, {}); }

  std::size_t open() const { return open_.size(); }  ///< stored and not yet delivered, folded or expired

  std::string snapshot() const;
  /// Unreadable or foreign text leaves a fresh state. What was sent and not confirmed is sent again.
  void restore(std::string_view text, Now now);

 private:
  struct Entry {
    alarms::Notice notice;
    Stamp stored;
    bool composed = false;             ///< a message gathered from others: never folded itself
    bool held = false;                 ///< waits for the next gathered message
    bool granted = false;              ///< may leave; its place in the day's count is taken
    bool sent = false;                 ///< has left at least once
    bool awaiting = false;             ///< in flight, our broker has not confirmed
    bool publish = false;              ///< to be published as soon as the way is free
    bool fresh_words = false;          ///< its text is of now, not of when it came to be
    std::optional<Elapsed> done_at;    ///< confirmed by our broker; delivered then if the way holds until then
    std::uint64_t order = 0;           ///< of leaving first
    int tries = 0;
    std::optional<Elapsed> retry_at;
    std::optional<Utc> ended;          ///< when its condition was over, for the summary
    std::optional<Elapsed> not_before; ///< a repetition of what the owner has only just heard waits
  };

  bool reachable() const { return broker_ && (link_ || !rig_.phone.bridge_link); }
  void set_reach(bool before, Now now);
  bool quiet(Now now) const;
  std::string day_of(Now now) const;
  static bool counts(const Entry& e);
  int room_left(Now now, rig::Priority p) const;
  void count(Now now);
  Utc next_gathering(Utc after) const;
  bool superseded(const Entry& e) const;
  bool still(const Entry& e, const Standing& standing) const;

  void run_until(Elapsed end, const Standing& standing);
  void step(Now now, const Standing& standing);
  void expire_old(Now now);
  void gather(Now now, const Standing& standing, bool morning);
  void reunite(Now now, const Standing& standing);
  void grant_each(Now now, const Standing& standing);
  void send_next(Now now);
  void put_out(Entry& e, Now now);
  void drop_passed_offers(Now now, const Standing& standing);
  void compose_and_fold(const std::vector<Entry*>& still, const std::vector<Entry*>& gone, const std::string& lead, Now now);
  void freshen(const Standing& standing, Now now);
  void finish_confirmed(Now now);
  void give_up(Entry& e, const char* why, Now now);
  void close(Entry& e, const char* state, std::string detail, Now now);
  void forget_closed();
  void store(const Entry& e, const char* state, std::optional<Utc> state_utc, std::string detail);
  Item item_of(const Entry& e) const;

  const rig::Rig& rig_;
  const Words& words_;
  int gathering_minute_ = 0;           ///< local minute of day at which held notices go
  std::vector<Entry> open_;            ///< in the order in which they were stored
  std::vector<std::string> closed_;    ///< the last ids that are done, to know a repeat
  std::map<std::string, bool, std::less<>> told_;  ///< per key: the owner heard that it began
  std::map<std::string, Elapsed, std::less<>> heard_at_;  ///< per key: when the owner last heard that it stands
  bool broker_ = false;
  bool link_ = false;
  std::optional<Utc> out_of_reach_since_;
  std::optional<Elapsed> reunion_at_;
  std::optional<Elapsed> wake_at_;
  std::optional<Elapsed> hold_until_;
  std::optional<Utc> next_gathering_;
  Span offset_{};
  bool trusted_ = false;
  Elapsed last_{};
  bool seen_time_ = false;
  std::string counted_day_;
  int counted_ = 0;
  std::string summary_, summary_day_;
  Wording wording_;
  std::uint64_t orders_ = 0;
  std::vector<std::string> unsaid_;
  std::vector<std::string> done_;      ///< ids to forget at the end of a step
  std::vector<Effect> effects_;
};

}  // namespace fw::outbox
