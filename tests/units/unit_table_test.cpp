#include "units/unit_table.h"

#include <doctest/doctest.h>

#include <cmath>

using namespace fw;

TEST_CASE("a value in any unit comes out in the canonical one") {
  struct Row { const char* unit; double value; Dimension dimension; double canonical, tolerance; const char* source; };
  for (const Row& r : {Row{"kW", 1.6, Dimension::power, 1600, 1e-9, "SI prefix"},
                       Row{"mV", 12800, Dimension::voltage, 12.8, 1e-12, "SI prefix"},
                       Row{"mA", -4200, Dimension::current, -4.2, 1e-12, "SI prefix"},
                       Row{"Wh", 3580, Dimension::energy, 3.58, 1e-12, "SI prefix"},
                       Row{"MJ", 3.6, Dimension::energy, 1, 1e-12, "1 kWh = 3.6 MJ"},
                       Row{"%", 71, Dimension::ratio, 0.71, 1e-12, "per hundred"},
                       Row{"okta", 4, Dimension::ratio, 0.5, 1e-12, "eighths of the sky"},
                       Row{"degF", 41, Dimension::temperature, 5, 1e-12, "freezing 32, boiling 212"},
                       Row{"degF", -40, Dimension::temperature, -40, 1e-12, "where both scales meet"},
                       Row{"K", 273.15, Dimension::temperature, 0, 1e-12, "SI brochure"},
                       Row{"dK", 2653, Dimension::temperature, -7.85, 1e-9, "tenths of kelvin"},
                       Row{"in", 10, Dimension::length, 0.254, 1e-12, "international inch"},
                       Row{"ft", 1000, Dimension::length, 304.8, 1e-9, "international foot"},
                       Row{"km/h", 36, Dimension::speed, 10, 1e-12, "definition"},
                       Row{"mph", 100, Dimension::speed, 44.704, 1e-9, "international mile"},
                       Row{"kn", 1, Dimension::speed, 0.514444, 1e-6, "international nautical mile"},
                       Row{"hPa", 1013.25, Dimension::pressure, 101325, 1e-6, "standard atmosphere"},
                       Row{"rad", 3.141592653589793, Dimension::angle, 180, 1e-9, "definition"},
                       Row{"min", 10, Dimension::time, 600, 0, "definition"},
                       Row{"KiB", 64, Dimension::size, 65536, 0, "IEC 80000-13"}}) {
    CAPTURE(r.unit);
    CAPTURE(r.source);
    const Unit* u = unit_named(r.unit);
    REQUIRE(u);
    CHECK(u->dimension == r.dimension);
    CHECK(std::fabs(u->to_canonical(r.value) - r.canonical) <= r.tolerance);
    CHECK(std::fabs(u->from_canonical(u->to_canonical(r.value)) - r.value) <= 1e-9);
  }
}

TEST_CASE("letter case decides, and a slip is answered with the right spelling") {
  CHECK(unit_named("mW")->factor == 1e-3);
  CHECK(unit_named("MW")->factor == 1e6);
  CHECK_FALSE(unit_named("Kw"));
  CHECK(unit_near("Kw") == "kW");
  CHECK(unit_near("celsius") == "degC");
  CHECK(unit_near("Volts") == "V");
  CHECK(unit_near("parsec").empty());
}

TEST_CASE("a difference of temperatures has no offset") {
  CHECK(std::fabs(unit_named("degF")->difference(9) - 5) < 1e-12);
  CHECK(unit_named("K")->difference(2) == 2);
}

TEST_CASE("every quantity has a dimension that its flags and stages do without") {
  for (int i = 0; i < quantity_count; ++i) {
    const auto q = static_cast<Quantity>(i);
    CAPTURE(name(q));
    if (is_flag(q) || q == Quantity::stage || q == Quantity::controller_error)
      CHECK(dimension_of(q) == Dimension::none);
    else
      CHECK(dimension_of(q) != Dimension::none);
  }
}
