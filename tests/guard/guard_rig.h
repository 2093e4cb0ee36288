#pragma once
// A plain rig to guard, and a driver that feeds it and listens to what goes on the wire.
#include <cmath>
#include <map>
#include <string>
#include <vector>

#include "guard/guard.h"

namespace fw::guard::test {

inline constexpr std::int64_t start_ms = 1'768'485'600'000LL;  // 2026-01-15T14:00:00Z, 08:00 in the rig's zone

inline rig::Rig plain_rig(int sensors = 1) {
  rig::Rig r;
  r.name = "plain";
  r.site.timezone = "Etc/GMT+6";
  r.bank.capacity_ah = 200;
  r.bank.nominal_v = 12.8;
  for (const char* n : {"port", "starboard"}) {
    rig::PvString s;
    s.name = n;
    s.module.stc_w = 200;
    s.module.v_mp_v = 20;
    s.series = 2;
    r.strings.push_back(s);
  }
  for (int i = 0; i < sensors; ++i) {
    r.bank.sensors.push_back({"t" + std::to_string(i + 1)});
    rig::Source src;
    src.channel = {Quantity::cell_temperature, i};
    src.unit = "degC";
    src.max_age = minutes{5};
    r.sources.push_back(src);
  }
  rig::Charger c;
  c.name = "port";
  c.strings = {0};
  c.command = {"solar/port/set", "on", "off"};
  c.rated_a = 30;
  r.chargers.push_back(c);
  c.name = "starboard";
  c.strings = {1};
  c.stop_by = rig::StopBy::limit;
  c.command = {"solar/starboard/set", "1", "0"};
  c.limit_topic = "solar/starboard/limit";
  c.limit_payload = "{\"a\":{a}}";
  r.chargers.push_back(c);
  return r;
}

inline Words words_of(const rig::Rig& r) { return *Words::in_zone(r.site.timezone, r.display.fahrenheit); }

/// Feeds a guard along the elapsed line and keeps what a broker would keep.
class Drive {
 public:
  explicit Drive(const rig::Rig& r, const Decisions& d = Guard::standard_decisions())
      : rig(r), words(words_of(r)), decisions(d), guard(rig, words, decisions) { tick(); }

  Now now() const { return {at, utc_at(at, offset), true}; }
  void tick() {
    guard.advance(now());
    take();
  }
  /// Lets time pass, timers firing as they would.
  void pass(Span s) {
    const Elapsed to = at + s;
    while (auto next = guard.next_deadline()) {
      if (*next > to) break;
      at = std::max(at, *next);
      tick();
    }
    at = to;
    tick();
  }
  void reading(Quantity q, double v, int thing = 0, bool kept = false, std::optional<Utc> stamped = {}) {
    guard.on_reading({{q, thing}, at, stamped, v, Gone::none, kept}, now());
    take();
  }
  void cell(double c, int sensor = 0) { reading(Quantity::cell_temperature, c, sensor); }
  void minute(RigMinute m) {
    m.at = at;
    m.start = utc_at(at, offset) - minutes{1};
    guard.on_minute(m);
    take();
  }
  void restart(bool with_snapshot = true) {
    const auto kept = guard.snapshot();
    guard = Guard(rig, words, decisions);
    if (with_snapshot) guard.restore(kept, now());
    tick();
  }

  std::optional<Fact> fact(const std::string& alarm, const std::string& subject) const {
    for (auto& f : guard.facts(now()))
      if (f.alarm == alarm && f.subject == subject) return f;
    return std::nullopt;
  }
  bool stands(const std::string& alarm, const std::string& subject = "bank") const {
    const auto f = fact(alarm, subject);
    return f && f->condition;
  }
  std::string text(const std::string& alarm, const std::string& subject = "bank") const {
    const auto f = fact(alarm, subject);
    return f ? f->text : "";
  }
  std::string all_sentences() const {
    std::string out;
    for (const auto& s : guard.sentences(now())) out += s + "\n";
    return out;
  }

  rig::Rig rig;
  Words words;
  const Decisions& decisions;
  Guard guard;
  Elapsed at = elapsed_ms(start_ms);
  Span offset{};
  std::map<std::string, std::string> retained;
  struct Said { Elapsed at; Publish p; };
  std::vector<Said> said;
  std::vector<CommandRow> commands;
  std::vector<std::string> log;

 private:
  void take() {
    for (auto& e : guard.take_effects()) {
      if (auto* p = std::get_if<Publish>(&e)) {
        if (p->retain) retained[p->topic] = p->payload;
        said.push_back({at, *p});
      } else if (auto* s = std::get_if<Store>(&e)) {
        if (auto* c = std::get_if<CommandRow>(&s->row)) commands.push_back(*c);
      } else if (auto* l = std::get_if<LogLine>(&e)) {
        log.push_back(l->text);
      }
    }
  }
};

inline bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace fw::guard::test
