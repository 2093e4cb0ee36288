#include <doctest/doctest.h>

#include <cmath>

#include "outlook/sentences.h"
#include "outlook/story.h"
#include "units/text.h"

using namespace fw;
using namespace fw::outlook;
using story::at;
using story::has;
using story::Sight;
using story::Story;
using story::Weather;

namespace {
Weather overcast(Utc) { return {1, -5, 0, 2}; }
double s_load(Utc t) { return 40 + static_cast<double>((t.time_since_epoch() / hours{1}) % 5); }
}  // namespace

TEST_CASE("only a voltage in mid range is no percentage") {
  Story s;
  s.live(at(15, 0), at(15, 12), [](Utc) { return Sight{.soc = {}, .load_w = {}, .bank_v = 13.2, .bank_a = -2}; });
  CHECK_FALSE(s.outlook().hours_left());
  CHECK_FALSE(s.plan().soc_known);
  const auto lines = s.outlook().summary_lines();
  REQUIRE_FALSE(lines.empty());
  CHECK(lines[0] == "Bank at 13.2 V, state of charge unknown, 20-90 %.");
  CHECK_FALSE(s.fact("reserve_ahead").condition);
  CHECK(soc_from_voltage(13.8, 12.8, 2, 200).low >= 0.9);
  CHECK(soc_from_voltage(12.0, 12.8, -2, 200).high <= 0.2);
}

TEST_CASE("17 % a day for three days: the departure reserve is announced a day and more ahead") {
  rig::Rig r = story::reference();
  r.bank.departure_reserve_soc = 0.25;
  Story s(r);
  s.forecast(at(13, 6), overcast);
  auto soc = [](Utc t) { return 0.80 - 0.17 * hours_of(t - at(13, 8)) / 24; };
  auto day = [&](Utc t) {
    // 435 Wh more used than made; some 130 Wh made under a dark sky
    return Sight{.soc = soc(t), .load_w = 23.5, .air_c = -5, .share = 0.09};
  };
  s.live(at(13, 8), at(14, 8), day);
  s.forecast(at(14, 8), overcast);
  s.live(at(14, 8), at(14, 20), day);
  REQUIRE(s.plan().departure_at);
  const double ahead_h = hours_of(*s.plan().departure_at - at(14, 20));
  CHECK(ahead_h > 30);
  CHECK(ahead_h < 52);
  CHECK(s.fact("reserve_ahead").condition);
  CHECK(has(s.fact("reserve_ahead").text, "Departure reserve (25 %)"));
  CHECK(has(s.fact("reserve_ahead").text, "Enough to leave until then."));
  CHECK(has(s.fact("reserve_ahead").text, "Sun tomorrow about"));
  const auto second_day = s.fact("reserve_ahead").priority;
  s.forecast(at(15, 8), overcast);
  s.live(at(14, 20), at(15, 20), day);
  CHECK(s.fact("reserve_ahead").condition);
  CHECK(s.fact("reserve_ahead").priority.value_or(1) >= second_day.value_or(1));
  CHECK(has(s.fact("reserve_ahead").text, "A move would have to come before."));
  CHECK(*s.plan().departure_at < at(16, 20));
}

TEST_CASE("cold takes capacity: a long night is judged in the evening and a saving is named") {
  Story s;
  s.forecast(at(15, 12), [](Utc) { return Weather{0, -12, 0, 2}; });
  s.live(at(15, 15), at(15, 21), [](Utc t) { return Sight{.soc = 0.38 + 45.0 / 2560 * hours_of(at(15, 21) - t), .load_w = 45, .cell_c = -4 + 0.4 * hours_of(at(15, 21) - t), .air_c = -12, .charge_allowed = false}; });
  REQUIRE(s.plan().reserve_at);
  const double clock = s.clock_of(*s.plan().reserve_at);
  CAPTURE(clock);
  CHECK(std::abs(clock - 4.67) < 0.4);
  CHECK(s.fact("reserve_ahead").condition);
  const std::string text = s.fact("reserve_ahead").text;
  CAPTURE(text);
  CHECK(text.starts_with("Bank 38 %. Reserve (20 %) reached tomorrow about 0"));
  CHECK(has(text, "of tomorrow's sun will be lost to cold cells. Using about "));
  CHECK(has(text, " W less from now on would carry it to daylight, tomorrow about 08:"));
}

TEST_CASE("a bank beside its reserve is said to be where its figure says") {
  for (const auto& [soc, said] : {std::pair{0.186, "Bank 19 %, below its reserve of 20 %."}, {0.198, "Bank 20 %, at its reserve of 20 %."}, {0.217, "Bank 22 %, near its reserve of 20 %."}}) {
    Story s;
    s.live(at(15, 0), at(15, 0, 5), [](Utc) { return Sight{.soc = 0.2}; });
    s.live(at(15, 0, 5), at(15, 0, 10), [&](Utc) { return Sight{.soc = soc}; });
    CHECK(s.fact("bank_low").condition);
    CHECK(s.fact("bank_low").text.starts_with(said));
  }
}

TEST_CASE("a bank that the morning lifts out of what is kept for leaving is no word, one that stays there is") {
  rig::Rig r = story::reference();
  r.bank.departure_reserve_soc = 0.25;
  for (const bool sunny : {true, false}) {
    CAPTURE(sunny);
    Story s(r);
    s.forecast(at(15, 0), [&](Utc) { return sunny ? Weather{0, -2, 0, 2} : overcast({}); });
    s.live(at(15, 8), at(15, 9, 30), [&](Utc t) { return Sight{.soc = 0.235 + 0.005 * hours_of(t - at(15, 8)), .load_w = sunny ? 15.0 : 45.0, .share = sunny ? 1 : 0.1}; });
    CHECK(s.fact("reserve_ahead").condition != sunny);
  }
}

TEST_CASE("a reserve that was likely stays in sight until it is unlikely, and silently while it is neither") {
  // The bank rises through a span of charges under the same dull sky.
  auto fresh = [](double soc) {
    auto s = std::make_unique<Story>();
    s->forecast(at(15, 0), [](Utc) { return Weather{0.85, -5, 0, 2}; });
    s->live(at(15, 6), at(15, 6, 20), [&](Utc) { return Sight{.soc = soc, .load_w = 41, .share = 0.55}; });
    return s;
  };
  const auto s = fresh(0.26);
  REQUIRE(s->fact("reserve_ahead").condition);
  int neither = 0, changes = 0;
  bool before = true;
  for (int k = 0; k <= 32; ++k) {
    const double soc = 0.26 + 0.02 * k;
    CAPTURE(soc);
    s->live(at(15, 6, 20) + minutes{5 * k}, at(15, 6, 25) + minutes{5 * k}, [&](Utc) { return Sight{.soc = soc, .load_w = 41, .share = 0.55}; });
    const Fact f = s->fact("reserve_ahead");
    changes += f.condition != before;
    before = f.condition;
    const bool raised_by_it = fresh(soc)->fact("reserve_ahead").condition;
    if (raised_by_it) CHECK(f.condition);
    if (!f.condition || raised_by_it || f.worth_saying) continue;
    ++neither;
    CHECK(has(f.text, " Reserve (20 %) reached only if it goes worse than likely, "));
    CHECK(has(f.text, " Nothing to do yet."));
  }
  CHECK(neither > 0);
  CHECK(changes == 1);
  CHECK_FALSE(before);
}

TEST_CASE("while the bank is low, the reserve ahead is no second alarm and does not end") {
  Story s;
  s.forecast(at(15, 0), overcast);
  s.live(at(15, 6), at(15, 6, 20), [](Utc) { return Sight{.soc = 0.19, .share = 0.1}; });
  CHECK(s.fact("bank_low").condition);
  CHECK(s.fact("reserve_ahead").condition);
  CHECK(s.fact("reserve_ahead").hidden_by == std::vector<std::string>{"bank_low-rig"});
}

TEST_CASE("usable capacity falls with the cells' temperature, to about two thirds") {
  double before = 1.1;
  for (double c : {20.0, 10.0, 5.0, 0.0, -5.0, -10.0, -20.0, -40.0}) {
    CHECK(usable_share(c) <= before);
    before = usable_share(c);
  }
  CHECK(usable_share(25) == 1);
  CHECK(usable_share(-15) > 0.6);
  CHECK(usable_share(-7) == doctest::Approx(0.77).epsilon(0.03));
}

TEST_CASE("a kettle costs what it used; a heater left on is noticed within a quarter of an hour") {
  SUBCASE("kettle") {
    Story s;
    s.forecast(at(15, 12), overcast);
    s.live(at(15, 13), at(15, 18, 52), [](Utc t) { return Sight{.soc = 0.6 + 40.0 / 2560 * hours_of(at(15, 18, 52) - t), .cover = 0.999, .share = 0.1}; });
    const double before = *s.outlook().hours_left() / 24;
    CAPTURE(before);
    CHECK(std::abs(before - 1.07) < 0.08);
    s.live(at(15, 18, 52), at(15, 19), [](Utc t) { return Sight{.soc = 0.6 - 0.0625 * hours_of(t - at(15, 18, 52)) / 0.133, .load_w = 1200, .cover = 0.999, .share = 0.1}; });
    s.live(at(15, 19), at(15, 19, 16), [](Utc) { return Sight{.soc = 0.5375, .cover = 0.999, .share = 0.1}; });
    const double after = *s.outlook().hours_left() / 24;
    CAPTURE(after);
    CHECK(std::abs(after - 0.90) < 0.08);
    CHECK_FALSE(s.fact("bank_low").condition);
  }
  SUBCASE("heater") {
    Story s;
    s.forecast(at(15, 12), overcast);
    s.live(at(15, 13), at(15, 19), [](Utc t) { return Sight{.soc = 0.6 + 40.0 / 2560 * hours_of(at(15, 19) - t), .cover = 0.999, .share = 0.1}; });
    s.live(at(15, 19), at(15, 19, 15), [](Utc t) { return Sight{.soc = 0.6 - hours_of(t - at(15, 19)) * 700 / 2560, .load_w = 700, .cover = 0.999, .share = 0.1}; });
    CHECK(std::abs(*s.outlook().hours_left() - 1.17) < 0.15);
    CHECK(s.fact("bank_low").condition);
    CHECK(s.fact("bank_low").text == "Loads at 700 W for 15 min: at this rate the reserve is reached in about 1 h 10 min. Something left on?");
    // Its end is that of the load: the bank was never low.
    s.live(at(15, 19, 15), at(15, 20), [](Utc) { return Sight{.soc = 0.53, .load_w = 40, .cover = 0.999, .share = 0.1}; });
    CHECK_FALSE(s.fact("bank_low").condition);
    CHECK(s.fact("bank_low").over_text == "The heavy load is over: bank 53 %.");
    s.live(at(15, 20), at(15, 20, 5), [](Utc) { return Sight{.soc = 0.19, .load_w = 40, .cover = 0.999, .share = 0.1}; });
    s.live(at(15, 20, 5), at(15, 20, 10), [](Utc) { return Sight{.soc = 0.31, .load_w = 40, .cover = 0.999, .share = 0.1}; });
    CHECK(s.fact("bank_low").over_text == "Bank above its reserve again: 31 %.");
  }
}

TEST_CASE("sun while the cells are too cold to charge does not count") {
  Story s;
  s.forecast(at(15, 0), [](Utc) { return Weather{0, -6, 0, 2}; });
  s.live(at(14, 20), at(15, 8), [](Utc t) { return Sight{.soc = 0.6 + 37.5 / 2560 * hours_of(at(15, 8) - t), .load_w = 37.5, .cell_c = -3 - 0.35 * hours_of(at(15, 8) - t), .air_c = -6, .charge_allowed = false}; });
  double chargeable = 0, held = 0;
  for (const auto& h : s.plan().hours)
    if (h.from < at(15, 18)) {
      chargeable += h.accepted_w / 1000;
      held += h.held_off_w / 1000;
    }
  CHECK(chargeable < 0.001);
  CHECK(std::abs(held - 1.4) < 0.1);
  REQUIRE(s.outlook().hours_left());
  CHECK(std::abs(*s.outlook().hours_left() / 24 - 1.1) < 0.12);
  const auto lines = s.outlook().summary_lines();
  CHECK(lines[0] == "Bank 60 %, lasts until tomorrow morning.");
  // beside a word that has said it already
  CHECK(s.outlook().lines_beside("snow") == lines);
  CHECK(s.outlook().lines_beside("bank_low").front() == lines[1]);
  CHECK(s.outlook().lines_beside("reserve_ahead").size() == lines.size() - 2);
  CHECK(lines[1].starts_with("Today next to nothing still to come if the sky does what was forecast. About 1.4 kWh of today's sun will be lost to cold cells. Warming their space by about "));
}

TEST_CASE("bank full early on a long day: what is to spare is said in time") {
  Story s;
  auto march = [](int h, int m = 0) { return Utc{std::chrono::sys_days{std::chrono::year{2026} / 3 / 10}} + hours{h + 6} + minutes{m}; };
  s.forecast(march(0), [](Utc) { return Weather{0, 5, 0, 2}; });
  s.live(march(5), march(9, 31), [&](Utc t) { return Sight{.soc = std::min(0.999, 0.85 + 0.15 * hours_of(t - march(5)) / 4.4), .load_w = 40, .air_c = 5}; });
  const Fact f = s.fact("surplus");
  CHECK(f.condition);
  REQUIRE(s.plan().surplus_today);
  CHECK(s.plan().surplus_today->kwh > 1.9);  // two strings, about 1.3 each, less the loads
  CHECK(s.plan().surplus_today->kwh < 3.0);
  CHECK(has(f.text, "Bank full. About 2."));
  CHECK(has(f.text, "if you have a use for it"));
  CHECK(s.outlook().advice().contains("surplus"));
}

TEST_CASE("nearly empty by its voltage is urgent, no voltage is a bank that switched itself off") {
  Story s;
  s.live(at(15, 0), at(15, 1), [](Utc) { return Sight{.soc = 0.14, .load_w = 60, .bank_v = 12.0, .bank_a = -5}; });
  CHECK(s.fact("bank_low").condition);
  CHECK(s.fact("bank_low").priority == 2);
  s.live(at(15, 1), at(15, 2), [](Utc) { return Sight{.soc = {}, .load_w = {}, .bank_v = 0.7, .bank_a = 0}; });
  CHECK(has(s.fact("bank_gone").text, "can wake it. Only with cells above 0 °C."));
  CHECK(s.fact("bank_gone").condition);
  CHECK(has(s.fact("bank_gone").text, "disconnected itself"));
  CHECK_FALSE(s.fact("bank_low").condition);
}

TEST_CASE("without a forecast the last days stand in, and it is said") {
  Story s;
  s.live(at(13, 0), at(15, 7), [](Utc) { return Sight{}; });
  CHECK_FALSE(s.plan().forecast_used);
  CHECK(has(s.outlook().summary_lines()[1], "going by the last days"));
  double made = 0;
  for (const auto& h : s.plan().hours)
    for (double w : h.as_is_w) made += w / 1000;
  CHECK(made > 2);
}

TEST_CASE("a cold cabin is told") {
  Story s;
  s.live(at(15, 0), at(15, 1), [](Utc) { return Sight{.cabin_c = 2}; });
  CHECK(s.fact("cabin_cold").condition);
  s.live(at(15, 1), at(15, 2), [](Utc) { return Sight{.cabin_c = 8}; });
  CHECK_FALSE(s.fact("cabin_cold").condition);
}

TEST_CASE("what was learned survives a restart, foreign text does no harm") {
  Story s;
  s.forecast(at(13, 0), overcast);
  s.live(at(13, 0), at(15, 7), [](Utc t) { return Sight{.load_w = s_load(t), .cover = 0.9, .share = 0.4}; });
  const std::string kept = s.outlook().snapshot();
  Story other;
  other.outlook().restore(kept);
  CHECK(other.outlook().snapshot() == kept);
  for (const char* bad : {"", "{", "[]", "{\"v\":2}", "{\"v\":1,\"strings\":3,\"promises\":{},\"forecast\":[],\"thermal\":{\"x\":[]},\"advice\":1}", "null"}) {
    CAPTURE(bad);
    Story fresh;
    fresh.outlook().restore(bad);
    fresh.live(at(15, 7), at(15, 7, 3), [](Utc) { return Sight{}; });
    CHECK(fresh.plan().hours.size() > 70);
  }
}

TEST_CASE("where only the departure reserve is in sight the saving is for that") {
  rig::Rig r = story::reference();
  r.bank.departure_reserve_soc = 0.40;
  Story s(r);
  s.forecast(at(15, 0), [](Utc) { return Weather{0.2, -5, 0, 2}; });
  s.live(at(15, 12), at(15, 20), [](Utc t) { return Sight{.soc = 0.62 - 0.0156 * hours_of(t - at(15, 12)), .load_w = 40}; });
  REQUIRE(s.plan().departure_at);
  REQUIRE_FALSE(s.plan().reserve_at.value_or(at(25, 0)) < at(18, 0));
  const std::string text = s.fact("reserve_ahead").text;
  CHECK(has(text, "less from now on would carry it"));
  CHECK_FALSE(has(text, "Another source"));
}

TEST_CASE("at its reserve the bank is said to be there, once") {
  Story s;
  s.forecast(at(15, 0), overcast);
  s.live(at(15, 0), at(15, 5), [](Utc t) { return Sight{.soc = 0.21 - 0.004 * hours_of(t - at(15, 0)), .load_w = 40, .share = 0.1}; });
  REQUIRE(s.outlook().advice().contains("saving"));
  const std::string text = s.outlook().advice().at("saving").text;
  CHECK(has(text, "at its reserve of 20 %"));
  CHECK_FALSE(has(text, "by then"));
  int said = 0;
  for (const auto& r : s.rows) said += r.kind == "saving" && has(r.text, "at its reserve");
  CHECK(said == 1);
}

TEST_CASE("the jack is told when it is worth it, with the caution, and by whoever has one") {
  rig::Rig r = story::reference();
  r.site.heading_deg = 0;
  r.advice.jack_min_deg = -4;
  r.advice.jack_max_deg = 4;
  auto told = [](rig::Rig rig, double soc) {
    Story s(std::move(rig));
    s.forecast(at(15, 0), [](Utc) { return Weather{0, -5, 0, 2}; });
    s.live(at(15, 8), at(15, 8, 5), [&](Utc) { return Sight{.soc = soc, .load_w = 60, .pitch = 0}; });
    const auto it = s.outlook().advice().find("attitude");
    return it == s.outlook().advice().end() ? std::string() : it->second.text;
  };
  // The nose points north: raising it leans the roof to the south, about 9 % more for 4 degrees at this sun.
  const std::string text = told(r, 0.4);
  CHECK(has(text, "Nose up to 4"));
  CHECK(has(text, "safely and level enough for its appliances"));
  rig::Rig south = r;
  south.site.heading_deg = 180;
  CHECK(has(told(south, 0.4), "Nose down to 4"));
  rig::Rig none = story::reference();
  CHECK(told(none, 0.4).empty());
  // A roof that leans to the north at this spot: the other way round at the next stop.
  rig::Rig leaning = story::reference();
  for (auto& string : leaning.strings) string.tilt_deg = 10, string.azimuth_deg = 0;
  Story turned(leaning);
  turned.forecast(at(15, 0), [](Utc) { return Weather{0, -5, 0, 2}; });
  turned.live(at(15, 8), at(15, 8, 5), [](Utc) { return Sight{.soc = 0.4, .load_w = 60, .pitch = 0, .heading = 0}; });
  REQUIRE(turned.outlook().advice().contains("attitude"));
  CHECK(has(turned.outlook().advice().at("attitude").text, "Standing turned by 180"));
  rig::Rig modest = r;
  modest.advice.min_gain_kwh = 5;
  CHECK(told(modest, 0.4).empty());
}

TEST_CASE("cleaning is advised when the film costs enough, not when snow and thaw will do it, not to those who never climb") {
  auto told = [](double loss, rig::Climb climb, bool thaw) {
    rig::Rig r = story::reference();
    r.advice.climb = climb;
    Story s(r);
    s.forecast(at(15, 0), [&](Utc t) { return thaw && t >= at(16, 0) ? Weather{0.5, 3, t < at(16, 6) ? 1.0 : 0.0, 2} : Weather{0, 2, 0, 2}; });
    s.live(at(15, 9), at(15, 9, 30), [&](Utc) { return Sight{.soc = 0.4, .load_w = 60, .soiling = loss}; });
    const auto it = s.outlook().advice().find("cleaning");
    // The message on film ends with the same.
    if (it == s.outlook().advice().end()) CHECK(s.outlook().cleaning_sentence() == "Nothing to do now.");
    else CHECK(it->second.text == "Film on the glass. " + s.outlook().cleaning_sentence());
    return it == s.outlook().advice().end() ? std::string() : it->second.text;
  };
  CHECK(has(told(0.15, rig::Climb::yes, false), "Film on the glass. Cleaning looks worth about 1."));
  CHECK(has(told(0.15, rig::Climb::yes, false), "mind the ladder"));
  CHECK(told(0.04, rig::Climb::yes, false).empty());
  CHECK(told(0.15, rig::Climb::yes, true).empty());
  CHECK(told(0.15, rig::Climb::never, false).empty());
}

TEST_CASE("a time ahead is said as exactly as it deserves, and the night belongs to the day that follows it") {
  const Words words = *Words::in_zone("America/Regina", false);
  const Utc now = at(15, 20);  // a Thursday
  CHECK(until(words, at(15, 23), now) == "about 23:00");
  CHECK(until(words, at(16, 3), now) == "tonight, about 03:00");
  CHECK(until(words, at(16, 9), now) == "tomorrow morning");
  CHECK(until(words, at(17, 3), now) == "the night to Saturday");
  CHECK(until(words, at(18, 15), now) == "Sunday afternoon");
  CHECK(until(words, at(25, 15), now) == "Sunday 2026-01-25");
}

TEST_CASE("a bank that lasts a week or more is not given a date") {
  const Words words = *Words::in_zone("America/Regina", false);
  Plan plan;
  plan.at = at(15, 20);
  plan.soc_known = plan.reserve_beyond = true;
  const auto said = [&](Utc reserve_at) {
    plan.reserve_at = reserve_at;
    return bank_line(story::reference(), words, plan, 0.71, {}, {});
  };
  CHECK(said(at(18, 15)) == "Bank 71 %, lasts until Sunday afternoon.");
  CHECK(said(at(24, 18)) == "Bank 71 %, lasts about 9 days.");
  CHECK(said(at(15, 20) + days{23}) == "Bank 71 %, lasts about 3 weeks.");
  // Just missed tomorrow: that is what the owner plans by.
  plan.lowest_soc = 0.26;
  plan.lowest_at = at(16, 8);
  CHECK(said(at(15, 20) + days{11}) == "Bank 71 %, comes down to about 26 % by tomorrow morning.");
}

TEST_CASE("where the sun gives next to nothing all day, the days left are still said") {
  rig::Rig r = story::reference();
  r.site.latitude_deg = 60;
  Story s(r);
  const auto december = [](int day, int hour) { return Utc{std::chrono::sys_days{std::chrono::year{2025} / 12 / day}} + hours{hour + 6}; };
  s.forecast(december(21, 0), [](Utc) { return Weather{0.2, -12, 0, 2}; });
  s.live(december(21, 0), december(21, 15), [&](Utc t) { return Sight{.soc = 0.8 - 40.0 / 2560 * hours_of(t - december(21, 0)), .load_w = 40, .air_c = -12}; });
  REQUIRE(s.outlook().hours_left());
  CHECK(*s.outlook().hours_left() > 20);
  CHECK(*s.outlook().hours_left() < 30);
  CHECK(has(s.outlook().summary_lines()[0], "lasts until"));
}

TEST_CASE("a cold bank on a sunny morning: the reserve message says what takes the sun, and to warm the cells rather than to save") {
  const auto lived = [](bool away) {
    rig::Rig r = story::reference();
    r.advice.away = away;
    auto s = std::make_unique<Story>(r);
    s->forecast(at(15, 0), [](Utc) { return Weather{0, -6, 0, 2}; });
    s->live(at(14, 20), at(15, 8), [](Utc t) { return Sight{.soc = 0.6 + 37.5 / 2560 * hours_of(at(15, 8) - t), .load_w = 37.5, .cell_c = -3 - 0.35 * hours_of(at(15, 8) - t), .air_c = -6, .charge_allowed = false}; });
    return s->fact("reserve_ahead");
  };
  const Fact f = lived(false);
  CHECK(f.condition);
  CHECK(f.text == "Bank 60 %. Reserve (20 %) reached tomorrow morning. Sun today next to nothing. About 1.4 kWh of today's sun will be lost to cold cells. Warming their space by about 09:45 would let it in.");
  const std::string away = lived(true).text;
  CHECK(has(away, "will be lost to cold cells. Standing loads of about 38 W: switch off what can be spared."));
  CHECK_FALSE(has(away, "Warming"));
}

TEST_CASE("the saving stands by the time that its words name, to five minutes, and its words follow the day") {
  rig::Rig r = story::reference();
  r.bank.departure_reserve_soc = 0.25;
  Story s(r);
  s.forecast(at(13, 6), overcast);
  s.live(at(13, 8), at(15, 2), [](Utc t) { return Sight{.soc = 0.70 - 0.17 * hours_of(t - at(13, 8)) / 24, .load_w = 23.5, .air_c = -5, .share = 0.09}; });
  int rows = 0;
  for (const auto& row : s.rows) {
    if (row.kind != "saving" || !row.best_to) continue;
    ++rows;
    CHECK(floor_to(*row.best_to, minutes{5}) == *row.best_to);
    CHECK(*row.best_to < at(18, 0));
  }
  CHECK(rows >= 1);
  CHECK(rows <= 8);
  // The retained words were made today.
  std::string said;
  for (const auto& p : s.published)
    if (p.topic.ends_with("advice/saving")) said = p.payload;
  CAPTURE(said);
  CHECK(has(said, "\"utc\":\"2026-01-15T"));
}

TEST_CASE("energy to spare tomorrow is spoken of from the afternoon before, and does not come and go about half a kWh") {
  rig::Rig r = story::reference();
  Story s(r);
  int wobble = 0;
  const auto wobbling = [&](Utc t) { return Weather{t >= at(16, 0) ? 0.22 + 0.06 * (wobble % 2) : 0.0, 2, 0, 2}; };
  for (int h = 2; h < 48; h += 1, ++wobble) {
    s.forecast(at(15, h), wobbling);
    s.live(at(15, h), at(15, h + 1), [&](Utc t) { return Sight{.soc = t < at(15, 15) ? 0.55 + 0.02 * hours_of(t - at(15, 0)) : 0.80, .load_w = 20, .air_c = 2}; });
  }
  int told = 0, withdrawn = 0;
  for (const auto& row : s.rows) {
    if (row.kind != "surplus") continue;
    CAPTURE(iso_utc(row.when.utc));
    CAPTURE(row.text);
    ++(row.outcome.empty() ? told : withdrawn);
    if (has(row.text, "tomorrow")) CHECK(s.clock_of(row.when.utc) >= 14);
  }
  CHECK(told >= 4);   // an offer each day, and when its figure moved much
  CHECK(told <= 8);
  CHECK(withdrawn <= 2);
}
