#include <doctest/doctest.h>

#include <cmath>
#include <random>

#include "diagnosis/exp_ln.h"

using namespace fw::diagnosis;

namespace {

/// How far a result lies from the true value, in units of its last digit.
double last_digits(double got, long double exact) {
  const double near = std::abs(static_cast<double>(exact));
  return static_cast<double>(std::abs(got - exact)) / (std::nextafter(near, INFINITY) - near);
}

FW_WIDE void exp_and_ln(int quads, const Quad* x, Quad* e, Quad* l) {
  for (int i = 0; i < quads; ++i) {
    e[i] = exp_of(x[i]);
    l[i] = ln_of(e[i]);
  }
}

}  // namespace

TEST_CASE("exponential and logarithm are right to the last digit, one at a time and four at once alike") {
  static Quad x[5000], e[5000], l[5000];
  std::mt19937_64 chance(7);
  for (const auto& [low, high] : {std::pair{-1.0, 1.0}, std::pair{-30.0, 10.0}, std::pair{-680.0, 680.0}}) {
    std::uniform_real_distribution<double> among(low, high);
    for (Quad& q : x)
      for (int lane = 0; lane < 4; ++lane) q[lane] = among(chance);
    exp_and_ln(5000, x, e, l);
    double worst_exp = 0, worst_ln = 0;
    int unlike = 0;
    for (int i = 0; i < 5000; ++i)
      for (int lane = 0; lane < 4; ++lane) {
        const double one = x[i][lane], made = e[i][lane];
        worst_exp = std::max(worst_exp, last_digits(made, std::exp(static_cast<long double>(one))));
        worst_ln = std::max(worst_ln, last_digits(l[i][lane], std::log(static_cast<long double>(made))));
        unlike += made != exp_of(one) || l[i][lane] != ln_of(made);
      }
    CHECK(worst_exp < 1.0);
    CHECK(worst_ln < 1.0);
    CHECK(unlike == 0);
  }
  CHECK(exp_of(0.0) == 1);
  CHECK(ln_of(1.0) == 0);
}
