#include "outbox/outbox.h"

#include <algorithm>

#include <nlohmann/json.hpp>

#include "alarms/builtin.h"
#include "units/json.h"
#include "units/text.h"

namespace fw::outbox {
namespace {

using rig::Priority;

/// After a return: time for the rooms to see how things are, before "still so" is claimed.
constexpr Span reunion_after = 10s;
constexpr Span keep_open = 30 * 24h;
/// A held notice waits for the morning; when the clock is not trusted there is none, and this long must do.
constexpr Span longest_hold = 26h;
constexpr Span long_out_of_reach = 6h;
/// From our broker's confirmation to its save; a save of a small board's card takes some tens of milliseconds.
constexpr Span save_time = 2s;
/// What waited for the morning was told then: its repetition counts from there.
constexpr Span again_after = 6h;
constexpr std::size_t most_open = 300;
constexpr std::size_t closed_kept = 200;

Span ack_retry(int tries) { return std::min<Span>(30s * (1 << std::min(tries, 6)), 10min); }
Span seen_retry(int tries) { return tries <= 1 ? Span(15min) : tries == 2 ? Span(1h) : tries == 3 ? Span(6h) : Span(24h); }

bool only_while_true(const std::string& alarm) {
  const auto* b = alarms::built_in(alarm);
  return b && b->only_while_true;
}

}  // namespace

Outbox::Outbox(const rig::Rig& rig, const Words& words) : rig_(rig), words_(words) {
  gathering_minute_ = rig.phone.morning.minutes;
  if (rig.phone.quiet) {
    const int from = rig.phone.quiet->first.minutes, to = rig.phone.quiet->second.minutes, m = gathering_minute_;
    const bool inside = from <= to ? m >= from && m < to : m >= from || m < to;
    if (inside) gathering_minute_ = to;
  }
}

// ---- what comes in ---------------------------------------------------------------------------

void Outbox::add(const alarms::Notice& n, Now now) {
  wake_at_ = now.at;
  if (std::find(closed_.begin(), closed_.end(), n.id) != closed_.end()) return;
  for (const auto& e : open_)
    if (e.notice.id == n.id) return;

  const bool has_key = !n.key.empty();
  if (n.ending) {
    bool began_unsaid = false;
    for (auto& e : open_)
      if (has_key && e.notice.key == n.key && !e.notice.ending && !e.sent && !e.composed) {
        if (e.not_before) {
          close(e, "expired", "over before it was to be said again", now);
          continue;
        }
        e.ended = n.utc;
        began_unsaid = true;
      }
    forget_closed();
    const auto told = told_.find(n.key);
    if (n.text.empty() || began_unsaid || told == told_.end() || !told->second) return;
  }
  Entry fresh;
  fresh.notice = n;
  fresh.stored = {now.utc, now.at, now.trusted};
  if (n.ending) fresh.ended = n.utc;
  if (has_key && !n.ending) {
    for (auto& e : open_) {
      if (e.notice.key != n.key || e.sent || e.composed) continue;
      if (e.notice.ending) {
        close(e, "expired", "no longer so: it is back", now);
      } else if (!e.ended) {
        // The same episode, not yet said: the later figures, the first time.
        fresh.notice.utc = std::min(fresh.notice.utc, e.notice.utc);
        fresh.notice.again = false;
        fresh.held |= e.held && n.priority <= e.notice.priority;  // it goes on waiting for the morning
        close(e, "expired", "replaced by " + n.id, now);
      }
    }
    forget_closed();
    if (n.priority != Priority::urgent && fresh.notice.again)
      if (const auto heard = heard_at_.find(n.key); heard != heard_at_.end() && heard->second + again_after > now.at)
        fresh.not_before = heard->second + again_after;
  }
  store(fresh, "waiting", std::nullopt, "");
  open_.push_back(std::move(fresh));
  if (open_.size() > most_open) {
    auto victim = std::find_if(open_.begin(), open_.end(), [](const Entry& e) { return e.notice.priority == Priority::low && !e.sent; });
    if (victim == open_.end()) victim = open_.begin();
    close(*victim, "expired", "more than " + std::to_string(most_open) + " were waiting", now);
    forget_closed();
  }
}

void Outbox::on_broker(bool connected, Now now) {
  const bool before = reachable();
  broker_ = connected;
  if (!connected)
    for (auto& e : open_)
      if (e.awaiting || e.done_at) {
        e.awaiting = false;
        e.done_at.reset();
        e.publish = true;
        if (!rig_.phone.seen_required) e.tries = 0;
      }
  set_reach(before, now);
}

void Outbox::on_link(bool up, Now now) {
  const bool before = reachable();
  link_ = up;
  set_reach(before, now);
}

void Outbox::set_reach(bool before, Now now) {
  wake_at_ = now.at;
  const bool after = reachable();
  if (before == after) return;
  if (!after) {
    out_of_reach_since_ = now.utc;
    reunion_at_.reset();
    for (auto& e : open_) e.done_at.reset();
    // What was about to leave and did not is judged anew on return.
    for (auto& e : open_)
      if (e.granted && !e.sent && !e.composed) e.granted = e.publish = false;
    return;
  }
  bool waiting = false;
  for (auto& e : open_) {
    if (e.sent && !e.awaiting) e.publish = true;
    waiting = waiting || !e.granted;
  }
  // Thrown out again within moments by another client with our id, there is no time to look around.
  const bool fought_over = std::any_of(open_.begin(), open_.end(), [](const Entry& e) { return e.notice.alarm == "client_id" && !e.notice.ending; });
  if (waiting) reunion_at_ = now.at + (fought_over ? Span{0} : reunion_after);
  else out_of_reach_since_.reset();
}

void Outbox::on_sent(std::string_view id, Now now) {
  for (auto& e : open_) {
    if (e.notice.id != id || !e.awaiting) continue;
    wake_at_ = now.at;
    e.awaiting = false;
    e.retry_at.reset();
    if (rig_.phone.seen_required)
      e.retry_at = now.at + seen_retry(e.tries);
    else if (reachable())
      e.done_at = now.at + save_time;
    break;
  }
}

void Outbox::finish_confirmed(Now now) {
  for (auto& e : open_)
    if (e.done_at && *e.done_at <= now.at) close(e, "delivered", "", now);
  forget_closed();
}

void Outbox::on_seen(std::string_view id, Now now) {
  for (auto& e : open_)
    if (e.notice.id == id && e.sent) {
      wake_at_ = now.at;
      close(e, "delivered", "", now);
      break;
    }
  forget_closed();
}

// ---- time ------------------------------------------------------------------------------------

bool Outbox::quiet(Now now) const {
  if (!rig_.phone.quiet || !now.trusted) return false;
  const int from = rig_.phone.quiet->first.minutes, to = rig_.phone.quiet->second.minutes, m = words_.minute_of_day(now.utc);
  return from <= to ? m >= from && m < to : m >= from || m < to;
}

std::string Outbox::day_of(Now now) const {
  return now.trusted ? words_.local_date(now.utc) : "untrusted " + std::to_string(ms_of(now.at) / Span(24h).count());
}

/// Urgent notices and answers the owner asked for take no place in the day's count.
bool Outbox::counts(const Entry& e) { return e.notice.priority != Priority::urgent && (e.composed || !e.notice.key.empty()); }

int Outbox::room_left(Now now, Priority p) const {
  const int most = std::max(1, rig_.phone.max_per_day);
  const int mine = p == Priority::low ? std::max(1, most - 1) : most;
  const auto leaving = std::count_if(open_.begin(), open_.end(), [](const Entry& e) { return e.granted && !e.sent && counts(e); });
  return std::max(0, mine - (day_of(now) == counted_day_ ? counted_ : 0) - static_cast<int>(leaving));
}

void Outbox::count(Now now) {
  const std::string day = day_of(now);
  if (day != counted_day_) {
    counted_day_ = day;
    counted_ = 0;
  }
  ++counted_;
}

Utc Outbox::next_gathering(Utc after) const { return words_.next_at(gathering_minute_, after); }

std::optional<Elapsed> Outbox::next_deadline() const {
  std::optional<Elapsed> first;
  const auto offer = [&](std::optional<Elapsed> t) {
    if (t && (!first || *t < *first)) first = t;
  };
  offer(wake_at_);
  offer(reunion_at_);
  if (reachable() && !reunion_at_) offer(hold_until_);
  if (next_gathering_ && trusted_) offer(Elapsed{next_gathering_->time_since_epoch() - offset_});
  for (const auto& e : open_) {
    if (reachable() && !reunion_at_ && (e.awaiting || (e.sent && !e.publish))) offer(e.retry_at);
    offer(e.done_at);
    if (e.not_before && *e.not_before > last_) offer(e.not_before);
    offer(e.stored.at + keep_open);
  }
  return first;
}

void Outbox::advance(Now now, const Standing& standing) {
  const Span offset = now.utc.time_since_epoch() - now.at.time_since_epoch();
  if (!seen_time_) {
    seen_time_ = true;
    offset_ = offset;
    trusted_ = now.trusted;
    const Utc next = next_gathering(now.utc);
    next_gathering_ = next_gathering_ ? std::min(*next_gathering_, next) : next;
  }
  run_until(now.at, standing);
  if (offset == offset_ && now.trusted == trusted_) return;
  // The clock was set: what was due before fell under the old one. A morning jumped over comes now, once.
  offset_ = offset;
  trusted_ = now.trusted;
  next_gathering_ = std::min(*next_gathering_, next_gathering(now.utc));
  run_until(now.at, standing);
}

void Outbox::run_until(Elapsed end, const Standing& standing) {
  for (auto due = next_deadline(); due && *due <= end; due = next_deadline()) {
    last_ = std::max(last_, *due);  // elapsed time never runs back
    step({last_, utc_at(last_, offset_), trusted_}, standing);
  }
  last_ = std::max(last_, end);
}

void Outbox::step(Now now, const Standing& standing) {
  if (wake_at_ && *wake_at_ <= now.at) wake_at_.reset();
  finish_confirmed(now);
  expire_old(now);
  if (next_gathering_ && now.trusted && now.utc >= *next_gathering_) {
    next_gathering_ = next_gathering(now.utc);
    if (reachable() && !reunion_at_) gather(now, standing, true);
  }
  if (reunion_at_ && *reunion_at_ <= now.at) {
    reunion_at_.reset();
    if (reachable()) reunite(now, standing);
    out_of_reach_since_.reset();
  }
  if (reachable() && !reunion_at_) {
    if (hold_until_ && *hold_until_ <= now.at) {
      hold_until_.reset();
      gather(now, standing, false);
    }
    grant_each(now, standing);
    send_next(now);
  }
  forget_closed();
  const bool holding = std::any_of(open_.begin(), open_.end(), [](const Entry& e) { return e.held; });
  if (!holding) hold_until_.reset();
  else if (!hold_until_) hold_until_ = now.at + longest_hold;
}

void Outbox::expire_old(Now now) {
  for (auto& e : open_)
    if (now.at - e.stored.at >= keep_open)
      close(e, "expired", e.sent ? "not confirmed within 30 days" : "no way out within 30 days", now);
  forget_closed();
}

// ---- what may leave --------------------------------------------------------------------------

/// A later episode of the same key waits behind it: this one is history.
bool Outbox::superseded(const Entry& e) const {
  return std::any_of(open_.begin(), open_.end(), [&](const Entry& o) {
    return &o > &e && o.notice.key == e.notice.key && !o.notice.ending && !o.granted;
  });
}

bool Outbox::still(const Entry& e, const Standing& standing) const {
  if (e.notice.key.empty() || e.notice.ending) return true;
  if (e.notice.alarm == "link" && reachable()) return false;
  // Its episode is over and a later one has been told.
  if (const auto told = told_.find(e.notice.key); e.ended && told != told_.end() && told->second) return false;
  return standing(e.notice.key) && !superseded(e);
}

void Outbox::drop_passed_offers(Now now, const Standing& standing) {
  for (auto& e : open_)
    if (!e.granted && !e.composed && only_while_true(e.notice.alarm) && !e.notice.ending && !still(e, standing))
      give_up(e, "over before it could be told", now);
  forget_closed();
}

void Outbox::freshen(const Standing& standing, Now now) {
  if (!wording_) return;
  for (auto& e : open_) {
    if (e.sent || e.composed || e.notice.ending || e.notice.key.empty() || now.at - e.stored.at <= 30min || !still(e, standing)) continue;
    std::optional<std::string> words = wording_(e.notice.key);
    if (!words) {
      give_up(e, "nothing to do any more when it could be told", now);
    } else if (!words->empty() && *words != e.notice.text) {
      e.notice.text = *words;
      e.fresh_words = true;
    }
  }
  forget_closed();
}

void Outbox::grant_each(Now now, const Standing& standing) {
  for (auto& e : open_) {
    // Quiet hours began while it stood in the queue.
    if (e.granted && !e.sent && !e.composed && counts(e) && quiet(now)) {
      e.granted = e.publish = false;
      e.held = true;
    }
    if (e.granted || e.held) continue;
    if (e.not_before) {
      if (*e.not_before > now.at) continue;
      e.not_before.reset();
      if (const auto words = wording_ ? wording_(e.notice.key) : std::optional<std::string>{""}; words && !words->empty())
        e.notice.text = *words;
    }
    const bool asked = e.notice.key.empty();
    if (!asked && !still(e, standing)) {
      e.held = true;
      continue;
    }
    if (!asked && e.notice.priority != Priority::urgent) {
      if (quiet(now) || room_left(now, e.notice.priority) == 0) {
        e.held = true;
        continue;
      }
    }
    e.granted = e.publish = true;
  }
}

/// The morning: everything held goes as one message; a single one that stands goes as itself.
void Outbox::gather(Now now, const Standing& standing, bool morning) {
  if (room_left(now, Priority::high) == 0) return;
  drop_passed_offers(now, standing);
  freshen(standing, now);
  for (auto& e : open_)
    if (e.notice.alarm == "link" && !e.granted && !e.notice.key.empty()) close(e, "expired", "the link is back", now);
  forget_closed();
  std::vector<Entry*> stands, gone;
  for (auto& e : open_)
    if (e.held && !e.granted) (still(e, standing) ? stands : gone).push_back(&e);
  std::stable_sort(stands.begin(), stands.end(), [](const Entry* a, const Entry* b) { return a->notice.priority > b->notice.priority; });
  std::string lead;
  if (morning && rig_.phone.daily_summary && !summary_.empty() && summary_day_ != day_of(now)) {
    summary_day_ = day_of(now);
    lead = summary_;
    std::replace(lead.begin(), lead.end(), '\n', ' ');
  }
  if (lead.empty() && gone.empty() && stands.size() == 1) {
    stands.front()->held = false;
    stands.front()->granted = stands.front()->publish = true;
    return;
  }
  // What came and went and never mattered much is no message of its own; the owner's own rules were asked for.
  if (lead.empty() && stands.empty() &&
      std::all_of(gone.begin(), gone.end(), [](const Entry* e) { return e->notice.priority == Priority::low && alarms::built_in(e->notice.alarm); })) {
    for (auto* e : gone) give_up(*e, "over before it could be told", now);
    forget_closed();
    return;
  }
  compose_and_fold(stands, gone, lead, now);
}

/// The way out is back: what still stands first, then one summary of what came and went.
void Outbox::reunite(Now now, const Standing& standing) {
  drop_passed_offers(now, standing);
  freshen(standing, now);
  std::vector<Entry*> stands, rest;
  for (auto& e : open_) {
    if (e.granted || (e.not_before && *e.not_before > now.at)) continue;
    const bool so = still(e, standing);
    if (e.notice.key.empty() || (so && e.notice.priority == Priority::urgent && !e.notice.ending)) {
      e.held = false;
      e.granted = e.publish = true;
    } else if (quiet(now)) {
      e.held = true;
    } else {
      (so && !e.notice.ending ? stands : rest).push_back(&e);
    }
  }
  if (stands.empty() && rest.empty()) return;
  std::stable_sort(stands.begin(), stands.end(), [](const Entry* a, const Entry* b) {
    if (a->notice.priority != b->notice.priority) return a->notice.priority > b->notice.priority;
    return a->notice.utc < b->notice.utc;
  });
  const int room = room_left(now, Priority::high);
  if (room == 0) {
    for (auto* e : stands) e->held = true;
    for (auto* e : rest) e->held = true;
    return;
  }
  const int most = static_cast<int>(stands.size()) <= room && rest.empty() ? room : room - 1;
  std::vector<Entry*> later;
  for (std::size_t i = 0; i < stands.size(); ++i) {
    if (static_cast<int>(i) >= most) {
      later.push_back(stands[i]);
      continue;
    }
    stands[i]->held = false;
    stands[i]->granted = stands[i]->publish = true;
  }
  if (later.empty() && rest.empty()) return;
  std::vector<Entry*> gone;
  for (auto* e : rest) (e->notice.ending ? later : gone).push_back(e);
  std::string lead;
  if (out_of_reach_since_ && now.utc - *out_of_reach_since_ >= 1h) {
    const auto since = words_.when(*out_of_reach_since_, now.utc);
    lead = "The phone was out of reach from " + since + " to " + words_.clock(now.utc) + ".";
  }
  // The first sentence says all there is to say of the link itself, and only a long silence is worth a message of its own.
  const bool long_silence = out_of_reach_since_ && now.utc - *out_of_reach_since_ >= long_out_of_reach;
  const bool link_only = later.empty() && std::all_of(gone.begin(), gone.end(), [](const Entry* e) { return e->notice.alarm == "link"; });
  if (lead.empty() || (link_only && !long_silence)) {
    for (auto* e : gone)
      if (e->notice.alarm == "link") close(*e, "expired", "the link is back", now);
    std::erase_if(gone, [](const Entry* e) { return e->notice.alarm == "link"; });
  }
  if (!later.empty() || !gone.empty()) compose_and_fold(later, gone, lead, now);
}

Item Outbox::item_of(const Entry& e) const {
  return {e.notice.key, label_of(e.notice.alarm, e.notice.subject), said(e.notice), e.notice.utc, e.ended};
}

void Outbox::compose_and_fold(const std::vector<Entry*>& still, const std::vector<Entry*>& gone, const std::string& lead, Now now) {
  std::vector<Item> still_items, gone_items;
  Priority worst = Priority::low;
  for (const auto* e : still) {
    still_items.push_back(item_of(*e));
    if (e->notice.priority != Priority::low) worst = Priority::high;
  }
  for (const auto* e : gone)
    if (e->notice.alarm != "link") gone_items.push_back(item_of(*e));
  Entry whole;
  whole.composed = whole.granted = whole.publish = true;
  whole.stored = {now.utc, now.at, now.trusted};
  alarms::Notice& n = whole.notice;
  n.id = "gathered-" + std::to_string(ms_of(now.at));
  n.utc = now.utc;
  n.priority = worst;
  n.alarm = "summary";
  n.subject = "rig";
  n.text = gathered_text(lead, still_items, gone_items, now.utc, words_);
  store(whole, "waiting", std::nullopt, "");
  const std::string id = n.id;
  for (auto* e : still) {
    told_[e->notice.key] = !e->notice.ending;
    if (!e->notice.ending) heard_at_[e->notice.key] = now.at;
    close(*e, "folded", id, now);
  }
  for (auto* e : gone) {
    told_[e->notice.key] = false;
    close(*e, "folded", id, now);
  }
  open_.push_back(std::move(whole));
  forget_closed();
}

// ---- what leaves -----------------------------------------------------------------------------

void Outbox::send_next(Now now) {
  for (auto& e : open_)
    if (e.sent && !e.awaiting && e.retry_at && *e.retry_at <= now.at) e.publish = true;
  for (auto& e : open_) {
    if (!e.awaiting) continue;
    if (e.retry_at && *e.retry_at <= now.at) put_out(e, now);
    return;
  }
  Entry* next = nullptr;
  const auto before = [](const Entry& a, const Entry& b) {
    if (a.sent != b.sent) return a.sent;  // again first, in the order in which they left
    if (a.sent) return a.order < b.order;
    const bool ua = a.notice.priority == Priority::urgent, ub = b.notice.priority == Priority::urgent;
    if (ua != ub) return ua;
    if (a.composed != b.composed) return b.composed;
    return a.notice.priority > b.notice.priority;
  };
  for (auto& e : open_)
    if (e.publish && !(e.composed && !e.sent && quiet(now)) && (!next || before(e, *next))) next = &e;
  if (next) put_out(*next, now);
}

void Outbox::put_out(Entry& e, Now now) {
  const alarms::Notice& n = e.notice;
  if (!e.sent) {
    e.sent = true;
    e.order = ++orders_;
    if (counts(e)) count(now);
    if (!n.key.empty()) {
      told_[n.key] = !n.ending;
      if (!n.ending) heard_at_[n.key] = now.at;
    }
    store(e, "sent", now.utc, "");
    effects_.emplace_back(Store{AlarmRow{{now.utc, now.at, now.trusted}, n.alarm, n.subject, "notified",
                                         std::string(alarms::name(n.priority)), said(n)}});
  }
  e.publish = false;
  e.awaiting = true;
  e.retry_at = now.at + ack_retry(e.tries++);
  const bool of_now = e.fresh_words || now.at - e.stored.at <= 30min;
  const std::string text = n.key.empty() || n.again || (of_now && (n.ending || only_while_true(n.alarm))) ? said(n)
                           : of_now   ? with_its_beginning(n.text, n.utc, now.utc, words_)
                           : n.ending ? with_its_day(n.text, n.utc, now.utc, words_)
                                      : with_original_time(n.text, n.utc, now.utc, words_);
  nlohmann::ordered_json j;
  j["id"] = n.id;
  j["utc"] = iso_utc(n.utc);
  j["priority"] = alarms::name(n.priority);
  j["alarm"] = n.alarm;
  j["subject"] = n.subject;
  j["text"] = text;
  const std::string root = "firnwatt/" + rig_.name + "/";
  effects_.emplace_back(Publish{"", root + "notices/text", text, 1, false, {}, n.id + "#text"});
  effects_.emplace_back(
      Publish{"", root + "notices", json_text_in_order(j), 1, false, {}, n.id});
}

void Outbox::close(Entry& e, const char* state, std::string detail, Now now) {
  if (std::string_view(state) == "expired")
    effects_.emplace_back(Store{AlarmRow{{now.utc, now.at, now.trusted}, e.notice.alarm, e.notice.subject, "expired",
                                         std::string(alarms::name(e.notice.priority)), detail}});
  store(e, state, now.utc, std::move(detail));
  done_.push_back(e.notice.id);
}

void Outbox::give_up(Entry& e, const char* why, Now now) {
  const auto told = told_.find(e.notice.key);
  if (told == told_.end() || !told->second) unsaid_.push_back(e.notice.key);
  close(e, "expired", why, now);
}

void Outbox::forget_closed() {
  if (done_.empty()) return;
  std::erase_if(open_, [&](const Entry& e) { return std::find(done_.begin(), done_.end(), e.notice.id) != done_.end(); });
  closed_.insert(closed_.end(), done_.begin(), done_.end());
  done_.clear();
  if (closed_.size() > closed_kept) closed_.erase(closed_.begin(), closed_.end() - closed_kept);
}

void Outbox::store(const Entry& e, const char* state, std::optional<Utc> state_utc, std::string detail) {
  NoticeRow row;
  row.when = e.stored;
  row.id = e.notice.id;
  row.priority = alarms::name(e.notice.priority);
  row.alarm = e.notice.alarm;
  row.subject = e.notice.subject;
  row.text = said(e.notice);
  row.state = state;
  row.state_utc = state_utc;
  row.detail = std::move(detail);
  effects_.emplace_back(Store{std::move(row)});
}

std::vector<Effect> Outbox::take_effects() { return std::exchange(effects_, {}); }

}  // namespace fw::outbox
