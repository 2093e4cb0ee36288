// What people know from doing it (common practice, no source, unless said otherwise).
#include <doctest/doctest.h>

#include "outlook/layer.h"
#include "snow/cover.h"
#include "outlook/story.h"

using namespace fw;
using namespace fw::outlook;

TEST_CASE("next to nothing comes through ten centimetres, a useful share through a few millimetres") {
  CHECK(light_through(25) < 0.05);       // 10 cm settled at 250 kg/m3
  CHECK(light_through(0.5) > 0.5);       // 2 mm
  CHECK(light_through(0) == 1);
  for (double cover : {0.2, 0.5, 0.8, 0.95}) {
    CAPTURE(cover);
    CHECK(std::abs(1 - light_through(water_for_cover(cover)) - cover) < 0.005);
  }
}

TEST_CASE("clear ice passes most of the light") { CHECK(snow::clear_ice_transmission(3) > 0.9); }

TEST_CASE("flat glass does not shed by sliding, tilted glass does") {
  const Exposure sunny{400, -2, 0, 0, 1, 1};
  for (double tilt : {0.0, 3.0, 7.0}) {
    CAPTURE(tilt);
    Exposure e = sunny;
    e.tilt_deg = tilt;
    CHECK(after({20}, e, 1).water_mm == doctest::Approx(after({20}, sunny, 1).water_mm));
  }
  Exposure steep = sunny;
  steep.tilt_deg = 45;
  CHECK(after({20}, steep, 1).water_mm < after({20}, sunny, 1).water_mm - 2);
}

TEST_CASE("snow on flat glass stays for cold grey days, and a thick layer through cold sunny ones") {
  Layer l{10};
  for (int h = 0; h < 72; ++h) l = after(l, {h % 24 >= 9 && h % 24 < 15 ? 80.0 : 0.0, -6, 0, 0, 1, 0.3}, 1);
  CHECK(l.water_mm > 9);
  l = {30};
  for (int h = 0; h < 24; ++h) l = after(l, {h >= 9 && h < 15 ? 350.0 : 0.0, -8, 0, 0, 1, 1}, 1);
  CHECK(l.water_mm > 25);
}

TEST_CASE("a mild sunny day melts it, and thin snow goes in sun well below freezing") {
  Layer thick{8};
  for (int h = 0; h < 8; ++h) thick = after(thick, {350, 4, 0, 0, 1, 1}, 1);
  CHECK(thick.water_mm < 0.5);
  Layer thin{1.5};
  for (int h = 0; h < 5; ++h) thin = after(thin, {450, -6, 0, 0, 1, 1}, 1);
  CHECK(1 - light_through(thin.water_mm) < 0.4);
}

TEST_CASE("cleared glass gives full output at once") {
  story::Story s;
  RoofAhead roof;
  roof.tilt_deg = {0};
  roof.strings = {{nullptr, {20}, 1}};
  for (int i = 0; i < 8; ++i) roof.steps.push_back({story::at(15, 12) + i * step_length, 0.25, 1, 0.2, -5, 0, 300, 24, {}});
  roof.clean_w = {std::vector<double>(8, 300.0)};
  const auto cleared = string_power(roof, 0, std::size_t{2});
  CHECK(cleared[1] < 20);
  CHECK(cleared[2] == doctest::Approx(300));
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
