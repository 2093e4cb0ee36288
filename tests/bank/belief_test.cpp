#include "bank/belief.h"

#include <doctest/doctest.h>

using namespace fw;
using namespace fw::bank;

namespace {
Elapsed at(int s) { return elapsed_ms(1'768'000'000'000LL + s * 1000LL); }
SensorBelief sensor() { return SensorBelief(fastest_k_per_h(2560, 0), {85, -127, 0}); }
using A = SensorBelief::Answer;
}  // namespace

TEST_CASE("power-on and disconnect values among cold ones are not believed, single or lasting") {
  auto s = sensor();
  const double seen[] = {1.8, 1.9, 85.0, 1.9, -127, 1.9, 85.0, 85.0, 85.0};
  const bool good[] = {true, true, false, true, false, true, false, false, false};
  for (int i = 0; i < 9; ++i) {
    CAPTURE(i);
    CHECK((s.offer(at(30 * i), seen[i]) == A::believed) == good[i]);
  }
  CHECK(*s.value_c() == 1.9);
  CHECK(*s.doubted_since() == at(180));
  CHECK_FALSE(s.doubted_but_possible());
  for (int i = 9; i < 200; ++i) CHECK(s.offer(at(30 * i), 85.0) == A::doubted);
  CHECK(s.offer(at(6000), 2.4) == A::believed);
}

TEST_CASE("a jump to nought is doubted, a slow way there is not") {
  auto s = sensor();
  s.offer(at(0), 5.2);
  s.offer(at(30), 5.2);
  CHECK(s.offer(at(60), 0.0) == A::doubted);
  CHECK(s.offer(at(90), 5.1) == A::believed);
  auto slow = sensor();
  int bad = 0;
  for (int i = 0; i <= 120; ++i) bad += slow.offer(at(60 * i), 3.0 - 0.05 * i) == A::doubted;
  CHECK(bad == 0);
}

TEST_CASE("a sensor faster than a mass of cells can be is doubted") {
  auto s = sensor();
  int doubted = 0;
  for (int i = 0; i < 30; ++i) doubted += s.offer(at(60 * i), 5.0 + 1.0 * i) == A::doubted;
  CHECK(doubted > 10);
}

TEST_CASE("a heater makes faster changes believable") {
  CHECK(fastest_k_per_h(2560, 0) == doctest::Approx(15));
  CHECK(fastest_k_per_h(2560, 100) == doctest::Approx(15 + 3600 * 100 / 23040.0));
}

TEST_CASE("a new level that stays is believed after ten minutes") {
  auto s = sensor();
  for (int i = 0; i < 10; ++i) s.offer(at(30 * i), 4.0);
  CHECK(s.offer(at(330), 14.0) == A::doubted);
  CHECK(s.doubted_but_possible());
  bool believed = false;
  int t = 330;
  for (; t < 1500 && !believed; t += 30) believed = s.offer(at(t), 14.0 + 0.1 * (t % 60 == 0)) == A::believed;
  CHECK(believed);
  CHECK(t >= 330 + 600);
}

TEST_CASE("the first readings are no strong witnesses: two that agree outvote a first stray one") {
  auto s = sensor();
  CHECK(s.offer(at(0), 41.0) == A::believed);
  CHECK(s.offer(at(30), 3.0) == A::doubted);
  CHECK(s.offer(at(60), 3.1) == A::believed);
}

TEST_CASE("a first reading at a power-on value is not taken for a temperature") {
  auto s = sensor();
  CHECK(s.offer(at(0), 85.0) == A::doubted);
  CHECK(s.offer(at(30), 85.0) == A::doubted);
  CHECK(s.offer(at(60), 2.0) == A::believed);
  auto known = sensor();
  known.set_context(0.4);
  CHECK(known.offer(at(0), 0.0) == A::believed);
}

TEST_CASE("a unit that fits only as another one is noticed") {
  CHECK(unit_doubt(37.4, -6.0, std::nullopt, true) == UnitDoubt::fahrenheit);
  CHECK(unit_doubt(41.2, -6.0, std::nullopt, true) == UnitDoubt::fahrenheit);
  CHECK(unit_doubt(37.4, -6.0, std::nullopt, false) == UnitDoubt::none);   // hard at work, or heated
  CHECK(unit_doubt(37.4, 31.0, std::nullopt, true) == UnitDoubt::none);
  CHECK(unit_doubt(12.0, -6.0, 18.0, true) == UnitDoubt::none);
  CHECK(unit_doubt(37.4, std::nullopt, std::nullopt, true) == UnitDoubt::none);
  CHECK(unit_doubt(-12.0, 3.0, 12.0, true) == UnitDoubt::celsius);         // 10 read as degF
  CHECK(unit_doubt(-12.0, -14.0, -10.0, true) == UnitDoubt::none);
}

TEST_CASE("a current beyond any bank looks like mA") {
  CHECK(looks_like_milliamps(-4200, 200));
  CHECK_FALSE(looks_like_milliamps(-180, 200));
}
