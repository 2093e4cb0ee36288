#include "sun/spa.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>

#include "sun/angle.h"
#include "sun/spa_terms.h"

namespace fw::sun {
namespace {

constexpr double ms_per_day = 86400000.0;
constexpr std::int64_t ms_at_j2000 = 946728000000;  // 2000-01-01T12:00:00Z

double days_from_j2000(Utc at) { return static_cast<double>(ms_of(at) - ms_at_j2000) / ms_per_day; }

template <std::size_t N>
double sum(const terms::Wave (&waves)[N], double jme) {
  double s = 0;
  for (const auto& w : waves) s += w.a * std::cos(w.b + w.c * jme);
  return s;
}

struct AxisShift {
  double longitude_deg, obliquity_deg;
};

AxisShift nutation_at(double jce) {
  // Elongation of the moon, anomaly of sun and moon, argument of latitude and node of the moon.
  const double x[5] = {
      297.85036 + jce * (445267.111480 + jce * (-0.0019142 + jce / 189474.0)),
      357.52772 + jce * (35999.050340 + jce * (-0.0001603 - jce / 300000.0)),
      134.96298 + jce * (477198.867398 + jce * (0.0086972 + jce / 56250.0)),
      93.27191 + jce * (483202.017538 + jce * (-0.0036825 + jce / 327270.0)),
      125.04452 + jce * (-1934.136261 + jce * (0.0020708 + jce / 450000.0)),
  };
  // Every term is a small whole multiple of five angles: their sines and cosines are multiplied
  // together instead of calling sin and cos 126 times.
  struct Unit {
    double c, s;
  };
  constexpr int reach = 3;
  Unit multiple[5][2 * reach + 1];
  for (int i = 0; i < 5; ++i) {
    const double r = turn_deg(x[i]) * rad_per_deg;
    const Unit one{std::cos(r), std::sin(r)};
    multiple[i][reach] = {1, 0};
    for (int k = 1; k <= reach; ++k) {
      const Unit p = multiple[i][reach + k - 1];
      const Unit n{p.c * one.c - p.s * one.s, p.s * one.c + p.c * one.s};
      multiple[i][reach + k] = n;
      multiple[i][reach - k] = {n.c, -n.s};
    }
  }
  double longitude = 0, obliquity = 0;
  for (const auto& t : terms::nutation) {
    Unit u{1, 0};
    for (int i = 0; i < 5; ++i) {
      if (t.y[i] == 0) continue;
      const Unit m = multiple[i][reach + t.y[i]];
      u = {u.c * m.c - u.s * m.s, u.s * m.c + u.c * m.s};
    }
    longitude += (t.a + t.b * jce) * u.s;
    obliquity += (t.c + t.d * jce) * u.c;
  }
  return {longitude / 36000000.0, obliquity / 36000000.0};
}

double mean_obliquity_arcsec(double jme) {
  constexpr double k[] = {84381.448, -4680.93, -1.55, 1999.25, -51.38, -249.67, -39.05, 7.12, 27.87, 5.79, 2.45};
  const double u = jme / 10.0;
  double s = 0;
  for (auto it = std::rbegin(k); it != std::rend(k); ++it) s = s * u + *it;
  return s;
}

}  // namespace

double greenwich_sidereal_deg(Utc at, double equation_of_equinoxes_deg) {
  const double d = days_from_j2000(at);
  const double jc = d / 36525.0;
  // Whole days turn by 0.98564736629 deg; splitting keeps the last digits over centuries.
  const double whole = std::floor(d);
  const double turned = 360.0 * (d - whole) + 0.98564736629 * d;
  return turn_deg(280.46061837 + turned + jc * jc * (0.000387933 - jc / 38710000.0) + equation_of_equinoxes_deg);
}

Geocentric geocentric(Utc at, double delta_t) {
  const double jce = (days_from_j2000(at) + delta_t / 86400.0) / 36525.0;
  const double jme = jce / 10.0;
  using namespace terms;

  const double l = (sum(l0, jme) +
                    jme * (sum(l1, jme) +
                           jme * (sum(l2, jme) + jme * (sum(l3, jme) + jme * (sum(l4, jme) + jme * sum(l5, jme)))))) /
                   1e8;
  const double b = (sum(b0, jme) + jme * sum(b1, jme)) / 1e8;
  const double r =
      (sum(r0, jme) + jme * (sum(r1, jme) + jme * (sum(r2, jme) + jme * (sum(r3, jme) + jme * sum(r4, jme))))) / 1e8;

  Geocentric g;
  g.heliocentric_longitude_deg = turn_deg(l * deg_per_rad);
  g.heliocentric_latitude_deg = b * deg_per_rad;
  g.distance_au = r;

  const AxisShift n = nutation_at(jce);
  g.nutation_longitude_deg = n.longitude_deg;
  g.nutation_obliquity_deg = n.obliquity_deg;
  g.true_obliquity_deg = mean_obliquity_arcsec(jme) / 3600.0 + n.obliquity_deg;

  const double aberration_deg = -20.4898 / (3600.0 * r);
  const double lambda_deg = turn_deg(g.heliocentric_longitude_deg + 180.0 + n.longitude_deg + aberration_deg);
  g.apparent_longitude_deg = lambda_deg;

  const double lambda = lambda_deg * rad_per_deg, epsilon = g.true_obliquity_deg * rad_per_deg, beta = -b;
  const double sin_lambda = std::sin(lambda), sin_epsilon = std::sin(epsilon), cos_epsilon = std::cos(epsilon);
  g.right_ascension_deg =
      turn_deg(std::atan2(sin_lambda * cos_epsilon - std::tan(beta) * sin_epsilon, std::cos(lambda)) * deg_per_rad);
  g.declination_deg = std::asin(std::clamp(
                          std::sin(beta) * cos_epsilon + std::cos(beta) * sin_epsilon * sin_lambda, -1.0, 1.0)) *
                      deg_per_rad;

  g.mean_longitude_deg = turn_deg(
      280.4664567 +
      jme * (360007.6982779 + jme * (0.03032028 + jme * (1.0 / 49931 + jme * (-1.0 / 15300 - jme / 2000000)))));
  g.equation_of_time_min = 4.0 * half_turn_deg(g.mean_longitude_deg - 0.0057183 - g.right_ascension_deg +
                                               n.longitude_deg * cos_epsilon);
  return g;
}

namespace {

double poly(std::initializer_list<double> k, double x) {
  double s = 0;
  for (auto it = std::rbegin(k); it != std::rend(k); ++it) s = s * x + *it;
  return s;
}

}  // namespace

double delta_t_s(double y) {
  const auto parabola = [](double year) { const double u = (year - 1820.0) / 100.0; return -20.0 + 32.0 * u * u; };
  if (y < -500.0) return parabola(y);
  if (y < 500.0)
    return poly({10583.6, -1014.41, 33.78311, -5.952053, -0.1798452, 0.022174192, 0.0090316521}, y / 100.0);
  if (y < 1600.0)
    return poly({1574.2, -556.01, 71.23472, 0.319781, -0.8503463, -0.005050998, 0.0083572073}, (y - 1000.0) / 100.0);
  if (y < 1700.0) return poly({120.0, -0.9808, -0.01532, 1.0 / 7129.0}, y - 1600.0);
  if (y < 1800.0) return poly({8.83, 0.1603, -0.0059285, 0.00013336, -1.0 / 1174000.0}, y - 1700.0);
  if (y < 1860.0)
    return poly({13.72, -0.332447, 0.0068612, 0.0041116, -0.00037436, 0.0000121272, -0.0000001699, 0.000000000875},
                y - 1800.0);
  if (y < 1900.0) return poly({7.62, 0.5737, -0.251754, 0.01680668, -0.0004473624, 1.0 / 233174.0}, y - 1860.0);
  if (y < 1920.0) return poly({-2.79, 1.494119, -0.0598939, 0.0061966, -0.000197}, y - 1900.0);
  if (y < 1941.0) return poly({21.20, 0.84493, -0.076100, 0.0020936}, y - 1920.0);
  if (y < 1961.0) return poly({29.07, 0.407, -1.0 / 233.0, 1.0 / 2547.0}, y - 1950.0);
  if (y < 1986.0) return poly({45.45, 1.067, -1.0 / 260.0, -1.0 / 718.0}, y - 1975.0);
  if (y < 2005.0)
    return poly({63.86, 0.3345, -0.060374, 0.0017275, 0.000651814, 0.00002373599}, y - 2000.0);
  // At the start of each year.
  static constexpr std::array<double, 22> seen{64.7, 64.8, 65.1, 65.5, 65.8, 66.1, 66.3, 66.6, 66.9, 67.3, 67.6,
                                               68.1, 68.6, 69.0, 69.2, 69.4, 69.4, 69.3, 69.2, 69.2, 69.1, 69.1};
  constexpr double first = 2005.0, last = first + seen.size() - 1;
  if (y < last) {
    const auto i = static_cast<std::size_t>(y - first);
    return seen[i] + (seen[i + 1] - seen[i]) * (y - first - static_cast<double>(i));
  }
  if (y < 2150.0) return seen.back() + (parabola(2150.0) - seen.back()) * (y - last) / (2150.0 - last);
  return parabola(y);
}

double delta_t_s(Utc at) { return delta_t_s(2000.0 + days_from_j2000(at) / 365.25); }

}  // namespace fw::sun
