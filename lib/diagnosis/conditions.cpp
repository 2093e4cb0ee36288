// Which conditions stand: verdicts with memory and a deadband.
#include <algorithm>
#include <cmath>

#include "diagnosis/state.h"

namespace fw::diagnosis {

void Diagnosis::State::conditions(const RigMinute& m) {
  for (std::size_t i = 0; i < strings.size(); ++i) {
    StringMemory& s = strings[i];
    const StringLook& l = s.look;
    const Opinion& o = s.opinion;
    const Utc now = m.start;
    const bool light = l.usable && s.verdict.cause != Cause::dark && m.clock_trusted;
    if (o.snow > 0.5) s.icy_minutes = 180;
    else if (s.icy_minutes > 0 && site_look.air_c.value_or(0) > 2) s.icy_minutes -= 1;
    if (light) {
      const double free = 1 - o.held_back;
      // a cover that takes a tenth may be frost for the first hours; only what is clearly more is told early
      const double snow = o.snow_pass < 0.88 ? o.snow : 0.3 * o.snow;
      const bool high = site_look.sun_elevation_deg > 10 || s.snow.on;
      if (high && (free > 0.5 || snow < 0.5)) s.snow.step(now, snow, 5, 0.72, 0.30);
      s.outage.step(now, o.open * free, 12, 0.85, 0.30);
      s.half.step(now, o.half * free, 40, 0.85, 0.30);
      s.shade.step(now, o.leaf * free, 40, 0.85, 0.30);
      if (s.snow.on) s.snow.lost_kwh += s.verdict.split.snow_w / 60e3;
    }
    const bool silent = s.verdict.cause == Cause::stale;
    s.stale.step(now, silent ? 1 : 0, 3, 0.9, 0.3);
  }
}

std::vector<Fact> Diagnosis::facts(Now now) const {
  std::vector<Fact> out;
  (void)now;
  for (std::size_t i = 0; i < state_->strings.size(); ++i) {
    const StringMemory& s = state_->strings[i];
    const std::string& name = state_->rig.strings[i].name;
    const auto add = [&](const char* alarm, const Condition& c) {
      Fact f;
      f.alarm = alarm;
      f.subject = name;
      f.condition = c.on;
      f.confidence = c.level;
      out.push_back(std::move(f));
    };
    add("snow", s.snow);
    add("outage", s.outage);
    add("shade", s.shade);
    add("stale", s.stale);
    add("soiling", s.soiling);
  }
  return out;
}

std::string Diagnosis::snapshot() const { return "{}"; }
void Diagnosis::restore(std::string_view) {}

}  // namespace fw::diagnosis
