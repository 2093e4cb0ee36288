// Situations that take days to show, or in which the panels are not at fault. Numbers are made for the tests.
#include <doctest/doctest.h>

#include <map>

#include "diagnosis/bench_rig.h"

using namespace fw;
using namespace fw::test;

TEST_CASE("snow that covers the glass again after each clearing is told once in a day") {
  BenchRig r;
  r.teach(3);
  r.snow_forecast(0, 8, 16, 9, 0.9);
  r.play(0, 0, 17, [](double hour, MinuteIn& m) {
    double w = std::min(6.0, 0.05 * BenchRig::clear_w(hour));
    for (const double cleared : {9.0, 10.5, 12.0})
      if (hour >= cleared && hour < cleared + 0.75) w = std::min(0.6 * BenchRig::clear_w(hour), 60 - 54 * (hour - cleared) / 0.75);
    m.p.watts = m.s.watts = std::max(0.0, hour < 8 ? BenchRig::clear_w(hour) : w);
    m.p.volts = m.s.volts = w > 20 ? 38.0 : hour > 8 && hour < 16.5 ? 33.0 : 12.0;
  });
  CHECK(r.times_raised("snow-port") <= 1);
  CHECK(r.times_raised("snow-star") <= 1);
  CHECK(r.times_raised("outage-port") == 0);
  CHECK(r.sum_exact);
}

TEST_CASE("a nearly full bank does not hide what lies on the glass") {
  for (const double soc : {0.97, 0.45}) {
    CAPTURE(soc);
    BenchRig r;
    r.teach(3);
    r.snow_forecast(0, 2, 6, 6);
    r.play(0, 0, 11, [&](double hour, MinuteIn& m) {
      m.p.watts = m.s.watts = 0.02 * BenchRig::clear_w(hour);
      m.p.volts = m.s.volts = hour > 8 ? 34.0 : 15.0;
      m.soc = soc;
    });
    CHECK(r.port().cause == Cause::snow);
    CHECK(r.star().cause == Cause::snow);
  }
}

TEST_CASE("an even loss of some per cent a day is film of about ten per cent by the fifth day, and its end is noted") {
  BenchRig r;
  r.teach(4);
  constexpr std::array<double, 6> share{1.00, 0.97, 0.94, 0.91, 0.89, 1.00};
  std::array<double, 6> film{};
  for (int day = 0; day < 6; ++day)
    r.play(day, 0, 24, [&](double hour, MinuteIn& m) {
      m.p.watts = m.s.watts = share[static_cast<std::size_t>(day)] * BenchRig::clear_w(hour);
      if (!r.last.empty() && hour > 13 && hour < 13.1) film[static_cast<std::size_t>(day)] = r.port().soiling_loss.value_or(0);
    });
  CAPTURE(film[4]);
  CAPTURE(film[5]);
  CHECK(film[4] > 0.06);
  CHECK(film[4] < 0.14);
  CHECK(film[5] < 0.03);
  CHECK(r.times_raised("snow-port") == 0);
  CHECK(r.times_raised("shade-port") == 0);
}

TEST_CASE("the word of film is over by the evening of the cleaning, also when the air is clearer than before") {
  for (const double cleaned : {1.00, 1.09}) {
    CAPTURE(cleaned);
    BenchRig r;
    r.teach(4);
    const std::array<double, 6> share{1.00, 0.97, 0.94, 0.91, 0.89, cleaned};
    for (int day = 0; day < 6; ++day)
      r.play(day, 0, 24, [&](double hour, MinuteIn& m) { m.p.watts = m.s.watts = share[static_cast<std::size_t>(day)] * BenchRig::clear_w(hour); });
    CHECK_FALSE(r.standing("soiling-port"));
  }
}

TEST_CASE("a dip at the same hour of every clear day is told at most once, and is learned anew when the rig is turned") {
  BenchRig r;
  r.teach(3);
  int called_clear = 0, called_other = 0;
  for (int day = 0; day < 6; ++day) {
    if (day == 4) {
      Note n;
      n.event = NoteEvent::rig_turned;
      r.diagnosis().on_note(n);
    }
    const double from = day < 4 ? 10.5 : 14.0;
    r.play(day, 0, 24, [&](double hour, MinuteIn& m) {
      if (hour >= from && hour < from + 0.75) m.s.watts *= 0.6, m.s.volts = *m.s.volts - 1;
      if (!r.last.empty() && hour > 11.7 && hour < 13.5) (r.star().cause == Cause::clear ? called_clear : called_other)++;
    });
  }
  CHECK(r.times_raised("shade-star") <= 1);
  for (const std::string alarm : {"snow-star", "soiling-star", "outage-star", "controller-star"}) {
    CAPTURE(alarm);
    CHECK(r.times_raised(alarm) == 0);
  }
  CHECK(called_other * 20 < called_clear);
}

TEST_CASE("a bank that is full at half past nine is no loss of the panels, and the account says what was not taken") {
  BenchRig r;
  r.teach(3);
  std::map<std::string, double> wh;
  r.play(0, 0, 17, [&](double hour, MinuteIn& m) {
    if (hour >= 11) {   // as far into a January day as half past nine is into one of March
      m.p.watts = m.s.watts = std::min(30.0, BenchRig::clear_w(hour));
      m.p.volts = m.s.volts = 46;
      m.p.stage = m.s.stage = Stage::absorption;
      m.soc = 1.0;
      m.bank_v = 14.2;
    }
    if (r.last.empty()) return;
    wh["clear"] += r.port().clear_sky_w / 60;
    wh["held"] += r.port().split.curtailed_w / 60;
    wh["snow"] += r.port().split.snow_w / 60;
    wh["soiling"] += r.port().split.soiling_w / 60;
  });
  CHECK(r.raised.empty());
  double could = 0;
  for (int minute = 11 * 60; minute < 17 * 60; ++minute) could += std::max(0.0, BenchRig::clear_w(minute / 60.0) - 30) / 60;
  CAPTURE(wh["held"]);
  CAPTURE(could);
  CHECK(std::abs(wh["held"] / could - 1) < 0.15);
  CHECK(std::abs(wh["snow"]) + std::abs(wh["soiling"]) < 0.03 * wh["clear"]);
}
