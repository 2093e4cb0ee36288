#include "window/window.h"

#include <doctest/doctest.h>

#include <cmath>

using namespace fw;
using window::Track;

namespace {

constexpr Elapsed t0 = elapsed_ms(1'768'230'000'000);  // a whole minute

rig::Rig two_strings() {
  rig::Rig r;
  r.strings.resize(2);
  r.strings[0].name = "fore";
  r.strings[1].name = "aft";
  r.bank.sensors = {{"low"}, {"high"}};
  const auto source = [&](Quantity q, int thing, std::optional<Span> age = {}) {
    rig::Source s;
    s.channel = {q, thing};
    s.max_age = age;
    r.sources.push_back(s);
  };
  source(Quantity::string_power, 0);
  source(Quantity::string_voltage, 0);
  source(Quantity::string_voltage, 1);
  source(Quantity::string_current, 1);
  source(Quantity::cell_temperature, 0, Span{60'000});
  source(Quantity::cell_temperature, 1, Span{60'000});
  source(Quantity::soc, 0);
  return r;
}

Reading reading(Quantity q, int thing, double v, Elapsed at, bool retained = false) {
  Reading r;
  r.channel = {q, thing};
  r.at = at;
  r.value = v;
  r.retained = retained;
  return r;
}

Now at(Elapsed e) { return {e, utc_at(e, Span{0}), true}; }

}  // namespace

TEST_CASE("a mean is weighted by time: steady and on-change senders agree") {
  Track steady, sparse;
  steady.take(10, t0);
  sparse.take(10, t0);
  for (int s = 1; s < 60; ++s) steady.take(s < 45 ? 10 : 50, t0 + seconds{s});
  sparse.take(50, t0 + seconds{45});
  CHECK(std::fabs(*steady.close(t0 + 1min).mean - 20) < 1e-9);
  CHECK(std::fabs(*sparse.close(t0 + 1min).mean - 20) < 1e-9);
  CHECK(*sparse.close(t0 + 2min).mean == 50);
  CHECK(sparse.close(t0 + 3min).samples == 0);
}

TEST_CASE("freshness: fixed, or three times the learned interval between one and thirty minutes") {
  struct Row { int every_s; int fresh_for_s; };
  for (const Row& r : {Row{1, 60}, Row{10, 60}, Row{60, 180}, Row{300, 900}, Row{1200, 1800}}) {
    CAPTURE(r.every_s);
    Track t;
    Elapsed at = t0;
    for (int i = 0; i < 5; ++i) t.take(1, at += seconds{r.every_s});
    // A habit fades slowly: a hundredth a message.
    CHECK(std::fabs(seconds_of(t.max_age()) - r.fresh_for_s) <= r.fresh_for_s * 0.06);
    CHECK(t.fresh(at + t.max_age()));
    CHECK(!t.fresh(at + t.max_age() + Span{1}));
  }
  Track fixed(Span{5000});
  fixed.take(1, t0);
  CHECK(fixed.fresh(t0 + 5s));
  CHECK(!fixed.fresh(t0 + 5001ms));
}

TEST_CASE("age counts from the last message, changed or not; a long interruption is no habit") {
  Track t;
  for (int i = 0; i < 100; ++i) t.take(7, t0 + seconds{10 * i});
  CHECK(t.fresh(t0 + seconds{990 + 59}));
  t.take(7, t0 + hours{5});
  CHECK(t.max_age() <= 1min);
}

TEST_CASE("what is below zero is not at rest: frost and a bank that gives grow old as all else does") {
  Track t;
  Elapsed at = t0;
  for (int i = 0; i < 5; ++i) t.take(-6.5, at += 10s);
  CHECK(t.max_age() == 1min);
  for (int i = 0; i < 5; ++i) t.take(-6.5, at += 300s);
  CHECK(t.max_age() == 15min);
}

TEST_CASE("a string whose sender speaks on change is not silent in the evening, when it has nothing to say") {
  rig::Rig rig = two_strings();
  window::Window w(rig);
  Elapsed t = t0;
  const auto live = [&](Elapsed now) { return w.track({Quantity::string_power, 0})->fresh(now); };
  for (int day = 0; day < 2; ++day) {
    CAPTURE(day);
    for (int i = 0; i < 600; ++i) w.on_reading(reading(Quantity::string_power, 0, 150.0 - 0.2 * i, t += 10s));
    CHECK(live(t + 1min));
    CHECK(!live(t + 2min));   // while it gives power it is missed at once
    for (const double w_last : {12.0, 5.0, 1.0, 0.6, 0.0}) w.on_reading(reading(Quantity::string_power, 0, w_last, t += 10s));
    for (int i = 0; i < 60; ++i) {
      CHECK(live(t + 600s));
      w.on_reading(reading(Quantity::string_power, 0, 0.0, t += 600s));
    }
    CHECK(live(t + 29min));
    CHECK(!live(t + 31min));
  }
}

TEST_CASE("a minute: power measured, or from volts and amps; stamps are whole minutes") {
  const auto rig = two_strings();
  window::Window w(rig);
  for (int s = 0; s < 60; s += 10) {
    w.on_reading(reading(Quantity::string_power, 0, 100 + s, t0 + seconds{s}));
    w.on_reading(reading(Quantity::string_voltage, 1, 40, t0 + seconds{s}));
    w.on_reading(reading(Quantity::string_current, 1, 2.5, t0 + seconds{s}));
  }
  const RigMinute m = w.close_minute(at(t0 + 1min));
  CHECK(m.start == utc_at(t0, Span{0}));
  CHECK(std::fabs(*m.strings[0].power_w - 125) < 1e-9);
  CHECK(std::fabs(*m.strings[1].power_w - 100) < 1e-9);
  CHECK(m.strings[0].samples == 6);
  CHECK(m.strings[0].live);
  CHECK(!m.strings[1].from_output);
  CHECK(*m.strings[0].power_sd_w > 10);
}

TEST_CASE("retained readings and readings without a value change nothing") {
  const auto rig = two_strings();
  window::Window w(rig);
  w.on_reading(reading(Quantity::soc, 0, 0.9, t0, true));
  Reading none = reading(Quantity::soc, 0, 0, t0);
  none.value.reset();
  none.gone = Gone::null;
  w.on_reading(none);
  CHECK(!w.close_minute(at(t0 + 1min)).soc);
  w.on_reading(reading(Quantity::soc, 0, 0.4, t0 + 61s));
  w.on_reading(none);
  CHECK(*w.close_minute(at(t0 + 2min)).soc == 0.4);
}

TEST_CASE("a silent string goes stale and its power is unknown, not zero") {
  const auto rig = two_strings();
  window::Window w(rig);
  for (int s = 0; s < 120; s += 10) w.on_reading(reading(Quantity::string_power, 0, 80, t0 + seconds{s}));
  (void)w.close_minute(at(t0 + 1min));
  (void)w.close_minute(at(t0 + 2min));
  (void)w.close_minute(at(t0 + 3min));
  const auto m = w.close_minute(at(t0 + 4min));
  CHECK(!m.strings[0].live);
  CHECK(!m.strings[0].power_w);
  CHECK(m.strings[0].age > 2min - 11s);
}

TEST_CASE("standing still is told from silence") {
  const auto rig = two_strings();
  window::Window w(rig);
  for (int s = 0; s < 1800; s += 10) {
    w.on_reading(reading(Quantity::string_power, 0, 80, t0 + seconds{s}));
    w.on_reading(reading(Quantity::string_voltage, 0, s < 600 ? 40 + s * 0.01 : 46, t0 + seconds{s}));
  }
  const auto m = w.close_minute(at(t0 + 30min));
  CHECK(m.strings[0].live);
  CHECK(m.strings[0].still_for >= 19min);
  CHECK(m.strings[0].still_for <= 21min);
}

TEST_CASE("the coldest and the hottest sensor count") {
  const auto rig = two_strings();
  window::Window w(rig);
  w.on_reading(reading(Quantity::cell_temperature, 0, -1.5, t0 + 30s));
  w.on_reading(reading(Quantity::cell_temperature, 1, 3.5, t0 + 30s));
  const auto m = w.close_minute(at(t0 + 1min));
  CHECK(*m.cell_min_c == -1.5);
  CHECK(*m.cell_max_c == 3.5);
  CHECK(!w.close_minute(at(t0 + 2min)).cell_min_c);
}

TEST_CASE("learned intervals survive a restart; a foreign snapshot starts afresh") {
  const auto rig = two_strings();
  window::Window w(rig);
  for (int i = 0; i < 5; ++i) w.on_reading(reading(Quantity::soc, 0, 0.5, t0 + minutes{10 * i}));
  window::Window again(rig);
  again.restore(w.snapshot());
  CHECK(again.snapshot() == w.snapshot());
  for (const char* bad : {"", "2 1 1 1", "1 1", "1 999 0 5", "1 0 999 5", "1 x", "{\"a\":1}", "1 0 0 -5", "1 "}) {
    window::Window fresh(rig);
    fresh.restore(bad);
    CHECK(fresh.snapshot() == "1");
  }
}
