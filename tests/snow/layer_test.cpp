// What people know of snow on panels from living under it (common practice, no source, unless said otherwise).
#include <doctest/doctest.h>

#include <cmath>
#include <initializer_list>

#include "snow/cover.h"
#include "snow/layer.h"

using namespace fw::snow;

namespace {
/// Hours of daylight and night; sun on the plane in the eight hours around noon.
Layer days(Layer l, int count, double noon_wm2, double day_c, double night_c, double clear_share = 1, double tilt_deg = 0) {
  for (int q = 0; q < count * 96; ++q) {
    const double h = q % 96 / 4.0, sun = noon_wm2 * std::max(0.0, std::cos((h - 12) * 3.14159 / 9));
    l = layer_after(l, {sun, night_c + (day_c - night_c) * sun / noon_wm2, 0, tilt_deg, 1, clear_share}, 0.25);
  }
  return l;
}
double cover(const Layer& l) { return 1 - light_through(l); }
}  // namespace

TEST_CASE("next to nothing comes through ten centimetres, a useful share through a few millimetres") {
  CHECK(light_through(15, 150) < 0.03);  // 10 cm settled, and 10 cm as light as it falls
  CHECK(light_through(water_of_fresh_mm(10, -4), new_snow_density_kgm3(-4)) < 0.05);
  CHECK(light_through(water_of_fresh_mm(0.3, -4), new_snow_density_kgm3(-4)) > 0.85);
  CHECK(light_through(0, 100) == 1);
  for (double density : {70.0, 120.0, 300.0})
    for (double c : {0.2, 0.5, 0.8, 0.98}) CHECK(1 - light_through(water_for_cover(c, density), density) == doctest::Approx(c));
  // Inside the measured band at every depth of settled snow.
  for (double cm : {0.5, 1.0, 2.0, 5.0, 10.0}) {
    CAPTURE(cm);
    const Band band = snow_transmission_band(cm);
    CHECK(light_through(1.5 * cm, 150) >= band.low);
    CHECK(light_through(1.5 * cm, 150) <= band.high);
  }
}

TEST_CASE("a flat roof keeps its snow through three cold days and sheds it by melt on a mild sunny one") {
  Layer l;
  for (int h = 0; h < 10; ++h) l = layer_after(l, {0, -6, 1.2, 0}, 1);
  CHECK(l.depth_cm() > 7);
  l = days(l, 3, 250, -5, -8);
  CHECK(cover(l) > 0.9);
  l = days(l, 1, 350, 4, 2);
  CHECK(cover(l) < 0.75);
  l = days(l, 1, 350, 6, 2);
  CHECK(cover(l) < 0.1);
}

TEST_CASE("thin snow goes in a few hours of sun far below freezing, and stays under a grey sky") {
  CHECK(cover(days({2, 30, 120}, 1, 500, -10, -14)) < 0.1);
  CHECK(cover(days({2, 30, 120}, 1, 60, -10, -14, 0.2)) > 0.4);
}

TEST_CASE("a thick layer stays through cold sunny days") { CHECK(days({25, 200, 150}, 2, 350, -8, -12).water_mm > 23); }

TEST_CASE("snowfall adds up the same in minutes as in hours") {
  Layer minutes;
  for (int m = 0; m < 180; ++m) minutes = layer_after(minutes, {0, -8, 0.4 / 60}, 1.0 / 60);
  const Layer hours = layer_after({}, {0, -8, 1.2}, 3);
  CHECK(minutes.water_mm == doctest::Approx(water_of_fresh_mm(1.2, -8)));
  CHECK(hours.water_mm == doctest::Approx(minutes.water_mm));
}

TEST_CASE("what froze at night must warm again before the morning melts any") {
  const Exposure morning{250, -1, 0, 0, 1, 1};
  const Layer wet{5, 0, 200}, frozen = days({5, 0, 200}, 1, 1, -9, -9);
  CHECK(frozen.cold_wh_m2 > 20);
  CHECK(layer_after(wet, morning, 0.5).water_mm < 4.9);
  CHECK(layer_after(frozen, morning, 0.5).water_mm == doctest::Approx(frozen.water_mm));
  CHECK(layer_after(frozen, morning, 3).water_mm < frozen.water_mm - 0.3);
}

TEST_CASE("a thick layer keeps the cold air off its foot: the same sun at the glass goes further") {
  const Exposure night{0, -15, 0, 0, 3, 1};
  const double thin = layer_after({4, 0, 100}, night, 2).cold_wh_m2 / (2.5 + 1.2 * 4);
  const double thick = layer_after({30, 0, 100}, night, 2).cold_wh_m2 / (2.5 + 1.2 * 30);
  CHECK(thin > 3 * thick);
}

TEST_CASE("heat through the roof melts it from below") {
  Exposure e{0, -3, 0, 0, 1, 0.3};
  const double without = layer_after({8, 0, 150}, e, 12).water_mm;
  e.heat_below_wm2 = 60;
  CHECK(layer_after({8, 0, 150}, e, 12).water_mm < without - 2);
}

TEST_CASE("flat glass does not shed by sliding, tilted glass does") {
  const Layer cover{20, 0, 150};
  Exposure sun{500, -3, 0, 0, 1, 1};
  const double flat = layer_after(cover, sun, 6).water_mm;
  for (double tilt : {1.0, 3.0, 7.0}) {
    sun.tilt_deg = tilt;
    CHECK(layer_after(cover, sun, 6).water_mm == doctest::Approx(flat));
  }
  sun.tilt_deg = 45;
  CHECK(layer_after(cover, sun, 6).water_mm < 0.6 * flat);
}

TEST_CASE("what the light shows keeps the layer's temperature; a layer not known before is as cold as the air") {
  const Layer cold{10, 60, 150};
  CHECK(seen_as(cold, 10, -3).cold_wh_m2 == doctest::Approx(60));
  CHECK(seen_as(cold, 5, -3).cold_wh_m2 < 60);
  CHECK(seen_as({}, 5, -3).cold_wh_m2 > 0);
  CHECK(seen_as({}, 5, 2).cold_wh_m2 == 0);
  CHECK(seen_as(cold, 0, -3).water_mm == 0);
}

TEST_CASE("no weather makes the layer senseless") {
  for (double air : {-60.0, -10.0, 0.0, 20.0, 50.0})
    for (double sun : {0.0, 50.0, 1600.0})
      for (double tilt : {0.0, 45.0, 90.0})
        for (double fall : {0.0, 0.1, 20.0})
          for (double h : {0.0, 1.0 / 60, 1.0, 24.0}) {
            Exposure e{sun, air, fall, tilt, 60, 0};
            Layer l = layer_after({}, e, h);
            e.fresh_cm = 0;
            l = layer_after(l, e, h);
            CHECK(std::isfinite(l.water_mm));
            CHECK(l.water_mm >= 0);
            CHECK(l.cold_wh_m2 >= 0);
            CHECK(l.density_kgm3 >= 30);
            CHECK(l.density_kgm3 <= 500);
            const double through = light_through(l);
            CHECK((through >= 0 && through <= 1));
          }
}

TEST_CASE("new snow dims by its depth, light or heavy, about the middle of what was measured") {
  for (const double air_c : {-15.0, -8.0, -3.0}) {
    CAPTURE(air_c);
    const double water_mm = water_of_fresh_mm(3, air_c), density = new_snow_density_kgm3(air_c);
    CHECK(light_through(water_mm, density) == doctest::Approx(0.256).epsilon(0.02));  // exp(-3 / 2.2)
  }
  for (const double density : {50.0, 100.0, 175.0, 250.0}) {
    CAPTURE(density);
    const double per_m = -std::log(light_through(density / 100, density)) * 100;  // of one centimetre
    CHECK(per_m > 23);
    CHECK(per_m < 97);
  }
}

TEST_CASE("a wall keeps no falling snow, a roof of up to 30 degrees all of it") {
  const auto caught_mm = [](double tilt_deg) { return layer_after({}, {0, -8, 5, tilt_deg, 1, 0.2, 0}, 6).water_mm; };
  CHECK(caught_mm(0) == doctest::Approx(caught_mm(5)).epsilon(0.01));
  CHECK(staying_share(30) == 1);
  CHECK(staying_share(45) == doctest::Approx(0.5));
  CHECK(caught_mm(45) < 0.51 * caught_mm(0));
  CHECK(caught_mm(60) == 0);
  CHECK(caught_mm(78) == 0);
}
