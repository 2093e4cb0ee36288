#include "bank/hidden_heater.h"

#include <doctest/doctest.h>

#include <cmath>

#include "bank/thermal.h"

using namespace fw;
using namespace fw::bank;

namespace {

/// Cells of 8 h beside an air one sets, a thermostat 4.0 / 5.6 with 2 K/h that nobody reports; readings to a tenth.
struct Bank {
  ThermalModel model{2560};
  double t = 8, air = -6;
  bool heat = false, broken = false;
  int minute = 0;
  void live(double hours_long, double air_k_per_h = 0) {
    for (int end = minute + static_cast<int>(hours_long * 60); minute < end; ++minute) {
      if (t < 4) heat = true;
      if (t > 5.6) heat = false;
      if (broken) heat = false;
      air += air_k_per_h / 60;
      model.learn(elapsed_ms(minute * 60'000LL), std::round(t * 10) / 10, {air, std::nullopt, 0, 0});
      t += ((air - t) / 8 + (heat ? 2.0 : 0)) / 60;
    }
  }
};

}  // namespace

TEST_CASE("a hidden heater is known to be on or off from the step in the rate, and how strong it is is learned") {
  Bank b;
  b.live(48);
  int right = 0, n = 0;
  for (; n < 12 * 60; ++n) {
    b.live(1.0 / 60);
    right += (b.model.hidden_on() > 0.5) == b.heat;
  }
  CHECK(right >= 0.9 * n);
  CHECK(std::abs(b.model.hidden_k_per_h() / 2.0 - 1) < 0.3);
  CHECK(std::abs(b.model.time_constant_h() / 8.0 - 1) < 0.35);
}

TEST_CASE("a heater that is on and loses ground is foreseen to fail hours before the cells are below where it holds") {
  Bank b;
  b.live(48);
  b.live(8, -1.0);  // air to -14: it needs 2.25 K/h at 4, it has 2
  while (b.t > 4.4) b.live(0.1);
  CHECK(b.heat);
  CHECK(b.model.hidden_on() > 0.8);
  const auto course = course_of(b.model, b.t, [&](Span, double) { return Surroundings{b.air, std::nullopt, 0, 0}; }, hours{18});
  const auto x = crossing_of(course, 3.9, true);
  REQUIRE(x.at);
  const double due_h = hours_of(*x.at), from = b.minute / 60.0;
  while (b.t > 3.9 && b.minute / 60.0 - from < 24) b.live(0.1);
  CHECK(b.t <= 3.9);
  CHECK(std::abs(b.minute / 60.0 - from - due_h) < 1.5);
}

TEST_CASE("a heater that stays off below every level it came on at has failed, and is trusted again once it is back") {
  Bank b;
  b.live(48);
  REQUIRE(b.model.hold());
  while (b.t < 5.5) b.live(0.1);
  b.broken = true;
  for (double h = 0; h < 3 && b.model.hold(); h += 0.05) b.live(0.05);
  CHECK_FALSE(b.model.hold());
  CHECK(b.t > 2.4);
  b.live(1);
  b.broken = false;
  b.live(10);
  CHECK(b.model.hold());
}
