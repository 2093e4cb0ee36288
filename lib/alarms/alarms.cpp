#include "alarms/alarms.h"

#include <algorithm>
#include <cmath>

#include <nlohmann/json.hpp>

#include "units/json.h"
#include "units/text.h"

namespace fw::alarms {
namespace {

using rig::Priority;

/// A storm reaches its strings within minutes of each other, a cause its consequences within one or two.
constexpr Span gather = 2min;
/// Back within this long after it was over: the same trouble, and one that wobbles.
constexpr Span chatter_within = 30min;
constexpr Span chatter_off_delay = 30min;
constexpr Span publish_spacing = 1h;
constexpr Span republish_after = 15s;
constexpr Span forgotten_after = 24h;
constexpr Span believed_for = 30min;

/// What may come, how often it is said: each day's offer is its own, what is days ahead is told once a week.
enum class Outlook { none, near, far };

/// Least time between two first messages about one key.
constexpr Span pause_of(Priority p, Outlook outlook) {
  if (outlook != Outlook::none) return outlook == Outlook::near ? Span(12h) : Span(7 * 24h);
  return p == Priority::urgent ? Span(15min) : p == Priority::high ? Span(2h) : Span(6h);
}

/// How long an alarm nobody has acknowledged waits for its (n+1)th repetition.
constexpr Span remind_after(Priority p, int n, Outlook outlook) {
  if (outlook != Outlook::none) return outlook == Outlook::near ? Span(24h) : Span(7 * 24h);
  if (p == Priority::urgent) return n == 0 ? Span(1h) : n == 1 ? Span(6h) : Span(24h);
  if (p == Priority::high && n == 0) return 6h;
  return 7 * 24h;
}

/// What may come, or is offered: its figures change by the hour, and its end is no news.
bool is_outlook(std::string_view alarm) {
  const auto* b = built_in(alarm);
  return b && b->only_while_true;
}

Outlook outlook_of(std::string_view alarm, Priority p) {
  if (!is_outlook(alarm)) return Outlook::none;
  return p == Priority::low && alarm != "surplus" ? Outlook::far : Outlook::near;
}

/// An offer of every sunny day goes to the journal and its retained topic; to the phone where the owner set it.
bool spoken_unasked(std::string_view alarm) { return alarm != "surplus"; }

bool about_a_string(std::string_view alarm) {
  return alarm == "snow" || alarm == "soiling" || alarm == "shade" || alarm == "outage" || alarm == "controller";
}

/// The moment of a due time under the present offset.
Now moment(Elapsed due, Now now) { return {due, now.utc - (now.at - due), now.trusted}; }

Utc utc_of(Elapsed e, Now now) { return now.utc + (e - now.at); }

}  // namespace

Alarms::Alarms(const rig::Rig& rig, const Words& words)
    : rig_(rig), words_(words), topic_("firnwatt/" + rig.name + "/alarms/"), watches_(rig.rules.size()) {
  for (std::size_t i = 0; i < rig.rules.size(); ++i) {
    const rig::Rule& r = rig.rules[i];
    rule_keys_.push_back(r.name + "-" + rule_subject(r, rig));
    if (r.signal.derived == rig::Derived::none)
      rules_of_[r.signal.channel].push_back(i);
    else
      rules_of_derived_[{r.signal.derived, r.signal.thing}].push_back(i);
  }
}

// ---- what an alarm is by its settings --------------------------------------------------------

const rig::Rule* Alarms::rule_named(std::string_view alarm) const {
  for (const auto& r : rig_.rules)
    if (r.name == alarm) return &r;
  return nullptr;
}

bool Alarms::enabled(std::string_view alarm) const {
  const auto it = rig_.alarms.find(alarm);
  return it == rig_.alarms.end() || it->second.enabled;
}

Alarms::Timing Alarms::timing(const Alarm& a) const {
  if (const auto* r = rule_named(a.alarm)) {
    if (r->test == rig::Test::missing) return {0ms, r->off_delay, 15min};
    return {r->on_delay, r->off_delay > Span::zero() ? r->off_delay : default_off_delay, 15min};
  }
  Timing t{0ms, default_off_delay, 15min};
  if (const auto* b = built_in(a.alarm)) t = {b->on_delay, b->off_delay, b->settle};
  if (const auto it = rig_.alarms.find(a.alarm); it != rig_.alarms.end()) {
    t.on_delay = it->second.on_delay.value_or(t.on_delay);
    t.off_delay = it->second.off_delay.value_or(t.off_delay);
  }
  return t;
}

Span Alarms::off_delay_of(const Alarm& a) const {
  const Span own = timing(a).off_delay;
  return a.chattering ? std::max(own, chatter_off_delay) : own;
}

Priority Alarms::priority(const Alarm& a) const {
  if (const auto* r = rule_named(a.alarm)) return r->priority;
  if (const auto it = rig_.alarms.find(a.alarm); it != rig_.alarms.end() && it->second.priority) return *it->second.priority;
  // An emergency is what is so, not what may come: only that may break the night and the day's count.
  if (a.own_priority) return static_cast<Priority>(std::clamp(*a.own_priority, 0, is_outlook(a.alarm) ? 1 : 2));
  const auto* b = built_in(a.alarm);
  return b ? b->priority : Priority::low;
}

bool Alarms::hidden_now(const Alarm& a) const {
  const auto stands = [&](const std::string& key) {
    const auto it = book_.find(key);
    return it != book_.end() && it->second.condition && &it->second != &a;
  };
  if (std::any_of(a.hidden_by.begin(), a.hidden_by.end(), stands)) return true;
  if (!about_a_string(a.alarm)) return false;
  // Nothing can be said of a string whose controller is silent.
  if (stands("stale-" + a.subject)) return true;
  for (const auto& c : rig_.chargers)
    for (const int s : c.strings)
      if (s >= 0 && s < static_cast<int>(rig_.strings.size()) && rig_.strings[s].name == a.subject && stands("stale-" + c.name))
        return true;
  return false;
}

AlarmState Alarms::state(std::string_view key) const {
  const auto it = book_.find(key);
  if (it == book_.end()) return AlarmState::normal;
  const Alarm& a = it->second;
  const auto by = a.hidden ? Suppression::by_design : a.shelved_until ? Suppression::shelved : Suppression::none;
  return state_of({a.condition, a.acked, false, by});
}

bool Alarms::standing(std::string_view key) const {
  if (key.starts_with("group:")) {
    key.remove_prefix(6);
    return std::any_of(book_.begin(), book_.end(), [&](const auto& e) { return e.second.condition && e.second.group == key; });
  }
  const auto it = book_.find(key);
  return it != book_.end() && it->second.condition;
}

std::optional<std::string> Alarms::wording(std::string_view key) const {
  std::vector<const Alarm*> members;
  for (const auto& [name, a] : book_)
    if (a.condition && !a.hidden && !a.shelved_until && (name == key || (key.starts_with("group:") && a.group == key.substr(6)))) members.push_back(&a);
  if (members.empty()) return "";
  if (std::none_of(members.begin(), members.end(), [](const Alarm* a) { return a->worth_saying; })) return std::nullopt;
  return members.size() > 1 && !members.front()->group_text.empty() ? members.front()->group_text : members.front()->text;
}

// ---- what comes in ---------------------------------------------------------------------------

void Alarms::offer(const Fact& f, Now now) {
  advance(now);
  const std::string key = f.alarm + "-" + f.subject;
  auto it = book_.find(key);
  if (it == book_.end() && !f.condition) return;
  if (!enabled(f.alarm)) {
    if (it != book_.end() && it->second.condition) clear(key, it->second, now, "cleared");
    return;
  }
  if (it == book_.end()) {
    it = book_.emplace(key, Alarm{}).first;
    it->second.alarm = f.alarm;
    it->second.subject = f.subject;
  }
  Alarm& a = it->second;
  deadline_known_ = false;
  a.offered_at = now.at;
  if (!f.over_text.empty()) a.over_text = f.over_text;
  // Once raised it stays while the condition does; doubt only keeps it from being raised.
  const bool holds = f.condition && (a.condition || a.raw || f.confidence >= 0.5);
  if (holds) {
    a.text = f.text;
    a.group = f.group;
    a.group_text = f.group_text;
    a.hidden_by = f.hidden_by;
    a.worth_repeating = f.worth_repeating;
    a.worth_saying = f.worth_saying && (spoken_unasked(f.alarm) || rig_.alarms.contains(f.alarm));
    a.own_priority = f.priority;
  }
  take(key, a, holds, now);
}

bool Alarms::remembers(std::string_view alarm) const {
  return std::any_of(book_.begin(), book_.end(), [&](const auto& entry) { return entry.second.alarm == alarm; });
}

void Alarms::take(const std::string& key, Alarm& a, bool holds, Now now) {
  const Timing t = timing(a);
  if (holds && !a.raw) {
    const bool long_quiet = now.at - a.raw_since >= std::max<Span>(t.off_delay, 10min);
    if (a.comings == 0 || (!a.condition && long_quiet)) {
      a.trouble_since = now.at;
      a.trouble_total = Span::zero();
      a.comings = 0;
    }
    ++a.comings;
    a.raw = true;
    a.raw_since = now.at;
  } else if (!holds && a.raw) {
    a.trouble_total += now.at - a.raw_since;
    a.raw = false;
    a.raw_since = now.at;
  }
  if (a.raw && !a.condition) {
    const Span total = a.trouble_total + (now.at - a.raw_since);
    // What comes and goes without end is trouble too, though no spell of it outlasts the on-delay.
    const bool unstable = a.comings >= 3 && total >= 2 * std::max<Span>(t.on_delay, 5min) && 10 * total >= 4 * (now.at - a.trouble_since);
    if (unstable) {
      raise(key, a, now);
      set_chattering(key, a, now);
    }
  }
  if (a.condition) {
    const bool hidden = hidden_now(a);
    if (hidden != a.hidden) refresh_hidden(now);
    if (a.worth_saying && !a.look_at && !a.hidden && !a.shelved_until) {
      if (!a.told) look_soon(a, now);
      else if (static_cast<int>(priority(a)) > a.told_priority) a.look_at = now.at;
    }
    publish(key, a, false, now);
  }
  advance(now);
}

void Alarms::on_reading(const Reading& r, Now now) {
  if (rules_of_.empty()) return;
  const auto it = rules_of_.find(r.channel);
  if (it == rules_of_.end() || r.retained || !r.value) return;
  advance(now);
  for (const std::size_t i : it->second) {
    const auto holds = watches_[i].take(rig_.rules[i], *r.value, now.at);
    if (rig_.rules[i].test == rig::Test::missing)
      offer_rule(i, false, now);
    else if (holds)
      offer_rule(i, *holds, now);
  }
}

void Alarms::on_derived(rig::Derived what, int thing, std::optional<double> value, Now now) {
  if (!value || rules_of_derived_.empty()) return;
  const auto it = rules_of_derived_.find({what, thing});
  if (it == rules_of_derived_.end()) return;
  advance(now);
  for (const std::size_t i : it->second) {
    const auto holds = watches_[i].take(rig_.rules[i], *value, now.at);
    if (rig_.rules[i].test == rig::Test::missing)
      offer_rule(i, false, now);
    else if (holds)
      offer_rule(i, *holds, now);
  }
}

void Alarms::offer_rule(std::size_t i, bool holds, Now now) {
  const rig::Rule& rule = rig_.rules[i];
  const std::string& key = rule_keys_[i];
  if (rule.test == rig::Test::missing) deadline_known_ = false;
  if (!enabled(rule.name)) return;
  auto it = book_.find(key);
  if (it == book_.end()) {
    if (!holds) return;
    it = book_.emplace(key, Alarm{}).first;
    it->second.alarm = rule.name;
    it->second.subject = rule_subject(rule, rig_);
  }
  Alarm& a = it->second;
  if (!holds && !a.raw && !a.condition) return;
  deadline_known_ = false;
  const bool text_is_old = !a.raw || now.at - a.offered_at >= 1min;
  // On its way back, inside the deadband, a figure would contradict its limit.
  if (holds && text_is_old && (a.text.empty() || watches_[i].beyond(rule))) {
    const Elapsed since = rule.test == rig::Test::missing ? watches_[i].last_seen().value_or(now.at)
                          : a.condition                   ? a.raised_at
                          : a.raw                         ? a.raw_since
                                                          : now.at;
    const Utc since_utc = a.condition && rule.test != rig::Test::missing ? a.raised_utc : utc_of(since, now);
    a.text = rule_text(rule, watches_[i].compared(), since_utc, now.utc, words_);
    a.offered_at = now.at;
  } else if (!holds) {
    a.offered_at = now.at;
    a.over_text = rule_over_text(rule, rule.test == rig::Test::missing ? 0 : watches_[i].compared(), words_);
  }
  take(key, a, holds, now);
}

// ---- what the owner does ---------------------------------------------------------------------

Result<void> Alarms::acknowledge(std::string_view key, std::string_view by, Now now) {
  advance(now);
  const auto it = book_.find(key);
  if (it == book_.end()) return Fault{printable(key, 60), "no such alarm here"};
  Alarm& a = it->second;
  if (a.acked && !a.condition) return Fault{it->first, "nothing to acknowledge, it does not stand"};
  if (a.acked) return {};
  deadline_known_ = false;
  a.acked = true;
  a.acked_by = printable(by, 40);
  a.remind_at.reset();
  record(a, "acknowledged", now);
  if (a.condition) publish(it->first, a, true, now);
  return {};
}

Result<void> Alarms::shelve(std::string_view key, double hours, Now now) {
  advance(now);
  const auto it = book_.find(key);
  if (it == book_.end()) return Fault{printable(key, 60), "no such alarm here"};
  Alarm& a = it->second;
  const double most = priority(a) == Priority::urgent ? 24 : 168;
  if (!(hours >= 0 && hours <= most))
    return Fault{it->first, "hours must be from 0 (end shelving) to " + fixed(most, 0)};
  deadline_known_ = false;
  if (hours == 0) {
    if (a.shelved_until) a.shelved_until = now.at;
    advance(now);
    return {};
  }
  a.shelved_until = now.at + Span{std::llround(hours * 3.6e6)};
  record(a, "shelved", now);
  if (a.condition) publish(it->first, a, true, now);
  return {};
}

void Alarms::never_said(std::string_view key, Now now) {
  for (auto& [name, a] : book_) {
    if (name != key && !(key.starts_with("group:") && a.group == key.substr(6))) continue;
    deadline_known_ = false;
    a.told_at.reset();
    a.remind_at.reset();
    a.reminders = 0;
    if (!a.told && !a.look_at) continue;
    a.told = false;
    a.settled_at.reset();
    if (a.condition) look_soon(a, now);
  }
}

// ---- time ------------------------------------------------------------------------------------

std::optional<Alarms::Next> Alarms::next() const {
  std::optional<Next> first;
  const auto offer = [&](Elapsed at, const std::string& key, Due what) {
    if (!first || at < first->at || (at == first->at && (key < first->key || (key == first->key && what < first->what))))
      first = Next{at, key, what};
  };
  for (std::size_t i = 0; i < rig_.rules.size(); ++i) {
    const rig::Rule& r = rig_.rules[i];
    if (r.test != rig::Test::missing || !watches_[i].last_seen() || !enabled(r.name)) continue;
    const auto it = book_.find(rule_keys_[i]);
    if (it != book_.end() && it->second.raw) continue;
    offer(*watches_[i].last_seen() + (r.on_delay > Span::zero() ? r.on_delay : default_missing_after), rule_keys_[i], Due::missing);
  }
  if (republish_at_) offer(*republish_at_, "", Due::republish);
  for (const auto& [key, a] : book_) {
    if (a.raw && !a.condition) offer(a.raw_since + timing(a).on_delay, key, Due::raise);
    if (!a.raw && a.condition) offer(a.raw_since + off_delay_of(a), key, Due::clear);
    if (a.shelved_until) offer(*a.shelved_until, key, Due::unshelve);
    if (a.look_at) offer(*a.look_at, key, Due::look);
    if (a.remind_at) offer(*a.remind_at, key, Due::remind);
    if (a.settled_at) offer(*a.settled_at, key, Due::settle);
    if (a.condition) {
      const auto* rule = rule_named(a.alarm);
      if (!rule || rule->test != rig::Test::missing) offer(a.offered_at + forgotten_after, key, Due::expire);
    }
  }
  return first;
}

std::optional<Elapsed> Alarms::next_deadline() const {
  if (!deadline_known_) {
    const auto n = next();
    deadline_ = n ? std::optional{n->at} : std::nullopt;
    deadline_known_ = true;
  }
  return deadline_;
}

void Alarms::advance(Now now) {
  if (!last_) {
    for (auto& w : watches_) w.start(now.at);
    deadline_known_ = false;
  }
  last_ = std::max(last_.value_or(now.at), now.at);
  for (auto due = next_deadline(); due && *due <= now.at; due = next_deadline()) run(*next(), now);
}

void Alarms::run(const Next& due, Now now) {
  deadline_known_ = false;
  const Now then = moment(due.at, now);
  if (due.what == Due::republish) {
    republish_at_.reset();
    for (auto& e : republish()) effects_.push_back(std::move(e));
    return;
  }
  if (due.what == Due::missing) {
    for (std::size_t i = 0; i < rule_keys_.size(); ++i)
      if (rule_keys_[i] == due.key && rig_.rules[i].test == rig::Test::missing) {
        const auto [it, fresh] = book_.try_emplace(due.key);
        if (fresh) {
          it->second.alarm = rig_.rules[i].name;
          it->second.subject = rule_subject(rig_.rules[i], rig_);
        }
        it->second.text = rule_text(rig_.rules[i], 0, utc_of(*watches_[i].last_seen(), now), then.utc, words_);
        it->second.raw = true;
        it->second.raw_since = due.at;
      }
    return;
  }
  const auto it = book_.find(due.key);
  const std::string& key = it->first;
  Alarm& a = it->second;
  switch (due.what) {
    case Due::missing: break;
    case Due::raise:
      if (silent_rule(key, due.at)) {
        a.raw = false;
        a.raw_since = due.at;
      } else {
        raise(key, a, then);
      }
      break;
    case Due::clear: clear(key, a, then, "cleared"); break;
    case Due::unshelve:
      a.shelved_until.reset();
      record(a, "unshelved", then);
      if (a.condition) {
        publish(key, a, true, then);
        if (!a.told) look_soon(a, then);
        if (a.told && !a.acked && !a.remind_at) a.remind_at = then.at;
      }
      break;
    case Due::look:
      a.look_at.reset();
      look(key, a, then);
      break;
    case Due::remind:
      a.remind_at.reset();
      if (!a.raw) {  // about to be over: "still so" would not be true
        a.remind_at = then.at + 10min;
        break;
      }
      look(key, a, then);
      if (a.condition && a.told && !a.acked && !a.remind_at) a.remind_at = then.at + 1h;
      break;
    case Due::settle:
      a.settled_at.reset();
      a.settled = true;
      say_end(key);
      break;
    case Due::expire:
      a.over_text.clear();
      clear(key, a, then, "expired");
      break;
  }
}

/// An owner's rule whose signal has not spoken for so long that its last value proves nothing.
bool Alarms::silent_rule(const std::string& key, Elapsed at) const {
  for (std::size_t i = 0; i < rule_keys_.size(); ++i)
    if (rule_keys_[i] == key && rig_.rules[i].test != rig::Test::missing)
      return at - watches_[i].last_seen().value_or(at) > believed_for;
  return false;
}

// ---- the life cycle --------------------------------------------------------------------------

void Alarms::raise(const std::string& key, Alarm& a, Now now) {
  const bool back = a.cleared_at && now.at - *a.cleared_at < chatter_within;
  if (!back) a.chattering = false;
  if (back) set_chattering(key, a, now);
  a.condition = true;
  a.raised_at = now.at;
  a.raised_utc = now.utc;
  a.acked = false;
  a.acked_by.clear();
  a.settled_at.reset();
  a.settled = false;
  a.hidden = false;
  a.over_text.clear();  // of an earlier time
  record(a, a.told || back ? "re_raised" : "raised", now);
  refresh_hidden(now);
  if (!a.told) look_soon(a, now);
  if (a.told) a.remind_at = now.at + remind_after(priority(a), a.reminders, outlook_of(a.alarm, priority(a)));
  publish(key, a, true, now);
}

void Alarms::set_chattering(const std::string& key, Alarm& a, Now now) {
  if (!a.chattering) effects_.emplace_back(Store{EventRow{{now.utc, now.at, now.trusted}, "unstable", key + " comes and goes"}});
  a.chattering = true;
}

void Alarms::clear(const std::string& key, Alarm& a, Now now, const char* event) {
  a.condition = false;
  a.raw = false;
  a.raw_since = now.at;
  a.comings = 0;
  a.cleared_at = now.at;
  a.cleared_utc = now.utc;
  a.look_at.reset();
  a.remind_at.reset();
  a.hidden = false;
  record(a, event, now, std::string_view(event) == "cleared" ? a.over_text : a.text);
  if (a.told) {
    a.settled_at = now.at + timing(a).settle;
    const std::string ask = a.group.empty() ? key : "group:" + a.group;
    if (!standing(ask)) {
      Notice n;
      n.id = key + "-" + std::to_string(ms_of(a.raised_at)) + "-end";
      n.utc = now.utc;
      n.priority = priority(a);
      n.alarm = a.alarm;
      n.subject = a.subject;
      n.key = ask;
      n.ending = true;
      notices_.push_back(std::move(n));
    }
  }
  publish(key, a, true, now);
  refresh_hidden(now);
}

void Alarms::look_soon(Alarm& a, Now now) {
  const bool others_may_come = !a.group.empty() || !a.hidden_by.empty() || about_a_string(a.alarm);
  a.look_at = others_may_come && priority(a) != Priority::urgent ? now.at + gather : now.at;
}

bool Alarms::group_told(const std::string& key, const Alarm& a) const {
  if (a.group.empty()) return false;
  return std::any_of(book_.begin(), book_.end(), [&](const auto& e) {
    return e.first != key && e.second.group == a.group && e.second.told && e.second.told_priority >= static_cast<int>(priority(a));
  });
}

std::vector<std::pair<const std::string, Alarms::Alarm>*> Alarms::group_of(const std::string& key) {
  std::vector<std::pair<const std::string, Alarm>*> out;
  const auto self = book_.find(key);
  for (auto& e : book_)
    if (e.first == key || (!self->second.group.empty() && e.second.group == self->second.group)) out.push_back(&e);
  return out;
}

void Alarms::look(const std::string& key, Alarm& a, Now now) {
  const Priority p = priority(a);
  NotifyFacts f;
  f.condition = a.condition;
  f.told = a.told;
  f.worth_saying = a.worth_saying;
  f.shelved = a.shelved_until.has_value();
  f.hidden = a.hidden;
  f.group_told = group_told(key, a);
  f.too_soon = a.told_at && !a.told && now.at - *a.told_at < pause_of(p, outlook_of(a.alarm, p)) && static_cast<int>(p) <= a.told_priority;
  f.worse = static_cast<int>(p) > a.told_priority;
  f.reminder_due = a.worth_repeating && a.told_at && now.at - *a.told_at >= remind_after(p, a.reminders, outlook_of(a.alarm, p));
  f.acknowledged = a.acked;
  f.matters = p != Priority::low;
  const Notify why = decide(f);
  if (spoken(why)) return say(key, a, why, now);
  if (why == Notify::held_too_soon) a.look_at = *a.told_at + pause_of(p, outlook_of(a.alarm, p));
  if (why == Notify::held_in_group) {
    a.told = true;
    a.told_priority = static_cast<int>(p);
    for (const auto* e : group_of(key))
      if (e->first != key && e->second.told && e->second.told_at) a.told_at = std::max(a.told_at.value_or(*e->second.told_at), *e->second.told_at);
  }
}

void Alarms::say(const std::string& key, Alarm& a, Notify why, Now now) {
  std::vector<Alarm*> members;
  int worst = 0;
  for (auto* e : group_of(key)) {
    Alarm& m = e->second;
    if (!m.condition || m.shelved_until || m.hidden || !m.worth_saying) continue;
    members.push_back(&m);
    worst = std::max(worst, static_cast<int>(priority(m)));
  }
  Notice n;
  n.id = key + "-" + std::to_string(ms_of(a.raised_at));
  if (why == Notify::worse) n.id += "-worse" + std::to_string(worst);
  n.again = why == Notify::escalated || why == Notify::reminder;
  if (n.again) n.id += "-again" + std::to_string(a.reminders + 1);
  n.utc = why == Notify::first_raise ? a.raised_utc : now.utc;
  n.priority = static_cast<Priority>(worst);
  n.alarm = a.alarm;
  n.subject = members.size() > 1 ? "rig" : a.subject;
  n.key = a.group.empty() ? key : "group:" + a.group;
  n.text = members.size() > 1 && !a.group_text.empty() ? a.group_text : a.text;
  if (n.text.empty()) {
    const auto* b = built_in(a.alarm);
    n.text = Words::capital(std::string(b ? b->label : std::string_view(a.alarm))) + " (" + Words::named(a.subject) + ") since " +
             words_.when(a.raised_utc, now.utc) + ".";
  }
  if (why == Notify::worse || why == Notify::escalated) record(a, "escalated", now);
  for (Alarm* m : members) {
    m->told = true;
    m->told_priority = worst;
    m->told_at = now.at;
    m->look_at.reset();
    m->reminders = n.again ? m->reminders + 1 : 0;
    m->remind_at.reset();
    if (!m->acked) m->remind_at = now.at + remind_after(priority(*m), m->reminders, outlook_of(m->alarm, priority(*m)));
  }
  notices_.push_back(std::move(n));
}

void Alarms::say_end(const std::string& key) {
  const auto group = group_of(key);
  for (const auto* e : group)
    if (e->second.told && !e->second.settled) return;  // one of the storm still stands, or is not sure to be over
  Notice n;
  for (auto* e : group) {
    Alarm& m = e->second;
    if (!m.told) continue;
    m.told = false;
    m.settled = false;
    if (!m.over_text.empty() && !is_outlook(m.alarm) && n.text.find(m.over_text) == std::string::npos)
      n.text += (n.text.empty() ? "" : " ") + m.over_text;
    m.over_text.clear();
    n.utc = std::max(n.utc, m.cleared_utc);
  }
  if (n.text.empty()) return;
  const Alarm& a = book_.find(key)->second;
  n.id = key + "-" + std::to_string(ms_of(a.raised_at)) + "-over";
  n.priority = Priority::low;
  n.alarm = a.alarm;
  n.subject = group.size() > 1 ? "rig" : a.subject;
  n.key = a.group.empty() ? key : "group:" + a.group;
  n.ending = true;
  notices_.push_back(std::move(n));
}

void Alarms::refresh_hidden(Now now) {
  for (auto& [key, a] : book_) {
    if (!a.condition) continue;
    const bool hidden = hidden_now(a);
    if (hidden == a.hidden) continue;
    a.hidden = hidden;
    record(a, hidden ? "suppressed" : "unsuppressed", now);
    if (!hidden && !a.told) look_soon(a, now);
    if (!a.published.empty()) publish(key, a, true, now);
  }
}

// ---- what goes out ---------------------------------------------------------------------------

void Alarms::publish(const std::string& key, Alarm& a, bool state_changed, Now now) {
  // New figures in a text are worth a retained message now and then, not one each minute over a phone link.
  if (!state_changed && a.published_at && now.at - *a.published_at < publish_spacing) return;
  std::string text;
  if (a.condition) {
    nlohmann::ordered_json j;
    j["alarm"] = a.alarm;
    j["subject"] = a.subject;
    j["priority"] = name(priority(a));
    j["state"] = name(state(key));
    j["since_utc"] = iso_utc(a.raised_utc);
    if (!a.acked_by.empty()) j["acknowledged_by"] = a.acked_by;
    if (a.shelved_until) j["shelved_until_utc"] = iso_utc(utc_of(*a.shelved_until, now));
    j["text"] = a.text;
    text = json_text_in_order(j);
  }
  if (text == a.published) return;
  a.published = text;
  a.published_at = now.at;
  a.ever_published = true;
  effects_.emplace_back(Publish{"", topic_ + key, std::move(text), 1, true, {}, ""});
}

void Alarms::on_link_back(Now now) {
  advance(now);
  deadline_known_ = false;
  republish_at_ = now.at + republish_after;
}

std::vector<Effect> Alarms::republish() const {
  std::vector<Effect> out;
  for (const auto& [key, a] : book_)
    if (a.ever_published) out.emplace_back(Publish{"", topic_ + key, a.published, 1, true, {}, ""});
  return out;
}

void Alarms::record(const Alarm& a, const char* event, Now now) { record(a, event, now, a.text); }

void Alarms::record(const Alarm& a, const char* event, Now now, const std::string& text) {
  effects_.emplace_back(
      Store{AlarmRow{{now.utc, now.at, now.trusted}, a.alarm, a.subject, event, std::string(name(priority(a))), text}});
}

std::vector<Alarms::Line> Alarms::lines() const {
  struct Candidate { bool worth; int priority; Elapsed since; Line line; };
  std::vector<Candidate> all;
  std::map<std::string, std::pair<std::size_t, int>> groups;  // its line, its members
  for (const auto& [key, a] : book_) {
    if (!a.condition || a.shelved_until || a.hidden || a.text.empty()) continue;
    // Until it is sure to be over its end is what there is to say; what may come and no longer looks so is nothing.
    const bool over = !a.raw && (is_outlook(a.alarm) || !a.over_text.empty());
    if (over && is_outlook(a.alarm)) continue;
    Candidate line{a.worth_saying && !over, static_cast<int>(priority(a)), a.raised_at, {a.alarm, over ? a.over_text : a.text}};
    if (!a.group.empty() && !over) {
      const auto [it, first] = groups.try_emplace(a.group, all.size(), 0);
      if (++it->second.second > 1 && !a.group_text.empty()) {
        Candidate& whole = all[it->second.first];
        whole = {whole.worth || line.worth, std::max(whole.priority, line.priority), std::min(whole.since, line.since), {a.alarm, a.group_text}};
        continue;
      }
    }
    all.push_back(std::move(line));
  }
  std::stable_sort(all.begin(), all.end(), [](const Candidate& x, const Candidate& y) {
    if (x.worth != y.worth) return x.worth;
    if (x.priority != y.priority) return x.priority > y.priority;
    return x.since < y.since;
  });
  std::vector<Line> out;
  for (auto& l : all) out.push_back(std::move(l.line));
  return out;
}

std::vector<Effect> Alarms::take_effects() { return std::exchange(effects_, {}); }
std::vector<Notice> Alarms::take_notices() { return std::exchange(notices_, {}); }

}  // namespace fw::alarms
