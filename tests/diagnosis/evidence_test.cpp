// Terms of the evidence and of the table of transitions, each by itself.
#include <doctest/doctest.h>

#include <cmath>

#include "diagnosis/evidence.h"
#include "diagnosis/light_sensor.h"
#include "diagnosis/opinion.h"
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

Passing clear_noon() {
  Passing now;
  now.sun_elevation_deg = 20;
  now.air_c = 2.0;
  now.minutes_of_sun = 200;
  now.cloudless = 1;
  return now;
}

/// A string of which a clear sky makes 500 W, four fifths of it by the sun itself.
StringLook in_the_open() {
  StringLook look;
  look.usable = true;
  look.clear_w = 500;
  look.open_beam_w = look.beam_w = 400;
  look.open_diffuse_w = look.diffuse_w = 100;
  return look;
}

double shade_after_half_an_hour(const Passing& now, int from_row) {
  Belief b = all_in(two_by_two, from_row);
  for (int minute = 0; minute < 30; ++minute) pass_minute(two_by_two, now, b);
  return sum_of(b, two_by_two.shade_from, two_by_two.shade_to);
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
  const auto after = [&](double seen, int from_row) {
    Passing now = clear_noon();
    now.seen = seen;
    return shade_after_half_an_hour(now, from_row);
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

TEST_CASE("a shadow that has stayed for hours is given up, and none is met again that day") {
  const auto after = [&](double shade_min, int from_row) {
    Passing now = clear_noon();
    now.shade_min = shade_min;
    return shade_after_half_an_hour(now, from_row);
  };
  CHECK(after(200, two_by_two.shade_from + 2) < 0.1 * after(60, two_by_two.shade_from + 2));
  CHECK(after(200, 0) < 0.01 * after(60, 0));
}

TEST_CASE("a lost branch is still lost in the morning") {
  Passing night;
  night.sun_elevation_deg = -20;
  night.air_c = 6.0;
  Belief b = all_in(two_by_two, two_by_two.half_to - 1);
  for (int step = 0; step < 90; ++step) {
    night.minutes = 10;
    pass_minute(two_by_two, night, b);
  }
  CHECK(sum_of(b, two_by_two.half_from, two_by_two.half_to) > 0.9);
}

TEST_CASE("snow melts under the sun, hardly under a dark sky, and at once in warm air") {
  const auto left = [](double brightest, double air_c) {
    Passing now;
    now.sun_elevation_deg = 20;
    now.air_c = air_c;
    now.brightest = brightest;
    now.minutes_of_sun = 200;
    Belief b = all_in(two_by_two, two_by_two.snow_to - 4);
    for (int minute = 0; minute < 60; ++minute) pass_minute(two_by_two, now, b);
    double through = 0;
    for (int i = two_by_two.snow_from; i < two_by_two.snow_to; ++i) through += b[static_cast<std::size_t>(i)] * two_by_two[i].pass;
    return through + b[0];
  };
  CHECK(left(0.05, -1) < left(0.9, -1));
  CHECK(left(0.05, 8) == doctest::Approx(left(0.9, 8)));
}

TEST_CASE("no snow begins under a cloudless sky") {
  Passing now;
  now.sun_elevation_deg = 20;
  now.air_c = -2.0;
  SiteLook site;
  now.cloudless = 0;
  const double cloudy = snow_onset_per_minute(now, site);
  now.cloudless = 1;
  CHECK(snow_onset_per_minute(now, site) < 0.005 * cloudy);
}

TEST_CASE("a shadow is named while there is beam to take; under a closed cover it is the cloud") {
  const StringStates states{3, 1, 3};
  StringLook look = in_the_open();
  Belief b(static_cast<std::size_t>(states.size()), 0.0);
  b[static_cast<std::size_t>(states.shade_from + 1)] = 1;   // a fifth of the beam comes through
  struct Row {
    double share;
    Cause cause;
  };
  for (const auto [share, cause] : {Row{1.0, Cause::shade}, Row{0.7, Cause::shade}, Row{0.15, Cause::cloud}, Row{0.06, Cause::cloud}}) {
    CAPTURE(share);
    look.measured_w = 0.3 * share * look.clear_w;
    look.ratio_ln = std::log(look.measured_w / look.clear_w);
    CHECK(opinion_of(states, b, 0, look, share, share < 0.5 ? 1 : 0, 0, 1, true, false).cause == cause);
  }
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

TEST_CASE("the deeper the forecast fall the heavier the cover it is thought to leave, and the surer that it covers") {
  double lighter = 9;
  for (const double cm : {0.8, 1.6, 2.6, 4.0, 5.7, 7.4, 14.0}) {
    CAPTURE(cm);
    const auto left = cover_left_by(cm);
    double sum = 0, mean = 0;
    for (std::size_t g = 1; g < cover_count; ++g) {
      CHECK(left[g] > 0);
      sum += left[g];
      if (g + 1 < cover_count) mean += left[g] * static_cast<double>(g);
    }
    CHECK(sum == doctest::Approx(1));
    CHECK(mean < lighter);
    lighter = mean;
  }
  CHECK(cover_left_by(0) == cover_left);

  Passing night;
  night.sun_elevation_deg = -10;
  night.air_c = -2.0;
  night.cloudless = 0;
  SiteLook site;
  site.has_forecast = site.forecast_snow = true;
  site.fall_cm_h = 0.2;
  const double little = snow_onset_per_minute(night, site);
  site.fall_cm_h = 2;
  CHECK(snow_onset_per_minute(night, site) > 5 * little);
  CHECK(snow_onset_per_minute(night, site) * 60 > 0.6);   // an hour of two centimetres
}

TEST_CASE("glass that was bare a while ago cannot lie under more than falls in that time") {
  struct Row {
    Cover cover;
    double since_bare_min;
    bool could;
  };
  const Row rows[] = {{Cover::heaviest, 5, false}, {Cover::heaviest, 60, false}, {Cover::heaviest, 180, true}, {Cover::medium, 10, false}, {Cover::medium, 60, true},
                      {Cover::thin, 5, false},     {Cover::thin, 20, true},      {Cover::dusting, 1, false},   {Cover::any, 10, true}};
  for (const Row& r : rows) {
    CAPTURE(static_cast<int>(r.cover));
    CAPTURE(r.since_bare_min);
    CHECK((could_fall(r.cover, r.since_bare_min) == 1) == r.could);
  }
}

TEST_CASE("an obstacle is given up sooner where the horizon is known to be open, and held where it is known to be shut") {
  const double open = leave_per_minute(Regime::behind, 0.02, 0.02), unknown = leave_per_minute(Regime::behind, 0.3, 0.3),
               shut = leave_per_minute(Regime::behind, 0.95, 0.95);
  CHECK(open > 3 * unknown);
  CHECK(unknown > shut);
  CHECK(shut < 0.02);
}

TEST_CASE("what passes six sevenths of the light is not called snow") {
  const StringStates states{3, 1, 3};
  StringLook look = in_the_open();
  for (const auto& [row, cause] : {std::pair{states.snow_to - 1, Cause::clear}, std::pair{states.snow_to - 3, Cause::snow}}) {
    CAPTURE(states[row].pass);
    Belief b(static_cast<std::size_t>(states.size()), 0.0);
    b[static_cast<std::size_t>(row)] = 1;
    look.measured_w = states[row].pass * look.clear_w;
    look.ratio_ln = std::log(look.measured_w / look.clear_w);
    CHECK(opinion_of(states, b, 0, look, 1, 0, 0, 1, true, false).cause == cause);
  }
}

TEST_CASE("a sixth missing is a cloud's on a string that is known, and may be its rating on one that is not") {
  struct Row {
    double share, cloudy;
    bool settled;
    Cause cause;
  };
  const Row rows[] = {{0.87, 0.9, true, Cause::cloud}, {0.87, 0.5, false, Cause::clear}, {0.93, 0.5, true, Cause::clear}, {0.93, 0.9, false, Cause::clear},
                      {0.70, 0.9, true, Cause::cloud}, {0.70, 0.9, false, Cause::cloud}};
  for (const Row& r : rows) {
    CAPTURE(r.share);
    CAPTURE(r.settled);
    StringLook look = in_the_open();
    look.measured_w = r.share * look.clear_w;
    look.ratio_ln = std::log(r.share);
    CHECK(opinion_of(two_by_two, all_in(two_by_two, 0), 0, look, r.share, r.cloudy, 0, 1, r.settled, false).cause == r.cause);
  }
}

TEST_CASE("a light sensor in an obstacle's shadow or past it fits the obstacle alike, and fits less closely while clouds pass") {
  Motion calm{};
  calm.known = true;
  calm.minutes = 20;
  calm.spread = 0.005;
  Motion moving = calm;
  moving.spread = 0.3;
  const double sd = irradiance_sd(calm);
  CHECK(irradiance_sd(moving) > 2 * sd);
  constexpr double rest = 0.25;   // of a clear sky's light behind the obstacle
  const double in_shadow = irradiance_behind_likelihood(rest, rest, sd), past = irradiance_behind_likelihood(1, rest, sd);
  CHECK(past == doctest::Approx(in_shadow));
  CHECK(irradiance_behind_likelihood(0.6, rest, sd) < 0.1 * past);
  CHECK(irradiance_likelihood(0.6, 0.6, sd) > 20 * irradiance_likelihood(0.6, 1, sd));
}
