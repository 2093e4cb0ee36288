// The owner's limits and deadbands of built-in alarms do what the config says.
#include <doctest/doctest.h>

#include "outlook/story.h"

using namespace fw;
using story::at;
using story::Sight;
using story::Story;

TEST_CASE("the owner's limit and deadband rule the alarms of the bank and the cabin") {
  rig::Rig r = story::reference();
  r.alarms["bank_low"].limit = 0.4;
  r.alarms["bank_low"].deadband = 0.1;
  r.alarms["cabin_cold"].limit = 8;
  r.alarms["cabin_cold"].deadband = 3;
  Story s(r);
  const auto seen = [&](int from_h, double soc, double cabin_c) {
    s.live(at(15, from_h), at(15, from_h + 1), [=](Utc) { return Sight{.soc = soc, .load_w = 40, .cabin_c = cabin_c}; });
  };
  seen(1, 0.45, 9);
  CHECK_FALSE(s.fact("bank_low").condition);
  CHECK_FALSE(s.fact("cabin_cold").condition);
  seen(2, 0.37, 7);
  CHECK(s.fact("bank_low").condition);
  CHECK(s.fact("bank_low").text.find("below your limit of 40 %") != std::string::npos);
  CHECK(s.fact("cabin_cold").condition);
  seen(3, 0.48, 10.5);
  CHECK(s.fact("bank_low").condition);
  CHECK(s.fact("cabin_cold").condition);
  seen(4, 0.52, 12);
  CHECK_FALSE(s.fact("bank_low").condition);
  CHECK_FALSE(s.fact("cabin_cold").condition);
  CHECK(s.fact("bank_low").over_text == "Bank above your limit again: 52 %.");
}

TEST_CASE("the reserve is announced as many hours ahead as the owner wants") {
  for (const double limit_h : {6.0, 48.0}) {
    CAPTURE(limit_h);
    rig::Rig r = story::reference();
    r.alarms["reserve_ahead"].limit = limit_h;
    Story s(r);
    s.live(at(15, 17), at(15, 19), [](Utc) { return Sight{.soc = 0.62, .load_w = 80}; });
    REQUIRE(s.outlook().hours_left());
    REQUIRE(*s.outlook().hours_left() > 8);
    CHECK(s.fact("reserve_ahead").condition == (limit_h > 40));
  }
}
