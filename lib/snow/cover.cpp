#include "snow/cover.h"

#include <algorithm>
#include <cmath>
#include <iterator>

namespace fw::snow {
namespace {

constexpr double deepest_cm = 200;
constexpr double least_extinction_per_cm = 0.23, most_extinction_per_cm = 0.97;

// 1 / (1 + a d + b d^2), d in cm: the start of the two-stream result, in which scattering alone gives a and
// the ice's absorption adds b.
struct Coefficients {
  double a, b;
};

Coefficients coefficients(Grain grain) {
  switch (grain) {
    case Grain::coarse_wet: return {0.78, 0.046};
    case Grain::settled: return {2.37, 0.16};
    case Grain::fine: return {5.1, 0.60};
  }
  return {2.37, 0.16};
}

double layer(double d, const Coefficients& k) { return 1.0 / (1.0 + d * (k.a + d * k.b)); }

}  // namespace

double snow_transmission(double depth_cm, Grain grain) {
  return layer(std::clamp(depth_cm, 0.0, deepest_cm), coefficients(grain));
}

Band snow_transmission_band(double depth_cm) {
  const double d = std::clamp(depth_cm, 0.0, deepest_cm);
  return {std::min(layer(d, coefficients(Grain::fine)), std::exp(-most_extinction_per_cm * d)),
          std::max(layer(d, coefficients(Grain::coarse_wet)), std::exp(-least_extinction_per_cm * d))};
}

double equivalent_depth_cm(double share, Grain grain) {
  if (share >= 1) return 0;
  if (!(share > 0)) return deepest_cm;
  const auto [a, b] = coefficients(grain);
  return std::min((-a + std::sqrt(a * a + 4 * b * (1 / share - 1))) / (2 * b), deepest_cm);
}

double clear_ice_transmission(double thickness_mm) {
  struct Point {
    double mm, share;
  };
  static constexpr Point points[] = {{0, 1},      {0.5, 0.9976}, {1, 0.9952},  {2, 0.9905}, {3, 0.9858},
                                     {5, 0.9768}, {10, 0.9556},  {20, 0.9185}, {50, 0.8377}};
  const double t = std::clamp(thickness_mm, 0.0, std::rbegin(points)->mm);
  const Point* next = std::find_if(std::begin(points) + 1, std::end(points) - 1, [&](const Point& p) { return t <= p.mm; });
  const Point& before = next[-1];
  return before.share + (next->share - before.share) * (t - before.mm) / (next->mm - before.mm);
}

}  // namespace fw::snow
