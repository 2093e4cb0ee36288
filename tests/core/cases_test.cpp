// Whole days through the core: what the owner reads of them, and when.
#include <algorithm>

#include "core/reference_rig.h"

using namespace fw;
using namespace fw::test;

namespace {

bool has(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

/// Three clear days, so that the strings are known; of 61 W day and night the bank ends each day as it began.
void teach(ReferenceRig& r, double soc, double load_w = 61) {
  r.forecast(-3, 0, [](int) { return ReferenceHour{}; });
  for (int day = -3; day < 0; ++day)
    r.play(day, 0, 24, [&](double, ReferenceMinute& m) {
      if (soc >= 1 && m.p_w > load_w / 2) {
        m.p_w = m.s_w = load_w / 2;
        m.p_v = m.s_v = 44;
        m.stage = "float";
      }
      m.soc = soc;
      m.load_w = load_w;
      soc = std::min(1.0, soc + (0.97 * (m.p_w + m.s_w) - load_w) / 60 / 2560);
    });
  r.said.clear();
  r.advice.clear();
  r.alarms.clear();
}

/// Snow from three to six on the 15th, 3 cm, bright before and after.
ReferenceHour snow_at_night(int hour) { return {hour >= 3 && hour < 6 ? 1.0 : 0.0, -4, hour >= 3 && hour < 6 ? 1.0 : 0.0, 2}; }

/// Both strings under thin snow: two to four per cent of what they should make.
void thin_snow(double hour, ReferenceMinute& m) {
  static constexpr std::array<double, 8> watts{0, 1, 3, 5, 5, 3, 1, 0};
  if (hour < 5) return;
  m.p_w = m.s_w = hour < 8 || hour > 17 ? 0 : BenchRig::through(watts, hour);
  m.p_v = m.s_v = hour < 8 || hour > 17 ? 5 : 30 + 8 * std::min(1.0, BenchRig::clear_w(hour) / 144);
  m.air_c = -4;
}

}  // namespace

TEST_CASE("thin snow on all strings and a bright day: one message with cause, since when, what is at stake, the hour and the caution") {
  ReferenceRig r;
  teach(r, 0.55);
  r.forecast(0, 0, snow_at_night);
  r.play(0, 0, 11, [](double hour, ReferenceMinute& m) {
    thin_snow(hour, m);
    m.soc = 0.55;
  });
  const auto snow = r.said_of("snow");
  REQUIRE(snow.size() == 1);
  CHECK(snow[0].text.starts_with("Both strings "));
  CHECK(has(snow[0].text, "probably under snow since"));
  CHECK(has(snow[0].text, " of "));
  CHECK(has(snow[0].text, " W. Clearing today looks worth about 1.3 kWh"));
  CHECK(has(snow[0].text, ", best 10:00 to 11:00. Loose snow only, mind ladder and ice."));
  for (const auto& a : r.alarms) CHECK(a.alarm != "outage");
}

TEST_CASE("snow falls all day and covers the glass again after each of three clearings: at most one message, and it says to wait") {
  ReferenceRig r;
  teach(r, 0.8);
  r.forecast(0, 0, [](int hour) { return ReferenceHour{hour >= 8 && hour < 16 ? 0.95 : 0.3, -5, hour >= 8 && hour < 16 ? 1.0 : 0.0, 2}; });
  r.play(0, 0, 24, [](double hour, ReferenceMinute& m) {
    m.soc = 0.8;
    if (hour < 8) return;
    double w = 0.045 * BenchRig::clear_w(hour);
    for (const double cleared : {9.0, 10.5, 12.0})
      if (hour >= cleared && hour < cleared + 0.75) w = std::min(0.6 * BenchRig::clear_w(hour), 60 - 54 * (hour - cleared) / 0.75);
    m.p_w = m.s_w = std::max(0.0, w);
    m.p_v = m.s_v = w > 20 ? 38.0 : hour < 16.5 ? 33.0 : 12.0;
  });
  const auto snow = r.said_of("snow");
  CHECK(snow.size() <= 1);
  for (const auto& s : snow) CHECK(has(s.text, "Wait until the snowfall ends, about 16:00"));
}

TEST_CASE("swept at noon: over by twenty past, and what the clearing brought is in the journal by the evening") {
  ReferenceRig r;
  teach(r, 0.71);
  r.forecast(0, 0, snow_at_night);
  r.play(0, 0, 24, [&](double hour, ReferenceMinute& m) {
    thin_snow(hour, m);
    m.soc = 0.71;
    static constexpr std::array<double, 8> after{0, 0, 0, 95, 90, 80, 55, 15};
    if (hour < 12.1) return;
    m.p_w = m.s_w = hour > 17 ? 0 : BenchRig::through(after, hour);
    m.p_v = m.s_v = BenchRig::working_v(m.p_w);
  });
  for (const char* string : {"port", "star"}) {
    CAPTURE(string);
    REQUIRE(r.event_of("snow", string, "raised"));
    REQUIRE(r.event_of("snow", string, "cleared"));
    CHECK(*r.event_of("snow", string, "cleared") <= ReferenceRig::at(0, 12.4));
  }
  const auto done = std::find_if(r.advice.begin(), r.advice.end(), [](const AdviceRow& a) { return has(a.text, "Cleared about 12:05"); });
  REQUIRE(done != r.advice.end());
  CHECK(done->gain_kwh.value_or(0) == doctest::Approx(0.6).epsilon(0.1));
}

TEST_CASE("deep snow over cold days that goes on a mild one: no advice about it is left on the next day") {
  ReferenceRig r;
  teach(r, 0.6);
  const auto weather = [](int hour) { return ReferenceHour{hour >= 0 && hour < 8 ? 1.0 : 0.1, hour < 72 ? -6.0 : 4.0, hour >= 0 && hour < 8 ? 1.25 : 0.0, 2}; };
  for (int day = 0; day < 5; ++day) {
    r.forecast(day, 0, weather);
    if (day == 4) r.said.clear();
    r.play(day, 0, 24, [&](double hour, ReferenceMinute& m) {
      m.soc = 0.6;
      m.air_c = day < 3 ? -6 : 4;
      const double share = day == 4 ? 1.0 : day < 3 ? 0.02 : hour < 11 ? 0.02 : hour < 12 ? 0.2 : hour < 13.5 ? 0.7 : 1.0;
      m.p_w *= share;
      m.s_w *= share;
    });
  }
  CHECK(r.retained["advice/clearing"].empty());
  CHECK(r.said_of("snow").empty());
}

TEST_CASE("nobody there, all strings covered and a standing load: the day the reserve is reached is told once in five days") {
  ReferenceRig r;
  teach(r, 0.9);
  r.note(0, 0, "away");
  const auto deep = [](int hour) { return ReferenceHour{hour < 8 ? 1.0 : 0.6, -10, hour >= 0 && hour < 8 ? 2.0 : 0.0, 2}; };
  std::map<int, std::string> text;
  for (int day = 0; day < 5; ++day) {
    r.forecast(day, 0.0, deep);
    r.play(day, 0, 24, [&](double hour, ReferenceMinute& m) {
      m.p_w = m.s_w = 0;
      m.p_v = m.s_v = hour > 8 && hour < 17 ? 30 : 2;
      m.air_c = -10;
      m.load_w = 8;
      m.soc = 0.9 - 0.075 * (day + hour / 24);
    });
    text[day] = r.retained["alarms/reserve_ahead-rig"];
  }
  const auto said = r.said_of("reserve_ahead");
  REQUIRE(said.size() == 1);
  CHECK(has(said[0].text, "Reserve in about 9 days"));
  CHECK(has(said[0].text, "Standing loads of about 8 W: switch off what can be spared."));
  CHECK(has(text[4], "Reserve in about 4 days"));
  for (const auto& s : r.said_of("snow")) FAIL_CHECK(s.text);
}

TEST_CASE("snowed in with plenty and a mild clear tomorrow: the journal, not the phone; with little: one message that says all") {
  const auto weather = [](int hour) { return ReferenceHour{hour >= 3 && hour < 6 ? 1.0 : 0.0, hour < 24 ? -4.0 : 3.0, hour >= 3 && hour < 6 ? 1.0 : 0.0, 2}; };
  for (const double soc : {0.95, 0.30}) {
    CAPTURE(soc);
    ReferenceRig r;
    teach(r, soc, soc > 0.9 ? 20 : 61);
    r.forecast(0, 0, weather);
    r.play(0, 0, 14, [&](double hour, ReferenceMinute& m) {
      thin_snow(hour, m);
      m.soc = soc;
      m.load_w = 20;
    });
    const bool kept = std::any_of(r.advice.begin(), r.advice.end(), [](const AdviceRow& a) { return a.kind == "clearing" && has(a.text, "Nothing to do."); });
    if (soc > 0.9) {
      CHECK(r.said.empty());
      CHECK(kept);
      CHECK(r.event_of("snow", "port", "raised"));
    } else {
      const auto snow = r.said_of("snow");
      REQUIRE(snow.size() == 1);
      CHECK(has(snow[0].text, "under snow since"));
      CHECK(has(snow[0].text, "Clearing today looks worth about 1."));
      CHECK(has(snow[0].text, "best "));
    }
  }
}
