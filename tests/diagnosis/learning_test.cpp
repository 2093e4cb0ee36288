// What a day teaches when it is over, and what dirt on all strings has to do with dirt on one.
#include <doctest/doctest.h>

#include <cmath>
#include <functional>

#include "diagnosis/film.h"
#include "diagnosis/retrospect.h"
#include "sky/state.h"

using namespace fw;
using namespace fw::diagnosis;

namespace {

roof::StringModel flat_string() {
  roof::StringSheet sheet;
  sheet.module.rated_w = 330;
  sheet.series = 2;
  sheet.plane = {3, 180};
  return roof::StringModel(sheet);
}

/// A day of minutes, sun over 5 degrees.
struct Day {
  const roof::StringModel paper = flat_string();
  const sky::Site site = sky::site_at({46, 7, 900});
  Utc first = utc_ms(1770681600000);

  /// each: sees the minute (filled as a clear, bare, unlearned one at full power) and alters it.
  void keep(Retrospect& r, int day, const std::function<void(int minute_of_sun, Retrospect::Minute&)>& each) const {
    int sunny = 0;
    for (int minute = 0; minute < 1440; ++minute) {
      const auto sky = sky::clear_state(site, first + days{day} + minutes{minute}, -3, 0.5);
      if (sky.sun.apparent_elevation_deg < 5) continue;
      const auto expected = roof::expected(paper, sky, {-3, 2});
      Retrospect::Minute m{day, sky, expected, expected.power_w, 1, false, 1, 0, 0};
      each(sunny++, m);
      m.measured_w = m.share * expected.power_w;
      r.keep(m);
    }
  }
};

/// What that many clear days teach of a string that is as its paper says.
roof::Calibration of_clear_days(int count) {
  const Day day;
  roof::Calibration c(day.paper);
  for (int d = 0; d < count; ++d)
    for (int minute = 0; minute < 1440; ++minute) {
      const auto sky = sky::clear_state(day.site, day.first + days{d} + minutes{minute}, -3, 0.5);
      if (sky.sun.apparent_elevation_deg < 6) continue;
      const auto e = roof::expected(day.paper, sky, {-3, 2});
      c.learn(d, sky, e, e.power_w);
    }
  return c;
}

}  // namespace

TEST_CASE("half an hour calm and above the model is learned once the day is over; what flickers, is shorter or lower is not") {
  const Day day;
  struct Row {
    const char* what;
    int from, to;
    double share, flicker;
    bool learned;
  };
  for (const Row& row : {Row{"calm and above", 20, 70, 1.15, 0, true}, Row{"flickering", 20, 70, 1.15, 0.05, false},
                         Row{"a quarter of an hour", 20, 35, 1.15, 0, false}, Row{"calm and lower", 20, 70, 0.9, 0, false}}) {
    CAPTURE(row.what);
    roof::Calibration c(day.paper);
    Retrospect r;
    day.keep(r, 1, [&](int n, Retrospect::Minute& m) {
      const bool here = n >= row.from && n < row.to;
      m.cloudless = 0;
      m.learned = !here;
      m.share = here ? row.share * (1 + (n % 2 ? row.flicker : -row.flicker)) : 0.3 + 0.2 * (n % 2);
    });
    r.close_day(c);
    CHECK((c.hours() > 0.4) == row.learned);
  }
}

TEST_CASE("a low hour is fixed shade when two days agree; where it may have been snow, only between full power and full power") {
  const Day day;
  struct Row {
    const char* what;
    int from, to;
    double snow, may_be_covered;
    bool shade;
  };
  for (const Row& row : {Row{"no snow seen", 100, 160, 0, 0.5, true}, Row{"taken for snow, full before and after", 100, 160, 0.9, 0.5, true},
                         Row{"taken for snow since dawn", 0, 160, 0.9, 0.5, false}, Row{"taken for snow since dawn, in dry weather", 0, 160, 0.9, 0.02, true}}) {
    CAPTURE(row.what);
    roof::Calibration c(day.paper);
    double elevation = 0, azimuth = 0;
    for (int d = 1; d <= 2; ++d) {
      Retrospect r;
      day.keep(r, d, [&](int n, Retrospect::Minute& m) {
        const bool here = n >= row.from && n < row.to;
        m.learned = !here;
        m.share = here ? 0.3 : 1;
        m.snow = here ? row.snow : 0;
        m.may_be_covered = row.may_be_covered;
        if (!here) c.learn(m.day, m.sky, m.paper, m.paper.power_w);
        if (n == 130) {
          elevation = m.sky.sun.apparent_elevation_deg;
          azimuth = m.sky.sun.azimuth_deg;
        }
      });
      r.close_day(c);
    }
    c.refit();
    const auto shade = c.shade(elevation, azimuth);
    CHECK((shade.known && shade.total < 0.5) == row.shade);
  }
}

TEST_CASE("a loss that the other strings do not show is doubted by half, one that they share is not, and one string stands alone") {
  const roof::Calibration c = of_clear_days(4);
  struct Row {
    std::optional<double> others;
    double loss;
  };
  for (const auto& [others, loss] : {Row{std::nullopt, 0.06}, Row{0.0, 0.03}, Row{0.06, 0.06}, Row{0.3, 0.06}}) {
    CAPTURE(others.value_or(-1));
    Film film;
    for (int minute = 0; minute < 60; ++minute) film.learn(4, 0.94, c, others);
    REQUIRE(film.known());
    CHECK(film.loss() == doctest::Approx(loss).epsilon(0.25));
    CHECK(film.own_loss() == doctest::Approx(0.06).epsilon(0.25));
  }
}

TEST_CASE("a film is over once calm minutes show most of the loss gone, however low the sun; a few do not do, nor a part of it") {
  const roof::Calibration c = of_clear_days(4);
  struct Row {
    double over_clean;
    int minutes;
    bool claimed;
  };
  for (const auto& [over_clean, minutes, claimed] : {Row{0.99, 6, true}, Row{0.94, 60, true}, Row{0.99, 15, false}}) {
    CAPTURE(over_clean);
    CAPTURE(minutes);
    Film film;
    for (int d = 4; d < 6; ++d)
      for (int minute = 0; minute < 60; ++minute) film.learn(d, 0.89, c);
    REQUIRE(film.claimed());
    for (int minute = 0; minute < minutes; ++minute) film.see_washed(over_clean);
    CHECK(film.claimed() == claimed);
  }
}
