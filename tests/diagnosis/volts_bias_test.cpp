#include "diagnosis/volts_bias.h"

#include <doctest/doctest.h>

using fw::diagnosis::VoltsBias;

TEST_CASE("a constant excess and one that grows in weak light are both learned, and doubt shrinks") {
  VoltsBias b;
  CHECK(b.at(0.1) == 0);
  const double before = b.sigma(0.1);
  for (int i = 0; i < 600; ++i) {
    const double light = 0.05 + 0.95 * (i % 20) / 19.0;
    b.learn(light, 0.01 - 0.03 * std::log(light));
  }
  for (const double light : {0.05, 0.1, 0.3, 1.0}) CHECK(std::abs(b.at(light) - (0.01 - 0.03 * std::log(light))) < 0.006);
  CHECK(b.sigma(0.1) < before);
}

TEST_CASE("a few minutes hardly move it, and no excess is taken for more than a fifth") {
  VoltsBias few, far;
  few.learn(1, 0.05);
  CHECK(few.at(1) < 0.01);
  for (int i = 0; i < 2000; ++i) far.learn(0.02, 0.9);
  CHECK(far.at(0.02) == 0.2);
}
