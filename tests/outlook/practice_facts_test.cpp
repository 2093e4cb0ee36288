// What people know from doing it (common practice, no source, unless said otherwise).
#include <doctest/doctest.h>

#include "outlook/story.h"

using namespace fw;
using namespace fw::outlook;

TEST_CASE("cleared glass gives full output at once") {
  story::Story s;
  RoofAhead roof;
  roof.tilt_deg = {0};
  roof.strings = {{nullptr, {20}, 1}};
  for (int i = 0; i < 8; ++i) roof.steps.push_back({story::at(15, 12) + i * step_length, 0.25, 1, 0.2, -5, 0, 300, 24, {}});
  roof.clean_w = {std::vector<double>(8, 300.0)};
  roof.plane_wm2 = {std::vector<double>(8, 300.0)};
  const LeftAlone left = left_alone(roof, 0);
  std::vector<double> cleared(8);
  cleared_power(roof, 0, left, 2, roof.steps.size(), cleared);
  CHECK(left.power_w[1] < 20);
  CHECK(cleared[2] == doctest::Approx(300));
}

TEST_CASE("cleared glass is never planned darker than glass left alone") {
  story::Story s;
  for (const double water_mm : {0.05, 0.3, 1.0, 4.0})
    for (const double density : {60.0, 250.0, 400.0})
      for (const double snow_cm : {0.0, 0.05, 0.3, 1.0}) {
        CAPTURE(water_mm);
        CAPTURE(density);
        CAPTURE(snow_cm);
        RoofAhead roof;
        roof.tilt_deg = {0};
        roof.strings = {{nullptr, {water_mm, 0, density}, 1}};
        for (int i = 0; i < 24; ++i) roof.steps.push_back({story::at(15, 9) + i * step_length, 0.25, 0.5, 0.2, -3, i < 12 ? snow_cm : 0, 300, 24, {}});
        roof.clean_w = {std::vector<double>(24, 300.0)};
        roof.plane_wm2 = {std::vector<double>(24, 300.0)};
        const LeftAlone left = left_alone(roof, 0);
        std::vector<double> cleared(24);
        cleared_power(roof, 0, left, 0, 24, cleared);
        for (std::size_t i = 0; i < 24; ++i) CHECK(cleared[i] >= left.power_w[i]);
      }
}

TEST_CASE("a couple of morning hours of sun before the ice lets go") {
  story::Story s;
  s.forecast(story::at(15, 5), [](Utc) { return story::Weather{0, -8, 0, 2}; });
  s.live(story::at(14, 12), story::at(14, 16), [](Utc) { return story::Sight{.soc = 0.4, .cover = 0.95}; });
  s.live(story::at(14, 16), story::at(15, 7), [](Utc) { return story::Sight{.soc = 0.4, .air_c = -8, .cover = 0.95}; });
  const auto& c = s.plan().clearing;
  REQUIRE(c.choice == Choice::clear);
  const double from = s.clock_of(*c.best_from);
  CHECK(from >= 9.0);    // the sun rises at about 07:50
  CHECK(from <= 10.5);
}

TEST_CASE("grey days are not worth the ladder") {
  story::Story s;
  s.forecast(story::at(15, 5), [](Utc) { return story::Weather{1, -6, 0, 2}; });
  s.live(story::at(14, 12), story::at(15, 10), [](Utc) { return story::Sight{.soc = 0.4, .air_c = -6, .cover = 0.95, .share = 0.15}; });
  const auto& c = s.plan().clearing;
  CHECK(c.choice == Choice::too_small);
  CHECK(c.today_kwh < 0.4);
}

TEST_CASE("a forecast of the light itself is used, with that of the clouds or alone") {
  story::Story s;
  const sky::Site site = roof::site_of(s.rig().site, 45, -93);
  auto made_kwh = [&](double share_of_irradiance, double share_by_cloud, bool by_cloud) {
    PlanInput in;
    in.now = story::at(15, 0);
    in.strings.resize(2);
    in.under_snow = {false, false};
    for (int h = 0; h < 73; ++h) {
      WeatherHour w{story::at(15, 0) + hours{h}, share_by_cloud, 0.2, -5, 0, 2.0, true, by_cloud, {}};
      w.irradiance_wm2 = share_of_irradiance * sky::clear_state(site, w.from + minutes{30}, -5).now.ghi_wm2;
      in.weather.push_back(w);
    }
    in.loads.assign(73, {40, 10});
    in.site = site;
    double kwh = 0;
    for (const auto& hour : make_plan(s.rig(), s.words(), in).hours)
      for (double w : hour.as_is_w) kwh += w / 1000;
    return kwh;
  };
  const double clear = made_kwh(1, 1, false);
  CHECK(made_kwh(0.5, 1, false) == doctest::Approx(0.54 * clear).epsilon(0.05));  // even light loses less at the glass

  CHECK(made_kwh(0.5, 1, true) == doctest::Approx(0.77 * clear).epsilon(0.05));
  CHECK(made_kwh(1, 0.5, true) == doctest::Approx(0.77 * clear).epsilon(0.05));
}
