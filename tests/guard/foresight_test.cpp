#include "guard/foresight.h"

#include <doctest/doctest.h>

#include <cstdlib>

#include "foresight_score.h"
#include "guard_rig.h"
#include "winter_world.h"
#ifdef FW_WITH_PRACTICE
#include "practice_nights.h"
#endif

using namespace fw;
using namespace fw::guard;
using namespace fw::guard::test;

namespace {

constexpr std::size_t first_minute = 1, first_day = 1440;
struct Outcome { ForesightScore limit, floor, from_the_start; };

Outcome run(const World& w) {
  auto r = plain_rig();
  r.chargers.clear();
  r.bank.capacity_ah = w.capacity_ah;
  r.bank.window.preferred_floor_c = w.floor_c;
  const Words words = words_of(r);
  Foresight f(r, words);
  std::vector<double> truth;
  std::vector<char> heating;
  Track track[2];
  for (const auto& o : w.minutes) {
    f.on_minute(o.m, o.seen_c, 0);
    truth.push_back(o.truth_c);
    heating.push_back(o.heating);
    for (std::size_t k = 0; k < 2; ++k) {
      const auto& warning = f.warnings()[k];
      track[k].active.push_back(warning.active);
      track[k].named_min.push_back(warning.at && warning.active ? std::optional(hours_of(*warning.at - o.m.start - minutes{1}) * 60) : std::nullopt);
    }
  }
  const auto shows = w.shows_at.value_or(w.minutes.size());
  Outcome o{score_of(truth, heating, track[0], w.limit_c, false, first_day, w.fails_at, shows),
            score_of(truth, heating, track[1], w.floor_c, true, first_day, w.fails_at, shows), {}};
  o.from_the_start = score_of(truth, heating, track[0], w.limit_c, false, first_minute, w.fails_at, shows);
  o.from_the_start.add(score_of(truth, heating, track[1], w.floor_c, true, first_minute, w.fails_at, shows));
  o.from_the_start.days /= 2;
  return o;
}

}  // namespace

TEST_CASE("crossings are foreseen two hours and more ahead over many winters, with few false warnings") {
  const bool whole = std::getenv("FW_LONG") != nullptr;
  const int worlds = whole ? 120 : 60;  // ten days each
  const unsigned seed = std::getenv("FW_SEED") ? static_cast<unsigned>(std::atoi(std::getenv("FW_SEED"))) : 9000;
  ForesightScore limit, floor, by_heater[3], from_the_start;
  for (int i = 0; i < worlds; ++i) {
    const auto w = make_world(seed + static_cast<unsigned>(i), 10);
    const auto o = run(w);
    if (std::getenv("FW_EACH")) {
      std::printf("%3d tau %.1f share %.2f cabin %d heater %d forecast %d fails %d\n", i, w.tau_h, w.share, w.minutes[0].m.cabin_c.has_value(), w.minutes[0].m.bank_heater_on.has_value(), !w.forecasts.empty(), w.fails_at.has_value());
      o.limit.print("  limit");
      o.floor.print("  floor");
    }
    limit.add(o.limit);
    floor.add(o.floor);
    by_heater[w.heater].add(o.floor);
    from_the_start.add(o.from_the_start);
  }
  ForesightScore all = limit;
  all.add(floor);
  all.days = limit.days;
  limit.print("limit");
  floor.print("floor");
  all.print("both");
  by_heater[0].print("floor, no heater");
  by_heater[1].print("floor, heater told");
  by_heater[2].print("floor, heater silent");
  from_the_start.print("both, first day too");
  std::printf("of the floor's: dips of an hour or two to a set point just below it %d, warned %d; all others %d, warned %d\n", floor.short_dips,
              floor.short_dips_warned, floor.events - floor.short_dips, floor.warned - floor.short_dips_warned);
  std::printf("%d nights of %d banks\n", worlds * 10, worlds);
  CHECK(limit.events >= (whole ? 40 : 30));
  CHECK(floor.events >= (whole ? 60 : 25));
  CHECK(limit.warned >= 0.95 * limit.events);
  CHECK(all.warned >= 0.95 * all.events);
  CHECK(floor.warned >= 0.90 * floor.events);
  // Of these mostly missed: first dips of an evening to a set point just below the floor, which last an hour or not by minutes.
  CHECK(by_heater[2].warned >= 0.85 * by_heater[2].events);
  CHECK(14.0 * all.false_warnings / all.days <= 1.0);
  CHECK(all.median_error() <= 45);
  CHECK(from_the_start.warned >= 0.95 * from_the_start.events);
  CHECK(14.0 * from_the_start.false_warnings / from_the_start.days <= 1.2);
}

TEST_CASE("a bank that cools with the cabin's evening is not warned of before it has shown where it will stop") {
  // Cells 17 degC as the heating goes down; they settle within hours between a cabin of 11 and frost outside.
  for (const double tau_h : {2.5, 4.0}) {
    CAPTURE(tau_h);
    auto r = plain_rig();
    r.bank.window.preferred_floor_c = 5;
    const Words words = words_of(r);
    Foresight f(r, words);
    double cell_c = 17;
    int warned = 0;
    for (int minute = 0; minute < 7 * 60; ++minute) {
      RigMinute m;
      m.start = utc_ms(1768258800000LL) + minutes{minute};
      m.at = Elapsed{m.start.time_since_epoch()} + minutes{1};
      m.clock_trusted = true;
      m.air_c = -9.0;
      m.cabin_c = 11 + 6 * std::exp(-minute / 20.0);
      cell_c += (0.88 * *m.cabin_c + 0.12 * *m.air_c - cell_c) / tau_h / 60;
      f.on_minute(m, std::round(cell_c * 10) / 10, 0);
      for (const auto& w : f.warnings()) warned += w.active;
    }
    CHECK(cell_c > 8);
    CHECK(warned == 0);
  }
}

#ifdef FW_WITH_PRACTICE
// Printed whole. Not foreseen: a floor crossing 1 h 57 min after the cabin's heating stopped.
TEST_CASE("crossings of the limit in the practice feeds are foreseen as well") {
  ForesightScore limit, floor;
  const auto played = play_all_practice();
  if (played.empty()) {
    MESSAGE("no practice feeds (FW_PRACTICE_DIR), skipped");
    return;
  }
  for (const auto& o : played) {
    o.limit.print((o.name + " limit").c_str());
    o.floor.print((o.name + " floor").c_str());
    limit.add(o.limit);
    floor.add(o.floor);
  }
  CHECK(limit.warned == limit.events);
  CHECK(floor.an_hour_before == floor.events);
  CHECK(14.0 * (limit.false_warnings + floor.false_warnings) / limit.days <= 1.0);
  limit.print("practice limit");
  floor.print("practice floor");
}
#endif
