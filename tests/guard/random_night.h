#pragma once
// Random long nights for the guard: a feed one can read, a run that watches the promises, and a shrinker.
#include <algorithm>
#include <cmath>
#include <functional>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "guard_rig.h"
#include "units/text.h"

namespace fw::guard::test {

struct Line {
  enum What { cell, stray, frozen, late, kept, nothing, restart, amnesia, clock, link_down, link_up } what = cell;
  std::int64_t ms = 0;   ///< since the night's start
  int sensor = 0;
  double value = 0;
  double late_min = 0;   ///< overtaken: by how much its stamp lies back
};

inline std::string text_of(const Line& l) {
  static const char* names[] = {"cell", "stray value", "frozen value", "overtaken value", "kept old value", "no value", "restart",
                                "restart, snapshot lost", "clock step h", "link down", "link up"};
  return "  " + fixed(static_cast<double>(l.ms) / 1000, 1) + " s: " + names[l.what] + " t" + std::to_string(l.sensor + 1) + " " + fixed(l.value, 2);
}

struct Night {
  unsigned seed = 0;
  int sensors = 1;
  std::vector<Line> feed;
};

inline Night make_night(unsigned seed) {
  std::mt19937 rng(seed);
  const auto uni = [&](double a, double b) { return a + (b - a) * static_cast<double>(rng()) / 4294967296.0; };
  const auto chance = [&](double p) { return uni(0, 1) < p; };
  Night n;
  n.seed = seed;
  n.sensors = chance(0.5) ? 2 : 1;
  const bool hovering = chance(0.3), faulty = chance(0.7);
  double t = hovering ? uni(-0.5, 3) : uni(-3, 9), rate = uni(-2, 2);
  const double apart = uni(0, 3), length_s = uni(6, 14) * 3600, every_s = uni(10, 90);
  struct Fault { int kind = -1; double until = 0, value = 0; } fault[2];
  double last_value[2] = {t, t + apart};
  for (double s = 0; s < length_s; s += every_s * uni(0.8, 1.2)) {
    if (hovering) {
      rate += (-(t - 0.8) * 0.6 - rate * 0.2) * every_s / 600 + uni(-0.7, 0.7);
      rate = std::clamp(rate, -4.0, 4.0);
    } else if (chance(0.01)) {
      rate = uni(-2.5, 2.5);
    }
    t = std::clamp(t + rate * every_s / 3600, -15.0, 30.0);
    const auto ms = static_cast<std::int64_t>(s * 1000);
    for (int k = 0; k < n.sensors; ++k) {
      const double seen = std::round((t + (k ? apart : 0) + uni(-0.08, 0.08)) * 10) / 10;
      Fault& f = fault[k];
      if (faulty && f.kind < 0 && chance(0.004)) {
        f.kind = static_cast<int>(rng() % 5);
        f.until = s + uni(60, 5400);
        f.value = std::vector<double>{85, -127, 85, 180, -300}[rng() % 5];
        if (f.kind == 3 && n.sensors < 2) f.kind = 0;  // alone, a frozen value cannot be told from a steady one
      }
      if (f.kind >= 0 && s > f.until) f.kind = -1;
      Line l{Line::cell, ms + k * 137, k, seen};
      switch (f.kind) {
        case 0: continue;                                               // silent
        case 1: l.what = Line::stray, l.value = f.value; break;         // stands on a stray value
        case 2:
          if (chance(0.5)) l.what = Line::stray, l.value = f.value;     // comes and goes
          break;
        case 3: l.what = Line::frozen, l.value = last_value[k]; break;
        case 4: l.what = Line::nothing; break;                          // null, text, not a number
        default: break;
      }
      last_value[k] = l.value;
      n.feed.push_back(l);
      if (chance(0.03)) n.feed.push_back({l.what, l.ms + 300, k, l.value});                       // said twice
      if (chance(0.02)) n.feed.push_back({Line::late, l.ms + 700, k, seen + uni(0, 4), uni(2, 40)});
      if (chance(0.01)) n.feed.push_back({Line::kept, l.ms + 800, k, uni(3, 15)});
    }
    if (chance(0.002)) n.feed.push_back({Line::restart, ms + 400, 0, 0});
    if (chance(0.0002)) n.feed.push_back({Line::amnesia, ms + 400, 0, 0});
    if (chance(0.003)) n.feed.push_back({Line::clock, ms + 500, 0, uni(-400, 400)});
    if (chance(0.003)) n.feed.push_back({Line::link_down, ms + 600, 0, 0});
    if (chance(0.02)) n.feed.push_back({Line::link_up, ms + 650, 0, 0});
  }
  std::stable_sort(n.feed.begin(), n.feed.end(), [](const Line& a, const Line& b) { return a.ms < b.ms; });
  return n;
}

/// Runs a feed and says which promise was broken, if any. Knows nothing of how the guard decides.
inline std::optional<std::string> broken_promise(const Night& n, const Decisions& decisions) {
  constexpr Span reaction = seconds{2};
  auto r = plain_rig(n.sensors);
  r.chargers[0].rated_a = 25;
  r.chargers[1].rated_a = 25;
  const double limit_c = 0;
  const Span max_age = minutes{5}, grace = minutes{5};
  const auto allowed_a = [](double c) { return c <= 0 || c >= 45 ? 0.0 : c <= 10 ? 20.0 : c <= 25 ? 40.0 : 100.0; };

  Drive d(r, decisions);
  const Elapsed begin = d.at;
  struct Known { std::optional<double> c; Elapsed at{}; std::optional<Elapsed> stray_since; bool frozen = false; };
  std::vector<Known> known(static_cast<std::size_t>(n.sensors));
  std::optional<Elapsed> cold_since;            // a valid reading at or below the limit, nothing warmer from that sensor since
  bool heard = false, link = true;
  std::vector<std::vector<Elapsed>> changes(2);
  bool was[2] = {false, false};
  Elapsed reader_until[2] = {};                 // what a reader with the link holds: its yes runs out then
  std::size_t said = 0;
  std::optional<std::string> broken;
  const auto fail = [&](const std::string& what) {
    if (!broken) broken = what + " at " + fixed(seconds_of(d.at - begin), 1) + " s";
  };

  const auto look = [&] {
    for (; said < d.said.size(); ++said) {
      const auto& p = d.said[said].p;
      const bool yes_like = contains(p.payload, "\"permit\":true") || p.payload == "on" || p.payload == "1";
      if (yes_like && (p.retain || p.qos != 0 || !p.expires_s)) fail("a yes that a broker could keep");
      for (int k = 0; k < 2; ++k) {
        if (p.topic != "firnwatt/plain/chargers/" + r.chargers[k].name + "/permit") continue;
        if (yes_like && link) reader_until[k] = d.said[said].at + permit_valid_for;
        if (!yes_like && link) reader_until[k] = d.said[said].at;
      }
    }
    double sum = 0;
    for (int k = 0; k < 2; ++k) {
      const bool may = d.guard.may_charge(k);
      if (may != was[k]) {
        was[k] = may;
        changes[k].push_back(d.at);
        const auto& c = changes[k];
        if (c.size() > 4 && c.back() - c[c.size() - 5] < hours{1}) fail("more than four permit changes within an hour");
      }
      if (!may) continue;
      sum += *d.guard.current_limit_a(k);
      if (!heard) fail("a permit before any fresh temperature");
      if (cold_since && d.at - *cold_since > reaction) fail("a permit after a reading at or below the limit");
      bool carried = false;
      for (const auto& s : known)
        if (s.c && d.at - s.at <= max_age + grace + reaction && (!s.stray_since || d.at - *s.stray_since <= grace + reaction)) carried = true;
      if (!carried) fail("a permit on no fresh believed temperature");
    }
    for (int k = 0; k < 2; ++k)
      if (link && !was[k] && reader_until[k] > d.at + reaction) fail("a reader still holds a yes that was withdrawn");
    double low = 1e9, high = -1e9;
    for (const auto& s : known)
      if (s.c && !s.frozen && !s.stray_since && d.at - s.at <= seconds{200}) low = std::min(low, *s.c), high = std::max(high, *s.c);
    if (low < 1e8 && sum > std::min(allowed_a(low), allowed_a(high)) + 1e-6) fail("a current limit above the bands");
  };

  for (const Line& l : n.feed) {
    const Elapsed to = begin + Span{l.ms};
    // Seconds by seconds where it matters, timers by timers elsewhere.
    while (d.at < to && !broken) {
      Span s = to - d.at;
      if (const auto next = d.guard.next_deadline(); next && *next > d.at) s = std::min(s, *next - d.at);
      d.pass(std::max(s, Span{1}));
      look();
    }
    if (broken) return broken;
    auto& s = known[static_cast<std::size_t>(l.sensor)];
    const auto stamp = utc_ms(start_ms + l.ms);
    switch (l.what) {
      case Line::cell:
        d.reading(Quantity::cell_temperature, l.value, l.sensor, false, stamp);
        heard = true;
        s = {l.value, d.at, std::nullopt, false};
        break;
      case Line::frozen:
        d.reading(Quantity::cell_temperature, l.value, l.sensor, false, stamp);
        heard = true;  // nothing tells it from a steady one
        if (!s.c) s.c = l.value;
        s.at = d.at;
        s.frozen = true;
        break;
      case Line::stray:
        d.reading(Quantity::cell_temperature, l.value, l.sensor, false, stamp);
        if (!s.stray_since) s.stray_since = d.at;
        break;
      case Line::late:
        d.reading(Quantity::cell_temperature, l.value, l.sensor, false, stamp - Span{static_cast<std::int64_t>(l.late_min * 60'000)});
        break;
      case Line::kept:
        d.reading(Quantity::cell_temperature, l.value, l.sensor, true);
        break;
      case Line::nothing:
        d.guard.on_reading({{Quantity::cell_temperature, l.sensor}, d.at, stamp, std::nullopt, Gone::not_a_number, false}, d.now());
        break;
      case Line::restart:
      case Line::amnesia:
        d.restart(l.what == Line::restart);
        if (l.what == Line::amnesia) {
          for (auto& c : changes) c.clear();
          was[0] = was[1] = false;
        }
        heard = false;
        for (auto& k : known) k = {};
        for (auto& u : reader_until) u = d.at;  // the wills
        break;
      case Line::clock: d.offset += Span{static_cast<std::int64_t>(l.value * 3'600'000)}; break;
      case Line::link_down: link = false; break;
      case Line::link_up:
        if (!link)
          for (int k = 0; k < 2; ++k)
            if (!d.guard.may_charge(k)) reader_until[k] = d.at;  // the kept no is there on connecting
        link = true;
        break;
    }
    bool cold = false;
    for (const auto& k : known) cold = cold || (k.c && !k.frozen && *k.c <= limit_c && d.at - k.at <= max_age + grace);
    if (!cold) cold_since.reset();
    else if (!cold_since) cold_since = d.at;
    d.tick();
    look();
    if (broken) return broken;
  }
  return std::nullopt;
}

/// The shortest feed found that still breaks a promise.
inline Night shrunk(Night n, const Decisions& decisions) {
  for (std::size_t chunk = std::max<std::size_t>(1, n.feed.size() / 2); chunk >= 1; chunk /= 2) {
    for (std::size_t i = 0; i < n.feed.size();) {
      Night less = n;
      less.feed.erase(less.feed.begin() + static_cast<long>(i), less.feed.begin() + static_cast<long>(std::min(i + chunk, n.feed.size())));
      if (broken_promise(less, decisions))
        n = less;
      else
        i += chunk;
    }
    if (chunk == 1) break;
  }
  return n;
}

inline std::string readable(const Night& n) {
  std::string out = "night " + std::to_string(n.seed) + ", " + std::to_string(n.sensors) + " sensors\n";
  for (const Line& l : n.feed) out += text_of(l) + "\n";
  return out;
}

}  // namespace fw::guard::test
