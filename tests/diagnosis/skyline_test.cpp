#include "diagnosis/skyline.h"

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include <cmath>

using namespace fw;
using diagnosis::Skyline;

namespace {

/// A morning over a ridge: steady dim light, then full sun from `ridge_deg` on.
void morning(Skyline& s, int day, double ridge_deg, double dim = 0.0, double bright = 1.0) {
  for (int minute = 0; minute < 120; ++minute) {
    const double elevation = 2 + minute * 0.15, azimuth = 125 + minute * 0.2;
    const bool sun = elevation > ridge_deg;
    s.keep(day, elevation, azimuth, sun ? bright : dim, std::log(sun ? 0.95 : 0.2), 0.01);
  }
  s.close_day();
}

double at(const Skyline& s, double elevation_deg) { return s.hidden(elevation_deg, 125 + (elevation_deg - 2) / 0.15 * 0.2); }

}  // namespace

TEST_CASE("before anything was seen a horizon is low, and falls away with height") {
  const Skyline s;
  CHECK(s.hidden(1, 120) > s.hidden(5, 120));
  CHECK(s.hidden(5, 120) > s.hidden(12, 120));
  CHECK(s.hidden(20, 120) < 0.03);
  double sum = 0;
  for (int h = 0; h < Skyline::heights; ++h) sum += Skyline::usual(h);
  CHECK(std::abs(sum - 1) < 1e-9);
}

TEST_CASE("two mornings over the same ridge are enough to expect the third") {
  Skyline s;
  morning(s, 1, 10);
  morning(s, 2, 10);
  CHECK(at(s, 7) > 0.8);
  CHECK(at(s, 13) < 0.05);
}

TEST_CASE("sun seen low takes the ridge away; dark days without sun build none") {
  Skyline seen, dark;
  for (int day = 1; day <= 3; ++day) morning(seen, day, 2);
  CHECK(at(seen, 5) < 0.02);
  const double before = at(dark, 7);
  for (int day = 1; day <= 3; ++day) morning(dark, day, 90);
  CHECK(std::abs(at(dark, 7) - before) < 1e-6);
}

TEST_CASE("the horizon outlives a restart, and a snapshot that cannot be read changes nothing") {
  Skyline s;
  morning(s, 1, 10);
  morning(s, 2, 10);
  Skyline again;
  again.take(nlohmann::json::parse(s.kept().dump()));
  for (double e = 1; e < 20; e += 0.5) CHECK(std::abs(at(again, e) - at(s, e)) < 0.01);
  for (const char* bad : {"[]", "{\"3\":[1,2]}", "{\"35\":\"x\"}", "null"}) {
    CAPTURE(bad);
    Skyline fresh;
    fresh.take(nlohmann::json::parse(bad));
    CHECK(fresh.kept().empty());
  }
  again.forget();
  CHECK(again.kept().empty());
}
