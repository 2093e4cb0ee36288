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
