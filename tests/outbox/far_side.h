#pragma once
// An outbox with a broker, a bridge and a phone that do what a test says, and the account of what came.
#include <map>
#include <set>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "outbox/outbox.h"

namespace fw::outbox {

/// 15 January 2026 (a Thursday), 00:00 at the rig.
inline constexpr std::int64_t midnight_ms = 1768456800000;

inline rig::Rig plain_rig() {
  rig::Rig r;
  r.name = "test";
  r.site.timezone = "Etc/GMT+6";
  return r;
}

struct Shown {
  std::string id, priority, text, utc;
  Span at{};
};

struct FarSide {
  explicit FarSide(rig::Rig r = plain_rig()) : rig(std::move(r)) {}
  rig::Rig rig;
  Words words = *Words::in_zone("Etc/GMT+6", false);
  std::unique_ptr<Outbox> outbox = std::make_unique<Outbox>(rig, words);
  Span t{};
  std::set<std::string, std::less<>> standing;
  bool confirms = true;                       ///< our broker confirms at once
  bool sees = false;                          ///< the phone confirms at once
  std::vector<Shown> shown;                   ///< as published, doubles dropped by id
  std::vector<std::string> bare;              ///< texts on notices/text
  std::set<std::string> ids;
  int doubles = 0;
  std::map<std::string, std::vector<NoticeRow>> account;
  std::vector<AlarmRow> alarm_rows;

  Now now() const { return {elapsed_ms(midnight_ms) + t, utc_ms(midnight_ms) + t, true}; }
  Standing asks() const {
    return [this](std::string_view key) { return standing.contains(key); };
  }

  void settle() {
    for (int turn = 0; turn < 1000; ++turn) {
      outbox->advance(now(), asks());
      const auto effects = outbox->take_effects();
      if (effects.empty()) return;
      std::vector<std::string> confirmed;
      for (const auto& e : effects) {
        if (const auto* s = std::get_if<Store>(&e)) {
          if (const auto* n = std::get_if<NoticeRow>(&s->row)) account[n->id].push_back(*n);
          if (const auto* a = std::get_if<AlarmRow>(&s->row)) alarm_rows.push_back(*a);
        }
        if (const auto* p = std::get_if<Publish>(&e)) {
          if (p->topic == "firnwatt/test/notices/text") bare.push_back(p->payload);
          if (p->topic != "firnwatt/test/notices") continue;
          const auto j = nlohmann::json::parse(p->payload);
          if (ids.insert(p->notice_id).second)
            shown.push_back({j["id"], j["priority"], j["text"], j["utc"], t});
          else
            ++doubles;
          confirmed.push_back(p->notice_id);
        }
      }
      for (const auto& id : confirmed) {
        if (confirms) outbox->on_sent(id, now());
        if (sees) outbox->on_seen(id, now());
      }
    }
  }
  /// Runs every deadline up to `when`, the way the core does.
  void to(Span when) {
    const Elapsed end = elapsed_ms(midnight_ms) + when;
    for (auto due = outbox->next_deadline(); due && *due <= end; due = outbox->next_deadline()) {
      const Span at = std::max(*due - elapsed_ms(midnight_ms), t);
      if (at == t && !outbox->next_deadline()) break;
      t = at;
      settle();
      if (outbox->next_deadline() == due) break;
    }
    t = when;
    settle();
  }
  alarms::Notice notice(const std::string& alarm, const std::string& subject, rig::Priority p, const std::string& text) const {
    alarms::Notice n;
    n.key = alarm + "-" + subject;
    n.id = n.key + "-" + std::to_string(ms_of(now().at));
    n.utc = now().utc;
    n.priority = p;
    n.alarm = alarm;
    n.subject = subject;
    n.text = text;
    return n;
  }
  void raise(const std::string& alarm, const std::string& subject, rig::Priority p, const std::string& text = "") {
    const auto n = notice(alarm, subject, p, text.empty() ? alarm + " on " + subject + "." : text);
    standing.insert(n.key);
    outbox->add(n, now());
    settle();
  }
  /// The alarm that still stands is told again.
  void remind(const std::string& alarm, const std::string& subject, rig::Priority p, const std::string& text) {
    auto n = notice(alarm, subject, p, text);
    n.again = true;
    outbox->add(n, now());
    settle();
  }
  void end(const std::string& alarm, const std::string& subject, const std::string& text = "") {
    auto n = notice(alarm, subject, rig::Priority::low, text);
    n.ending = true;
    n.id += text.empty() ? "-end" : "-over";
    standing.erase(n.key);
    outbox->add(n, now());
    settle();
  }
  void broker(bool up) { outbox->on_broker(up, now()); settle(); }
  void link(bool up) { outbox->on_link(up, now()); settle(); }
  /// Restart of the daemon at this moment, the last snapshot committed.
  void restart() {
    const std::string saved = outbox->snapshot();
    outbox = std::make_unique<Outbox>(rig, words);
    outbox->restore(saved, now());
  }
  std::string end_of(const std::string& id) const {
    const auto it = account.find(id);
    return it == account.end() ? "unknown" : it->second.back().state;
  }
};

}  // namespace fw::outbox
