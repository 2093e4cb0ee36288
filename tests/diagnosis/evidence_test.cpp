// Terms of the evidence and of the table of transitions, each by itself.
#include <doctest/doctest.h>

#include "diagnosis/evidence.h"
#include "diagnosis/transitions.h"

using namespace fw;
using namespace fw::diagnosis;

namespace {

const StringStates two_by_two{2, 2, 3};

double sum_of(const Belief& b, int from, int to) {
  double sum = 0;
  for (int i = from; i < to; ++i) sum += b[static_cast<std::size_t>(i)];
  return sum;
}

Belief all_in(const StringStates& states, int row) {
  Belief b(static_cast<std::size_t>(states.size()), 0.0);
  b[static_cast<std::size_t>(row)] = 1;
  return b;
}

}  // namespace

TEST_CASE("asleep in daylight: no voltage is a plug, full voltage the controller, and anything may be deep snow") {
  struct Row {
    double to_open;
    bool open_rather;
  };
  const StringState deep{Kind::snow, 0.01, 0.3, 0}, open{Kind::open, 0, 0, 0};
  for (const auto [to_open, open_rather] : {Row{0.0, true}, Row{0.02, true}, Row{0.08, false}, Row{0.3, false}, Row{0.7, false}, Row{0.99, true}}) {
    CAPTURE(to_open);
    StringLook look;
    look.has_volts = true;
    look.volts_to_open = to_open;
    const double as_open = voltage_likelihood(look, open, true), as_snow = voltage_likelihood(look, deep, true);
    CHECK((as_open > as_snow) == open_rather);
    CHECK(std::max(as_open, as_snow) / std::min(as_open, as_snow) > 1.1);
  }
}

TEST_CASE("shade comes less easily, and goes sooner, where an earlier day had the sun") {
  Passing now;
  now.sun_elevation_deg = 20;
  now.air_c = 2.0;
  now.minutes_of_sun = 200;
  now.cloudless = 1;
  const auto after = [&](double seen, int from_row) {
    now.seen = seen;
    Belief b = all_in(two_by_two, from_row);
    for (int minute = 0; minute < 30; ++minute) pass_minute(two_by_two, now, b);
    return sum_of(b, two_by_two.shade_from, two_by_two.shade_to);
  };
  const int clean = 0, shaded = two_by_two.shade_from + 2;
  CHECK(after(0.98, clean) < 0.15 * after(0, clean));
  CHECK(after(0.98, shaded) < 0.7 * after(0, shaded));
  CHECK(after(0.5, clean) == doctest::Approx(after(0, clean)));
}

TEST_CASE("a lost branch has to hold against doubt as snow has") {
  Passing now;
  now.sun_elevation_deg = 20;
  now.air_c = -3.0;
  now.minutes_of_sun = 200;
  Belief b = all_in(two_by_two, two_by_two.half_to - 1);
  for (int minute = 0; minute < 40; ++minute) pass_minute(two_by_two, now, b);
  const double left = sum_of(b, two_by_two.half_from, two_by_two.half_to);
  CHECK(left > 0.3);
  CHECK(left < 0.45);
}

TEST_CASE("a forecast that has had no snow for a day and a half speaks against snow, one that has speaks for it") {
  Passing now;
  now.sun_elevation_deg = -10;
  now.air_c = -2.0;
  now.cloudless = 0;
  SiteLook none, missed, dry, snow;
  for (SiteLook* s : {&missed, &dry, &snow}) {
    s->has_forecast = true;
    s->forecast_cloud = 0.8;
  }
  dry.snow_lately = false;
  snow.forecast_snow = true;
  const auto onset = [&](const SiteLook& s) { return snow_onset_per_minute(now, s); };
  CHECK(onset(dry) < 0.5 * onset(missed));
  CHECK(onset(missed) < 0.5 * onset(none));
  CHECK(onset(none) < 0.5 * onset(snow));
  CHECK(onset(dry) > 0);
}
