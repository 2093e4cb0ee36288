#include <doctest/doctest.h>

#include "outlook/sentences.h"
#include "outlook/story.h"

using namespace fw;
using namespace fw::outlook;
using story::at;
using story::has;
using story::Sight;
using story::Story;
using story::Weather;

namespace {
/// Both strings covered from the day before, clear sky forecast; the morning of the 15th until `until`.
void snowed_in(Story& s, Utc until, double soc, double load_w = 40, Weather w = {}) {
  s.forecast(at(14, 12), [=](Utc) { return w; });
  s.live(at(14, 15), until, [=](Utc) { return Sight{.soc = soc, .load_w = load_w, .air_c = w.air_c, .cover = 0.965, .share = 1 - w.cloud * 0.75}; });
}
}  // namespace

TEST_CASE("thin snow on all, a bright day: what is at stake and when to go up") {
  Story s;
  snowed_in(s, at(15, 10), 0.55);
  const auto& c = s.plan().clearing;
  CHECK(c.choice == Choice::clear);
  CHECK(c.today_kwh >= 1.2);
  CHECK(c.today_kwh <= 1.4);
  CHECK(has(s.sentence(), "Clearing today looks worth about 1."));
  CAPTURE(s.sentence());
  CHECK(has(s.sentence(), " to 11:00. Loose snow only"));
  CHECK(has(s.sentence(), "Loose snow only, mind ladder and ice."));
  CHECK_FALSE(has(s.sentence(), "patch"));
  CHECK(s.outlook().clearing_worth_saying());
}

TEST_CASE("what is best done in the morning is not said again at midnight") {
  Story s;
  snowed_in(s, at(15, 0, 50), 0.55);
  CHECK(s.plan().clearing.choice == Choice::clear);
  CHECK_FALSE(s.outlook().clearing_hour_near());
  snowed_in(s, at(15, 9), 0.55);
  CHECK(s.outlook().clearing_hour_near());
}

TEST_CASE("dark overcast, cloud or snow: the small gain is stated, nobody is sent up") {
  Story s;
  s.forecast(at(14, 12), [](Utc) { return Weather{1, -5, 0, 2}; });
  s.live(at(14, 12), at(15, 9), [](Utc) { return Sight{.soc = 0.5, .cover = 0.6, .cause = Cause::unsure, .share = 0.12}; });
  const auto& c = s.plan().clearing;
  CHECK(c.choice != Choice::clear);
  CHECK(c.choice != Choice::no_snow);
  CHECK(c.today_kwh > 0.03);
  CHECK(c.today_kwh < 0.25);  // some 4 to 16 W a string all day
  CHECK(has(s.sentence(), ("learing would bring about " + Words::energy(c.today_kwh) + " today, not worth the ladder. Nothing to do.").c_str()));
  CHECK_FALSE(s.outlook().clearing_worth_saying());
}

TEST_CASE("one string bare, one half covered: the stake is that string's") {
  rig::Rig r = story::reference();
  Story s(r);
  s.forecast(at(15, 6), [](Utc) { return Weather{}; });
  RoofAhead roof;
  s.live(at(15, 6), at(15, 8), [](Utc) { return Sight{.soc = 0.5}; });
  PlanInput in;
  in.now = at(15, 8);
  in.strings = {{nullptr, {}, 1}, {nullptr, {snow::water_for_cover(0.92, 100)}, 1}};
  in.under_snow = {false, true};
  for (int h = 0; h < 73; ++h) in.weather.push_back({at(15, 8) + hours{h}, 1, 0.2, -5, 0, 2.0, true});
  in.loads.assign(73, {40, 10});
  in.bank = BankNow{0.4};
  in.site = roof::site_of(r.site, 45, -93);
  const Plan p = make_plan(s.rig(), s.words(), in);
  CHECK(p.clearing.strings == std::vector<int>{1});
  CHECK(p.clearing.today_kwh > 0.58);  // about 650 Wh under a clear sky
  CHECK(p.clearing.today_kwh < 0.72);
  CHECK(has(clearing_text(s.rig(), s.words(), p, false), "Even a small patch left can cost most of a string. Loose snow only, mind ladder and ice."));
}

TEST_CASE("snow falls all day: wait until it ends, and count only the minutes the glass stays free") {
  Story s;
  s.forecast(at(14, 12), [](Utc t) { return t >= at(15, 8) && t < at(15, 16) ? Weather{0.95, -5, 1, 2} : Weather{0.3, -5, 0, 2}; });
  s.live(at(14, 12), at(15, 8), [](Utc) { return Sight{.soc = 0.5, .cover = 0}; });
  s.live(at(15, 8), at(15, 12), [](Utc) { return Sight{.soc = 0.5, .cover = 0.95, .share = 0.27}; });
  const auto& c = s.plan().clearing;
  CHECK(c.choice == Choice::wait_snow);
  CAPTURE(c.now_kwh);
  CHECK(c.now_kwh > 0.02);  // three quarters of an hour of a dim noon
  CHECK(c.now_kwh < 0.055);
  CHECK(has(s.sentence(), ("Wait until the snowfall ends, about 16:00: clearing now would bring about " + Words::energy(c.now_kwh)).c_str()));
  int clearing = 0;
  for (const auto& r : s.rows) clearing += r.kind == "clearing" && r.when.utc >= at(15, 9);
  CHECK(clearing <= 3);
}

TEST_CASE("swept at noon: the advice goes, and what it brought is written down") {
  Story s;
  snowed_in(s, at(15, 12, 5), 0.55);
  s.live(at(15, 12, 5), at(15, 12, 20), [](Utc) { return Sight{.soc = 0.6}; });
  CHECK(s.sentence().empty());
  CHECK_FALSE(s.outlook().advice().contains("clearing"));
  CHECK(s.published.back().payload.empty());  // emptied, still retained
  CHECK(s.published.back().retain);
  s.live(at(15, 12, 20), at(15, 22), [](Utc) { return Sight{.soc = 0.7}; });
  bool told = false;
  for (const auto& r : s.rows)
    if (has(r.text, "Cleared about 12:05") && r.gain_kwh) {
      told = true;
      CHECK(*r.gain_kwh > 0.5);
      CHECK(*r.gain_kwh < 1.0);
    }
  CHECK(told);
}

TEST_CASE("half an hour of what looks like snow at dawn, with none forecast, is no clearing when it goes") {
  for (const double snow_cm : {0.0, 1.0}) {
    CAPTURE(snow_cm);
    Story s;
    s.forecast(at(14, 12), [=](Utc t) { return Weather{0, -5, t >= at(15, 3) && t < at(15, 6) ? snow_cm : 0.0, 2}; });
    s.live(at(14, 12), at(15, 8, 40), [](Utc) { return Sight{.soc = 0.55, .cause = Cause::clear}; });
    s.live(at(15, 8, 40), at(15, 9, 10), [](Utc) { return Sight{.soc = 0.55, .cover = 0.9}; });
    s.live(at(15, 9, 10), at(15, 22), [](Utc) { return Sight{.soc = 0.6}; });
    bool booked = false;
    for (const auto& r : s.rows) booked = booked || has(r.text, "Cleared about 09:10");
    CHECK(booked == (snow_cm > 0));
  }
}

TEST_CASE("nearly full bank: what the bank can take counts, not what the panels could make") {
  Story full;
  full.forecast(at(14, 12), [](Utc) { return Weather{}; });
  full.live(at(14, 12), at(15, 7), [](Utc) { return Sight{.soc = 0.97, .load_w = 17, .cover = 0.995}; });
  CHECK(full.plan().clearing.choice == Choice::not_needed);
  CHECK(full.plan().clearing.today_kwh < 0.28);
  CHECK(full.plan().clearing.today_kwh > 0.15);
  CHECK(has(full.sentence(), "not needed today"));
  CHECK_FALSE(full.outlook().clearing_worth_saying());
  Story half;
  snowed_in(half, at(15, 7), 0.45);
  const auto& c = half.plan().clearing;
  CHECK(c.choice == Choice::clear);
  CHECK(c.today_kwh > 1.2);
  CHECK(c.today_kwh < 1.45);
  CHECK(half.clock_of(*c.best_from) <= 10.5);
}

TEST_CASE("small gain and wind: leave it; large gain and calm: worth it; never climbs: not a word of it") {
  SUBCASE("windy") {
    Story s;
    snowed_in(s, at(15, 7), 0.8, 40, {0, -5, 0, 15});
    CHECK(s.plan().clearing.choice == Choice::unsafe);
    CHECK(has(s.sentence(), "Leave the snow: too windy"));
    CHECK_FALSE(s.outlook().clearing_worth_saying());
  }
  SUBCASE("windy, and little to gain") {
    rig::Rig r = story::reference();
    r.advice.min_gain_kwh = 0.8;  // no later day is worth it either
    Story s(r);
    snowed_in(s, at(15, 14, 30), 0.8, 40, {0, -5, 0, 15});
    CAPTURE(s.sentence());
    CHECK(has(s.sentence(), "not worth the ladder. Nothing to do."));
    CHECK_FALSE(s.outlook().clearing_worth_saying());
  }
  SUBCASE("little to gain by the owner's standard as it comes") {
    Story s;
    snowed_in(s, at(15, 14, 30), 0.8);
    CHECK(s.plan().clearing.today_kwh < 0.25);
    CHECK(s.plan().clearing.choice != Choice::clear);
    CHECK_FALSE(has(s.sentence(), "Clearing today looks worth"));
  }
  SUBCASE("under the owner's threshold") {
    rig::Rig r = story::reference();
    r.advice.min_gain_kwh = 3;
    Story s(r);
    snowed_in(s, at(15, 7), 0.3);
    CHECK(s.plan().clearing.choice == Choice::too_small);
    CHECK(has(s.sentence(), "Nothing to do."));
  }
  SUBCASE("calm and needed") {
    Story s;
    snowed_in(s, at(15, 7), 0.25, 40, {0, -5, 0, 3});
    const auto& c = s.plan().clearing;
    REQUIRE(c.choice == Choice::clear);
    CHECK(c.today_kwh == doctest::Approx(1.3).epsilon(0.1));
    CHECK(s.clock_of(*c.best_from) >= 9.5);
    CHECK(s.clock_of(*c.best_to) <= 11.5);
    CHECK(has(s.sentence(), "Loose snow only, mind ladder and ice."));
    for (const char* never : {"scrap", "hot water", "salt"}) CHECK_FALSE(has(s.sentence(), never));
  }
  SUBCASE("never") {
    rig::Rig r = story::reference();
    r.advice.climb = rig::Climb::never;
    Story s(r);
    snowed_in(s, at(15, 7), 0.25, 60);
    CHECK_FALSE(s.outlook().clearing_worth_saying());
    CHECK_FALSE(has(s.sentence(), "worth"));
    CHECK(s.outlook().advice().contains("saving"));  // saving instead
  }
  SUBCASE("not alone, if the owner said so") {
    rig::Rig r = story::reference();
    r.advice.climb = rig::Climb::not_alone;
    Story s(r);
    snowed_in(s, at(15, 7), 0.25, 40, {0, -5, 0, 3});
    CHECK(has(s.sentence(), "mind ladder and ice. Not alone."));
  }
  SUBCASE("in the dark nobody is sent up") {
    Story s;
    snowed_in(s, at(15, 18), 0.25);
    CHECK(s.plan().clearing.choice != Choice::clear);
    CHECK_FALSE(has(s.sentence(), "Clearing today"));
  }
  SUBCASE("too cold for the owner") {
    rig::Rig r = story::reference();
    r.advice.min_air_c = -15;
    Story s(r);
    snowed_in(s, at(15, 7), 0.4, 40, {0, -18, 0, 3});
    CHECK(s.plan().clearing.choice == Choice::unsafe);
    CHECK(has(s.sentence(), "too cold"));
  }
}

TEST_CASE("the window fits the hours at which somebody is there") {
  rig::Rig r = story::reference();
  r.advice.present = {rig::TimeOfDay{13 * 60}, rig::TimeOfDay{15 * 60}};
  Story s(r);
  snowed_in(s, at(15, 7), 0.4);
  const auto& c = s.plan().clearing;
  REQUIRE(c.best_from);
  CHECK(s.clock_of(*c.best_from) == doctest::Approx(13));
  CHECK(c.today_kwh < 0.8);
}

TEST_CASE("grey days ahead: the day that will be worth it is named") {
  Story s;
  // The 15th is a Thursday; Saturday clears up.
  s.forecast(at(15, 5), [](Utc t) { return Weather{t >= at(17, 0) ? 0.0 : 1.0, -6, 0, 2}; });
  s.live(at(15, 5), at(15, 11), [](Utc) { return Sight{.soc = 0.6, .air_c = -6, .cover = 0.97, .share = 0.25}; });
  const auto& c = s.plan().clearing;
  CHECK(c.choice == Choice::wait_day);
  CHECK(has(s.sentence(), "Grey until Saturday: clearing now would bring "));
  CHECK(has(s.sentence(), "Saturday looks worth it"));
}

TEST_CASE("a bright day nearly over is not called grey") {
  Story s;
  snowed_in(s, at(15, 14), 0.4);
  REQUIRE(s.plan().clearing.choice == Choice::wait_day);
  CHECK(has(s.sentence(), "Clearing now would bring about 0."));
  CHECK(has(s.sentence(), "Friday looks worth it"));
  CHECK_FALSE(has(s.sentence(), "Grey"));
}

TEST_CASE("nobody there: the day the reserve is reached and what can be switched off") {
  rig::Rig r = story::reference();
  Story s(r);
  s.note(NoteEvent::away, at(15, 0));
  s.forecast(at(15, 0), [](Utc) { return Weather{1, -10, 0, 2}; });
  s.live(at(15, 0), at(15, 20), [](Utc t) { return Sight{.soc = 0.9 - 0.075 * hours_of(t - at(15, 0)) / 24, .load_w = 8, .air_c = -10, .cover = 0.999, .share = 0.2}; });
  REQUIRE(s.outlook().hours_left());
  CHECK(*s.outlook().hours_left() / 24 == doctest::Approx(8.5).epsilon(0.06));
  const Fact f = s.fact("reserve_ahead");
  CHECK(f.condition);
  CHECK(f.priority == 0);  // told, and told again after a week
  CHECK(has(f.text, "Standing loads of about 8 W"));
  CHECK_FALSE(s.outlook().clearing_worth_saying());
  // five days on
  s.live(at(15, 20), at(19, 20), [](Utc t) { return Sight{.soc = 0.9 - 0.075 * hours_of(t - at(15, 0)) / 24, .load_w = 8, .air_c = -10, .cover = 0.999, .share = 0.2}; });
  CHECK(*s.outlook().hours_left() / 24 == doctest::Approx(4.5).epsilon(0.08));
}

TEST_CASE("snowed in with plenty: nothing for the phone; with little: one message") {
  Story plenty;
  snowed_in(plenty, at(15, 9), 0.95, 20, {0, 2, 0, 2});
  CHECK_FALSE(plenty.outlook().clearing_worth_saying());
  Story little;
  snowed_in(little, at(15, 9), 0.30);
  CHECK(little.outlook().clearing_worth_saying());
}

TEST_CASE("cleared three times in a day of snow: each time it is written down, and the word is to wait again") {
  Story s;
  s.forecast(at(14, 12), [](Utc t) { return t >= at(15, 8) && t < at(15, 16) ? Weather{0.9, -5, 1, 2} : Weather{0.3, -5, 0, 2}; });
  s.live(at(14, 12), at(15, 8), [](Utc) { return Sight{.soc = 0.5, .cover = 0}; });
  const std::vector<Utc> swept{at(15, 9), at(15, 10, 30), at(15, 12)};
  const auto lived = [&](Utc from, Utc to) {
    s.live(from, to, [&](Utc t) {
      double since_h = 1;  // from 60 W to 6 W within three quarters of an hour
      for (const Utc w : swept)
        if (t >= w) since_h = std::min(1.0, hours_of(t - w));
      return Sight{.soc = 0.5, .cover = std::min(0.92, 0.92 * since_h / 0.75), .share = 0.45};
    });
  };
  const auto waits = [&] {
    const auto it = s.outlook().advice().find("clearing");
    return it != s.outlook().advice().end() && has(it->second.text, "Wait until the snowfall ends, about 16:00");
  };
  const auto before = s.rows.size();
  Utc t = at(15, 8);
  for (const Utc w : swept) {
    CAPTURE(s.words().clock(w));
    lived(t, w);
    CHECK(waits());  // covered for half an hour and more
    t = w + minutes{5};
    lived(w, t);
    CHECK_FALSE(s.outlook().advice().contains("clearing"));
  }
  lived(t, at(15, 15));
  CHECK(waits());
  CHECK(s.plan().clearing.now_kwh < 0.055);
  lived(at(15, 15), at(15, 22));
  int done = 0, said = 0;
  std::vector<std::string> booked;
  for (std::size_t i = before; i < s.rows.size(); ++i) {
    if (s.rows[i].kind != "clearing") continue;
    if (has(s.rows[i].text, "Cleared about ")) {
      booked.push_back(s.rows[i].text.substr(14, 5));
      CHECK(s.rows[i].outcome == "done: brought " + Words::energy(s.rows[i].gain_kwh.value_or(0)));
      CHECK(s.rows[i].gain_kwh.value_or(0) > 0.01);
      CHECK(s.rows[i].gain_kwh.value_or(0) < 0.1);
      continue;
    }
    if (s.rows[i].when.utc >= at(15, 15)) continue;
    CHECK(has(s.rows[i].text, "Wait until the snowfall ends"));
    CHECK_FALSE(s.rows[i].best_from);  // what is left of the day after it is not worth an hour's name
    (s.rows[i].outcome.empty() ? said : done) += 1;
    if (!s.rows[i].outcome.empty()) CHECK(s.rows[i].outcome == "done: cleared");
  }
  CHECK(done == 3);
  CHECK(said == 4);
  CHECK(booked == std::vector<std::string>{"09:00", "10:30", "12:00"});
}

TEST_CASE("a shadow or a dark sky over covered glass does not prove it bare") {
  for (const Cause cause : {Cause::shade, Cause::cloud, Cause::soiling}) {
    CAPTURE(name(cause));
    Story s;
    snowed_in(s, at(15, 9), 0.4);
    s.live(at(15, 9), at(15, 10), [&](Utc) { return Sight{.soc = 0.4, .cover = 0.965, .cause = cause}; });
    CHECK(s.plan().clearing.choice == Choice::clear);
    CHECK(s.plan().clearing.today_kwh > 1);
  }
}

TEST_CASE("a covered string taken for dead is still worth clearing, unless it has no volts") {
  Story covered;
  snowed_in(covered, at(15, 9), 0.4);
  covered.live(at(15, 9), at(15, 10), [](Utc) { return Sight{.soc = 0.4, .cover = 0.985, .cause = Cause::outage, .string_v = 36}; });
  CHECK(covered.plan().clearing.today_kwh > 1);
  Story dead;
  snowed_in(dead, at(15, 9), 0.4);
  dead.live(at(15, 9), at(15, 10), [](Utc) { return Sight{.soc = 0.4, .cover = 1, .cause = Cause::outage, .string_v = 0.2}; });
  CHECK(dead.plan().clearing.choice == Choice::too_small);
}

TEST_CASE("snow forecast for the morning is told beforehand when clearing after it will be worth it") {
  Story s;
  s.forecast(at(14, 12), [](Utc t) { return t >= at(15, 6) && t < at(15, 10) ? Weather{0.9, -3, 2, 2} : Weather{0, -5, 0, 2}; });
  s.live(at(14, 12), at(15, 5), [](Utc) { return Sight{.soc = 0.5}; });
  CHECK(s.plan().clearing.choice == Choice::wait_snow);
  CHECK(has(s.sentence(), "Snow is forecast until about 10:00. Clearing after it looks worth about"));
  CHECK(has(s.sentence(), "Loose snow only, mind ladder and ice."));
  Story little;
  little.forecast(at(14, 12), [](Utc t) { return t >= at(15, 6) && t < at(15, 8) ? Weather{0.9, 2, 0.1, 2} : Weather{0.2, 4, 0, 2}; });
  little.live(at(14, 12), at(15, 5), [](Utc) { return Sight{.soc = 0.5}; });
  CHECK(little.sentence().empty());
}
