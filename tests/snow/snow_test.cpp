#include <cmath>

#include "reference_table.h"
#include "snow/cover.h"
#include "snow/layer.h"
#include "snow/soiling.h"

using namespace fw;
using namespace fw::snow;
using fw::test::reference_table;

TEST_CASE("every kind of snow stays within the measured band at every depth") {
  for (const auto& r : reference_table("snow/data/snow_transmission.csv")) {
    const double d = r.number("depth_cm");
    CAPTURE(d);
    const double settled = snow_transmission(d), coarse = snow_transmission(d, Grain::coarse_wet),
                 fine = snow_transmission(d, Grain::fine);
    for (double t : {settled, coarse, fine}) {
      CHECK(t >= r.number("band_min") - 1e-5);
      CHECK(t <= r.number("band_max") + 1e-3);
    }
    FW_NEAR(settled, r.number("layer_settled_150kgm3_ssa30"), 0.012);
    FW_NEAR(fine, r.number("layer_fine_dense_200kgm3_ssa50"), 0.012);
    FW_NEAR(coarse, r.number("layer_coarse_wet_350kgm3_ssa4"), 0.012);
    const Band band = snow_transmission_band(d);
    FW_NEAR(band.high, r.number("band_max"), 0.002);
    FW_NEAR(band.low, r.number("band_min"), 0.01);
    if (d > 0)
      for (Grain g : {Grain::coarse_wet, Grain::settled, Grain::fine})
        FW_NEAR(equivalent_depth_cm(snow_transmission(d, g), g), d, 1e-6 * d);
  }
}

TEST_CASE("facts of practice: four inches stop nearly everything, a dusting does not") {
  CHECK(snow_transmission(10) < 0.03);
  CHECK(snow_transmission(0.2) > 0.6);
  CHECK(snow_transmission(0.5) > 0.4);
  CHECK(clear_ice_transmission(5) > 0.95);  // clear ice passes most light
  CHECK(snow_transmission(-1) == 1.0);
  CHECK(equivalent_depth_cm(0) == 200);
  CHECK(equivalent_depth_cm(1.2) == 0);
}

TEST_CASE("clear ice after Warren and Brandt") {
  for (const auto& r : reference_table("snow/data/ice_transmission.csv"))
    FW_NEAR(clear_ice_transmission(r.number("clear_ice_thickness_mm")),
            r.number("transmitted_silicon_weighted_350_1100nm"), 0.005);
}

TEST_CASE("sliding after Marion") {
  for (const auto& r : reference_table("snow/data/snow_sliding.csv")) {
    const double tilt = r.number("surface_tilt_deg");
    CAPTURE(tilt);
    const bool slides = can_slide(r.number("air_temperature_c"), r.number("poa_w_m2"));
    CHECK(slides == (r.text("can_slide") == "1"));
    FW_NEAR(slides ? slide_share_per_h(tilt) : 0.0, r.number("slide_fraction_of_slant_per_hour"), 1e-6);
  }
}

TEST_CASE("soiling after Kimber, day by day") {
  KimberState a, b{0.01};
  const KimberSettings ka{6, 0.0015, 14, 0.3}, kb{5, 0.003, 7, 0.02};
  bool first = true;
  for (const auto& r : reference_table("snow/data/soiling_kimber_series.csv")) {
    if (!first) {
      a = kimber_next_day(a, r.number("rain_mm"), ka);
      b = kimber_next_day(b, r.number("rain_mm"), kb);
    }
    first = false;
    CAPTURE(r.text("day"));
    FW_NEAR(a.loss, r.number("loss_a_threshold6_rate0p0015_grace14_max0p3"), 1e-6);
    FW_NEAR(b.loss, r.number("loss_b_threshold5_rate0p003_grace7_max0p02_start0p01"), 1e-6);
  }
}

TEST_CASE("soiling by dust mass after Coello and Boyle") {
  for (const auto& r : reference_table("snow/data/soiling_hsu.csv"))
    FW_NEAR(soiling_ratio_hsu(r.number("dust_g_m2")), r.number("soiling_ratio"), 1e-6);
}

TEST_CASE("a flat roof keeps its snow through cold days and sheds it by melt on a mild one") {
  Layer l = layer_after({}, {-6, 0, 0, 1, 1.0, 0}, 10);
  FW_NEAR(l.depth_cm(), 9, 2);
  CHECK(l.covered_share == 1);
  CHECK(layer_transmission(l) < 0.05);
  for (int day = 0; day < 2; ++day) {
    l = layer_after(l, {-6, 200, 0, 1, 0, 0}, 7);
    l = layer_after(l, {-10, 0, 0, 1, 0, 0}, 17);
    CHECK(l.covered_share == 1);
    CHECK(layer_transmission(l) < 0.1);
  }
  l = layer_after(l, {4, 300, 0, 2, 0, 0}, 8);
  CHECK(layer_transmission(l) > 0.3);
  l = layer_after(l, {3, 0, 0, 2, 0, 0}, 16);
  l = layer_after(l, {5, 350, 0, 2, 0, 0}, 8);
  CHECK(layer_transmission(l) > 0.95);
}

TEST_CASE("a steep string sheds within hours of sun, a flat one does not slide at all") {
  const Layer cover{10, 150, 1, 0};
  const Conditions sun{-3, 500, 45, 1, 0, 0};
  const Layer steep = layer_after(cover, sun, 6);
  CHECK(steep.covered_share < 0.3);
  Conditions flat = sun;
  flat.tilt_deg = 3;
  CHECK(layer_after(cover, flat, 6).covered_share == 1);
}

TEST_CASE("ice lets go after a couple of hours of morning sun, not in the dark and not in deep cold") {
  const Layer cover{2, 100, 1, 0};  // 2 cm
  const auto sun = hours_to_soften(cover, {-3, 250, 0, 1, 0, 0});
  REQUIRE(sun);
  CHECK(*sun > 1);
  CHECK(*sun < 5);
  CHECK_FALSE(hours_to_soften(cover, {-3, 0, 0, 1, 0, 0}));
  CHECK_FALSE(hours_to_soften(cover, {-25, 60, 0, 5, 0, 0}));
  CHECK(hours_to_soften({}, {-25, 60, 0, 5, 0, 0}) == 0.0);
  const Layer later = layer_after(cover, {-3, 250, 0, 1, 0, 0}, 1.5);
  CHECK(*hours_to_soften(later, {-3, 250, 0, 1, 0, 0}) < *sun);
}

TEST_CASE("no weather makes the layer senseless") {
  for (double air : {-40.0, -10.0, 0.0, 20.0, 50.0})
    for (double poa : {0.0, 50.0, 1400.0})
      for (double tilt : {0.0, 3.0, 45.0, 90.0})
        for (double fall : {0.0, 0.1, 5.0}) {
          const Conditions c{air, poa, tilt, 3, fall, 0};
          CHECK(std::isfinite(melt_power_wm2({}, c)));
          for (double h : {0.0, 0.3, 24.0}) {
            const Layer l = layer_after(layer_after({}, c, 2), c, h);
            CHECK(std::isfinite(l.water_mm));
            CHECK(l.water_mm >= 0);
            CHECK(l.density_kgm3 >= 30);
            CHECK(l.density_kgm3 <= 600);
            CHECK(layer_transmission(l) >= 0);
            CHECK(layer_transmission(l) <= 1);
            if (const auto soft = hours_to_soften(l, c)) CHECK(std::isfinite(*soft));
          }
        }
}
