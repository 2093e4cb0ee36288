#include "bank/charge_window.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

using namespace fw::bank;

namespace {
const std::vector<Band> wide{{0, 5, 0.1}, {5, 10, 0.2}, {10, 25, 0.2}, {25, 50, 0.5}, {50, 60, 0.1}};
}

TEST_CASE("the charge limit follows the table, and on a border the lower neighbour") {
  struct Row { double cell_c, a; };
  for (const Row& r : {Row{-0.1, 0}, {0.0, 0}, {0.1, 20}, {4.9, 20}, {5.0, 20}, {5.1, 40}, {9.9, 40}, {10.0, 40}, {24.9, 40},
                       {25.0, 40}, {25.1, 100}, {45, 100}, {50.0, 20}, {50.1, 20}, {60.0, 0}, {60.1, 0}}) {
    CAPTURE(r.cell_c);
    CHECK(std::abs(c_rate_at(wide, r.cell_c) * 200 - r.a) < 1e-9);
  }
}

TEST_CASE("the coldest cell rules at the bottom, the hottest at the top") {
  CHECK(c_rate_for(wide, 4.0, 51.0) * 200 == doctest::Approx(20));
  CHECK(c_rate_for(wide, 4.0, 60.5) == 0);
  CHECK(c_rate_for(wide, 6.0, 30.0) * 200 == doctest::Approx(40));
}

TEST_CASE("a gap between bands, and no number at all, allow nothing") {
  const std::vector<Band> gap{{0, 10, 0.1}, {15, 45, 0.5}};
  CHECK(c_rate_at(gap, 12) == 0);
  CHECK(c_rate_at(gap, 10) == 0);
  CHECK(c_rate_at(gap, std::numeric_limits<double>::quiet_NaN()) == 0);
  CHECK(c_rate_at({}, 20) == 0);
}

TEST_CASE("easing in between bands never goes above the bands, nor falls as it warms toward a higher one") {
  double last = 0;
  for (double c = -2; c < 50; c += 0.05) {
    CAPTURE(c);
    const double eased = c_rate_at(wide, c, true), stepped = c_rate_at(wide, c);
    CHECK(eased <= stepped + 1e-12);
    CHECK(eased >= 0);
    if (c < 37) CHECK(eased >= last - 1e-9);
    last = eased;
  }
}

TEST_CASE("the default table stays at or under published practice") {
  // Lower of two public cell specifications for iron phosphate (makers not named), by cell temperature.
  struct Row { double cell_c, c_rate; };
  for (const Row& r : {Row{-20, 0}, {-10, 0}, {-4.4, 0}, {-1, 0}, {2, 0.1}, {5, 0.1}, {7, 0.1}, {12, 0.2}, {15, 0.2}, {20, 0.2},
                       {35, 0.5}, {46, 0}, {50, 0}, {55, 0}, {61, 0}}) {
    CAPTURE(r.cell_c);
    CHECK(c_rate_at(default_bands(), r.cell_c) == doctest::Approx(r.c_rate));
  }
  // The table's own borders: firnwatt takes the lower side, and the limit itself as no charging.
  CHECK(c_rate_at(default_bands(), 0) == 0);
  CHECK(c_rate_at(default_bands(), 10) == doctest::Approx(0.1));
  CHECK(c_rate_at(default_bands(), 25) == doctest::Approx(0.2));
  CHECK(c_rate_at(default_bands(), 45) == 0);
}
