#include "sun/air.h"

#include <cmath>

#include "reference_table.h"

using namespace fw;
using namespace fw::sun;
using fw::test::reference_table;

TEST_CASE("air mass after Kasten and Young") {
  for (const auto& r : reference_table("sun/data/airmass.csv")) {
    const double m = airmass_relative(r.number("apparent_elevation_deg"));
    FW_NEAR(m / r.number("airmass_relative"), 1.0, 1e-5);
    FW_NEAR(airmass_absolute(m, r.number("pressure_pa")) / r.number("airmass_absolute"), 1.0, 1e-5);
  }
  CHECK(airmass_relative(-0.5) == airmass_relative(0));
  CHECK(airmass_relative(-90) == airmass_relative(0));
  FW_NEAR(airmass_relative(90), 1.0, 0.001);
}

TEST_CASE("extraterrestrial irradiance after Spencer") {
  for (const auto& r : reference_table("sun/data/extraterrestrial.csv")) {
    const int day = static_cast<int>(r.number("day_of_year"));
    FW_NEAR(distance_factor(day), r.number("distance_factor_r0_over_r_squared"), 1e-6);
    FW_NEAR(extraterrestrial_wm2(day), r.number("extraterrestrial_1366p1_w_m2"), 2e-3);
    FW_NEAR(extraterrestrial_wm2(day, 1361.0), r.number("extraterrestrial_1361p0_w_m2"), 2e-3);
    FW_NEAR(extraterrestrial_wm2(day, 1367.0), r.number("extraterrestrial_1367p0_w_m2"), 2e-3);
  }
}

TEST_CASE("pressure of the standard atmosphere") {
  for (const auto& [altitude, pressure] : {std::pair{0.0, 101325.0}, {30.0, 100965.0}, {1600.0, 83524.0}, {2300.0, 76579.0}})
    FW_NEAR(pressure_pa(altitude), pressure, 2.0);  // ISO 2533
  CHECK(std::isfinite(pressure_pa(-400)));
  CHECK(pressure_pa(5000) < pressure_pa(-400));
}

TEST_CASE("day of the year") {
  CHECK(day_of_year(*utc_in("2026-01-01T00:00:00Z")) == 1);
  CHECK(day_of_year(*utc_in("2028-12-31T23:59:59Z")) == 366);
  CHECK(day_of_year(*utc_in("2026-03-01T00:00:00Z")) == 60);
  CHECK(day_of_year(*utc_in("1969-12-31T23:59:59.999Z")) == 365);
}
