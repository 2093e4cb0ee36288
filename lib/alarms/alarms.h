#pragma once
// From conditions to alarms: delays, life cycle, shelving, suppression, grouping, escalation, and which
// of it the owner hears. What is said goes out as a Notice; what stands is retained on alarms/<key>.
//
//   alarms.offer(fact, now);            // each minute, from every room
//   for (auto& n : alarms.take_notices()) outbox.add(n, now);
//
// Deterministic on the elapsed line: every call first does what was due before it, each thing at its own
// due time, so a timer that is early, late or missing changes nothing.
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "alarms/builtin.h"
#include "alarms/notice.h"
#include "alarms/notify.h"
#include "alarms/rules.h"
#include "alarms/state.h"
#include "records/effect.h"
#include "records/fact.h"
#include "rig/rig.h"
#include "units/channel.h"
#include "units/result.h"
#include "words/words.h"

namespace fw::alarms {

class Alarms {
 public:
  /// rig and words outlive this.
  Alarms(const rig::Rig& rig, const Words& words);

  /// A condition as a room sees it, repeated each minute; the latest text counts. A standing alarm whose
  /// fact is not offered for a day expires.
  void offer(const Fact& fact, Now now);
  /// An alarm of this name stands or has stood; of any other a fact that is not so changes nothing.
  bool remembers(std::string_view alarm) const;
  /// A reading for the owner's rules. A retained reading or one without value is never taken.
  void on_reading(const Reading& reading, Now now);
  void on_derived(rig::Derived what, int thing, std::optional<double> value, Now now);

  /// Fault: no such alarm, or nothing to acknowledge.
  Result<void> acknowledge(std::string_view key, std::string_view by, Now now);
  /// hours 0 < h <= 168 (24 for an urgent alarm); 0 unshelves. Fault: out of range, or no such alarm.
  Result<void> shelve(std::string_view key, double hours, Now now);

  /// What was handed out for this key (a group's: "group:<group>") never reached the owner: it is news again.
  void never_said(std::string_view key, Now now);

  void advance(Now now);
  std::optional<Elapsed> next_deadline() const;

  std::vector<Effect> take_effects();
  std::vector<Notice> take_notices();

  /// The condition stands, whether shelved, hidden or not. key: "<alarm>-<subject>", or "group:<group>" for any of a group.
  bool standing(std::string_view key) const;
  /// What would be said of it now, group text where several stand; empty when it does not stand, nothing when it
  /// stands and is no longer worth saying.
  std::optional<std::string> wording(std::string_view key) const;
  AlarmState state(std::string_view key) const;
  struct Line { std::string alarm, text; };
  /// What deserves a look now, worst first: the text of each alarm that stands and is neither shelved nor hidden; of one
  /// about to be over, its end.
  std::vector<Line> lines() const;
  /// Every retained alarms/<key> again, and empties for those known to be over.
  std::vector<Effect> republish() const;
  /// The way to the far side is back: what is retained goes out once more a little later. A bridge's broker may let a
  /// fresh message overtake older ones in its queue in the moment of the return.
  void on_link_back(Now now);

  std::string snapshot() const;
  /// Unreadable or foreign text leaves a fresh state. Alarms this rig no longer has are ended.
  void restore(std::string_view text, Now now);

 private:
  struct Alarm {
    // as offered
    std::string alarm, subject, text, over_text, group, group_text;
    std::vector<std::string> hidden_by;
    bool worth_saying = true;
    bool worth_repeating = true;
    std::optional<int> own_priority;
    Elapsed offered_at{};
    // the raw condition and its wobble
    bool raw = false;
    Elapsed raw_since{};
    Elapsed trouble_since{};       ///< first coming since the last long quiet
    Span trouble_total{};          ///< time present since then, up to the last going
    int comings = 0;
    // the alarm
    bool condition = false;
    bool chattering = false;
    Elapsed raised_at{};
    Utc raised_utc{};
    std::optional<Elapsed> cleared_at;
    Utc cleared_utc{};
    bool acked = true;
    std::string acked_by;
    std::optional<Elapsed> shelved_until;
    bool hidden = false;
    // what the owner heard
    bool told = false;
    int told_priority = 0;
    std::optional<Elapsed> told_at;
    int reminders = 0;
    std::optional<Elapsed> look_at;    ///< when to decide about saying it
    std::optional<Elapsed> remind_at;  ///< when to say it again if nobody has acknowledged it
    std::optional<Elapsed> settled_at;
    bool settled = false;
    // what the broker keeps
    std::string published;
    std::optional<Elapsed> published_at;
    bool ever_published = false;
  };
  using Book = std::map<std::string, Alarm, std::less<>>;

  struct Timing { Span on_delay, off_delay, settle; };
  enum class Due { missing, raise, clear, unshelve, look, remind, settle, expire, republish };
  struct Next { Elapsed at; std::string key; Due what; };

  const rig::Rule* rule_named(std::string_view alarm) const;
  bool enabled(std::string_view alarm) const;
  Timing timing(const Alarm& a) const;
  Span off_delay_of(const Alarm& a) const;
  rig::Priority priority(const Alarm& a) const;
  bool silent_rule(const std::string& key, Elapsed at) const;
  bool hidden_now(const Alarm& a) const;
  bool group_told(const std::string& key, const Alarm& a) const;
  std::vector<std::pair<const std::string, Alarm>*> group_of(const std::string& key);

  std::optional<Next> next() const;
  void run(const Next& due, Now now);
  void take(const std::string& key, Alarm& a, bool holds, Now now);
  void raise(const std::string& key, Alarm& a, Now now);
  void set_chattering(const std::string& key, Alarm& a, Now now);
  void clear(const std::string& key, Alarm& a, Now now, const char* event);
  void look(const std::string& key, Alarm& a, Now now);
  void say(const std::string& key, Alarm& a, Notify why, Now now);
  void say_end(const std::string& key);
  void look_soon(Alarm& a, Now now);
  void refresh_hidden(Now now);
  void publish(const std::string& key, Alarm& a, bool state_changed, Now now);
  void record(const Alarm& a, const char* event, Now now);
  void record(const Alarm& a, const char* event, Now now, const std::string& text);
  void offer_rule(std::size_t rule, bool holds, Now now);

  const rig::Rig& rig_;
  const Words& words_;
  std::string topic_;
  Book book_;
  std::vector<RuleWatch> watches_;                  ///< as rig.rules
  std::vector<std::string> rule_keys_;              ///< as rig.rules
  std::map<Channel, std::vector<std::size_t>> rules_of_;
  std::map<std::pair<rig::Derived, int>, std::vector<std::size_t>> rules_of_derived_;
  std::optional<Elapsed> last_;
  std::optional<Elapsed> republish_at_;
  std::vector<Effect> effects_;
  std::vector<Notice> notices_;
  mutable bool deadline_known_ = false;
  mutable std::optional<Elapsed> deadline_;
};

}  // namespace fw::alarms
