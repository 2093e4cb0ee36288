#pragma once
// A rig, a clock that only moves when told, and short ways to offer facts and count what came of them.
#include <algorithm>
#include <string>
#include <vector>

#include "alarms/alarms.h"

namespace fw::alarms {

inline rig::Rig two_string_rig() {
  rig::Rig r;
  r.name = "test";
  r.site.timezone = "Etc/GMT+6";
  for (const char* name : {"front", "rear"}) {
    rig::PvString s;
    s.name = name;
    s.module.stc_w = 200;
    s.series = 2;
    r.strings.push_back(s);
  }
  r.bank.capacity_ah = 200;
  r.bank.sensors = {{"cells"}};
  return r;
}

/// 15 January 2026, 00:00 at the rig.
inline constexpr std::int64_t midnight_ms = 1768456800000;

struct Bench {
  explicit Bench(rig::Rig r = two_string_rig()) : rig(std::move(r)) {}
  rig::Rig rig;
  Words words = *Words::in_zone("Etc/GMT+6", false);
  Alarms alarms{rig, words};
  Span t{};                              ///< since midnight
  std::vector<Notice> notices;
  std::vector<Effect> effects;

  Now now() const { return {elapsed_ms(midnight_ms) + t, utc_ms(midnight_ms) + t, true}; }
  void to(Span when) { t = when; }
  void collect() {
    for (auto& n : alarms.take_notices()) notices.push_back(n);
    for (auto& e : alarms.take_effects()) effects.push_back(e);
  }
  void advance(Span when) {
    t = when;
    alarms.advance(now());
    collect();
  }
  Fact fact(std::string alarm, std::string subject, bool condition) const {
    Fact f;
    f.alarm = std::move(alarm);
    f.subject = std::move(subject);
    f.condition = condition;
    f.text = f.alarm + " on " + f.subject + ".";
    return f;
  }
  void offer(const Fact& f) {
    alarms.offer(f, now());
    collect();
  }
  void offer(const char* alarm, const char* subject, bool condition) { offer(fact(alarm, subject, condition)); }
  /// The same fact each minute from `from` up to and including `until`.
  void hold(const Fact& f, Span from, Span until) {
    for (Span m = from; m <= until; m += 1min) {
      t = m;
      offer(f);
    }
  }
  std::vector<std::string> events(std::string_view alarm = "") const {
    std::vector<std::string> out;
    for (const auto& e : effects)
      if (const auto* s = std::get_if<Store>(&e))
        if (const auto* a = std::get_if<AlarmRow>(&s->row))
          if (alarm.empty() || a->alarm == alarm) out.push_back(a->event);
    return out;
  }
  std::size_t count(std::string_view event, std::string_view alarm = "") const {
    const auto all = events(alarm);
    return static_cast<std::size_t>(std::count(all.begin(), all.end(), event));
  }
  /// Notices somebody reads (an ending without text only tells the outbox the time).
  std::vector<std::string> lines() const {
    std::vector<std::string> out;
    for (const auto& l : alarms.lines()) out.push_back(l.text);
    return out;
  }
  std::vector<Notice> said() const {
    std::vector<Notice> out;
    for (const auto& n : notices)
      if (!n.text.empty()) out.push_back(n);
    return out;
  }
  const Publish* last_retained(const std::string& key) const {
    const Publish* last = nullptr;
    for (const auto& e : effects)
      if (const auto* p = std::get_if<Publish>(&e))
        if (p->topic == "firnwatt/test/alarms/" + key) last = p;
    return last;
  }
};

}  // namespace fw::alarms
