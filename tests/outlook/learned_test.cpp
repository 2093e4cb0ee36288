// What the outlook learns of a rig's habits, and what the bank's bottom and the cold do to them.
#include <doctest/doctest.h>

#include "outlook/clearing_accounts.h"
#include "outlook/hindsight.h"
#include "outlook/shortage.h"
#include "outlook/story.h"

using namespace fw;
using namespace fw::outlook;
using story::at;

namespace {
/// Lives from one time to another with loads, air and charge by the minute.
void live(LoadModel& m, Utc from, Utc to, const std::function<double(Utc)>& load_w, double soc = 0.6, const std::function<double(Utc)>& air_c = [](Utc) { return -5.0; }) {
  for (Utc t = from; t < to; t += minutes{1}) {
    const int minute = static_cast<int>((t - at(1, 0)) / minutes{1} % 1440);
    m.learn(t, minute, load_w(t), air_c(t), soc);
  }
}
int hour_of(Utc t) { return static_cast<int>((t - at(1, 0)) / hours{1} % 24); }
}  // namespace

TEST_CASE("hours in which an empty bank switched the loads off are no habit") {
  LoadModel m;
  const auto usual = [](Utc t) { return hour_of(t) >= 18 && hour_of(t) < 22 ? 300.0 : 80.0; };
  live(m, at(10, 0), at(12, 20), usual);
  const double evening = m.usual(21, -5.0).watts, night = m.usual(3, -5.0).watts;
  live(m, at(12, 20), at(13, 12), [](Utc) { return 8.0; }, 0.04);
  CHECK(m.usual(21, -5.0).watts == doctest::Approx(evening).epsilon(0.05));
  CHECK(m.usual(3, -5.0).watts == doctest::Approx(night).epsilon(0.05));
  // The same little with plenty in the bank is a habit: somebody left.
  live(m, at(13, 12), at(16, 4), [](Utc) { return 8.0; }, 0.7);
  CHECK(m.usual(3, -5.0).watts < 0.75 * night);
}

TEST_CASE("what a low bank no longer feeds stays in it") {
  Shortage s;
  for (int i = 0; i < 300; ++i) s.on_minute(0.15, false, 200, 200);
  for (int i = 0; i < 300; ++i) s.on_minute(0.05, true, 20, 200);
  CHECK(served_at(s.served(), 0.15) == doctest::Approx(1));
  CHECK(served_at(s.served(), 0.05) == doctest::Approx(0.1));
  CHECK(served_at(s.served(), 0.02) == doctest::Approx(0.1));  // not seen so far: as above it
  CHECK(served_at(s.served(), 0.5) == 1);
  Shortage again;
  again.restore(s.snapshot());
  CHECK(served_at(again.served(), 0.05) == doctest::Approx(0.1));

  const rig::Rig r = story::reference();
  const std::vector<BankStep> night(24, BankStep{.hours = 0.25, .available_w = 0, .load_w = 200, .cell_c = 15.0});
  BankNow now{.soc = 0.3};
  const double drained = run_bank(r, now, night, 0).soc.back();
  now.served = s.served();
  CHECK(drained < 0.005);
  const BankPath low = run_bank(r, now, night, 0);
  CHECK(low.soc.back() > 0.01);
  // Wanted and served are two figures: all of it above the level, a tenth below.
  CHECK(low.served_w.front() == doctest::Approx(200));
  CHECK(low.served_w.back() == doctest::Approx(20));
}

TEST_CASE("a heavy load is taken to go on for as long as such loads have gone on here") {
  LoadModel m;
  const Utc first = at(11, 10);
  const auto cooking = [&](Utc t) {  // forty minutes a day, at another hour each
    const int day = static_cast<int>((t - at(11, 0)) / hours{24});
    const Utc begins = first + hours{24 * day + 3 * day};
    return t >= begins && t < begins + minutes{40} ? 1200.0 : 80.0;
  };
  live(m, at(10, 0), first + minutes{20}, [&](Utc t) { return t < at(11, 0) ? 80.0 : cooking(t); });
  REQUIRE(m.heavy());
  CHECK(m.ahead(hours{2}, 12, -5.0).watts > 1000);  // of the first nothing is known
  live(m, first + minutes{20}, at(14, 19) + minutes{20}, cooking);
  REQUIRE(m.heavy());
  CHECK(m.ahead(minutes{20}, 19, -5.0).watts > 1000);
  CHECK(m.ahead(hours{2}, 21, -5.0).watts < 300);
  LoadModel kept;
  kept.restore(m.snapshot());
  CHECK(kept.snapshot() == m.snapshot());
}

TEST_CASE("electric heat is learned between the same hours of colder and warmer days") {
  LoadModel m;
  // Warm at noon and cold at night whatever the day; each day two degrees colder than the one before.
  const auto air = [](Utc t) { return -2.0 * static_cast<double>((t - at(10, 0)) / hours{24}) + (hour_of(t) >= 9 && hour_of(t) < 17 ? 4.0 : -4.0); };
  live(m, at(10, 0), at(15, 0), [&](Utc t) { return 100 + 20 * std::max(0.0, 10 - air(t)); }, 0.6, air);
  CHECK(m.per_kelvin_w() == doctest::Approx(20).epsilon(0.15));
}

TEST_CASE("sun that was seen to feed the loads past cells too cold to charge is counted, otherwise none is") {
  const rig::Rig r = story::reference();
  std::vector<BankStep> day(16, BankStep{.hours = 0.25, .available_w = 300, .load_w = 100, .cell_c = -5.0, .may_charge = 0});
  BankNow now{.soc = 0.5, .charging_allowed = false};
  CHECK(accepted_kwh(run_bank(r, now, day, 0), day, 0, day.size()) == 0);
  Hindsight seen(2560);
  for (int i = 0; i < 300; ++i) seen.while_held_off(100, 100, 300);
  now.held_feeds = seen.held_feeds();
  const BankPath path = run_bank(r, now, day, 0);
  CHECK(accepted_kwh(path, day, 0, day.size()) == doctest::Approx(0.4).epsilon(0.02));
  CHECK(path.held_off_w.front() == doctest::Approx(200).epsilon(0.02));
  CHECK(path.soc.back() <= 0.5);
}

TEST_CASE("strings cleared within the hour are one clearing, the same string cleared again is another") {
  const Words words = *Words::in_zone("America/Regina", false);
  ClearingAccounts accounts;
  const snow::Layer thick{10, 0, 100};
  const auto make = [&](Utc from, Utc to) {
    for (Utc t = from; t < to; t += minutes{1})
      for (int string : {0, 1}) accounts.on_minute(string, {300, -5, 0, 0, 1, 1, 0}, 100, 100.0);
  };
  accounts.begin(0, at(15, 9), thick, 1.5);
  accounts.begin(1, at(15, 9, 20), thick, 1.4);
  make(at(15, 9, 20), at(15, 11));
  CHECK(accounts.take_closed(at(15, 11), words).empty());
  accounts.begin(0, at(15, 11), thick, 0.3);
  make(at(15, 11), at(15, 12));
  ClearingAccounts after;  // a restart in between
  after.restore(accounts.snapshot());
  CHECK(after.take_closed(at(15, 12), words).empty());
  const auto booked = after.take_closed(at(15, 21), words);
  REQUIRE(booked.size() == 2);
  CHECK(booked[0].at == at(15, 9));
  CHECK(booked[0].promised_kwh == 1.5);
  CHECK(booked[0].kwh == doctest::Approx(0.1 * (100 + 160) / 60).epsilon(0.05));
  CHECK(booked[1].at == at(15, 11));
  CHECK(booked[1].kwh == doctest::Approx(0.1).epsilon(0.05));
}
