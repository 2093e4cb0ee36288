#include "outlook/successive_forecasts.h"

#include <doctest/doctest.h>

#include <cmath>

using namespace fw;
using fw::outlook::SuccessiveForecasts;

namespace {
Utc hour(int h) { return utc_ms(1768435200000LL) + hours{h}; }

/// Says the same of all hours of three days from `from` on.
Forecast forecast(int from, double air_c, double cloud = 0.5, double snow_cm = 0) {
  Forecast f;
  f.received = Elapsed{hour(from).time_since_epoch()};
  for (int h = from; h < from + 72; ++h) f.rows.push_back({hour(h), cloud, air_c, snow_cm, {}, {}});
  return f;
}

/// Errors of forecasts six hours apart, in a fixed order that repeats.
double error(int issue) {
  static constexpr double e[] = {1.5, -0.5, -2, 2, 0.5, -1, 1, -1.5};
  return e[issue % 8];
}
}  // namespace

TEST_CASE("what several forecasts say of an hour is averaged, the newest counting most") {
  SuccessiveForecasts all;
  CHECK(all.get() == nullptr);
  all.take(forecast(0, -4, 0.5, 2));
  CHECK(*all.get()->at(hour(10))->snow_cm == doctest::Approx(2));
  all.take(forecast(6, 0, 0.5, 1));
  const ForecastHour* row = all.get()->at(hour(10));
  CHECK(*row->snow_cm > 1.2);
  CHECK(*row->snow_cm < 1.5);
  CHECK(*row->air_c < -1);
  CHECK(*row->air_c > -2);
  CHECK(all.newest_is(Elapsed{hour(6).time_since_epoch()}));
  CHECK(*all.get()->at(hour(75))->snow_cm == doctest::Approx(1));  // only the newest reaches that far
}

TEST_CASE("clouds are averaged by the light they take") {
  SuccessiveForecasts all;
  all.take(forecast(0, 0, 1));
  all.take(forecast(6, 0, 0));
  CHECK(*all.get()->at(hour(10))->cloud > 0.7);  // two fifths of an overcast's loss, not two fifths of its cover
}

TEST_CASE("a forecast sent again is no second opinion") {
  SuccessiveForecasts once, often;
  for (SuccessiveForecasts* all : {&once, &often}) {
    all->take(forecast(0, -4));
    all->take(forecast(6, 0));
  }
  Forecast again = forecast(6, 0);
  for (int minute = 1; minute < 60; ++minute) {
    again.received += minutes{5};
    often.take(again);
  }
  CHECK(*often.get()->at(hour(20))->air_c == doctest::Approx(*once.get()->at(hour(20))->air_c));
  CHECK(often.get()->received == again.received);
}

TEST_CASE("a forecast of the day before yesterday is no opinion of today any more") {
  SuccessiveForecasts all;
  all.take(forecast(0, -10));
  all.take(forecast(30, 0));
  CHECK(*all.get()->at(hour(40))->air_c == doctest::Approx(0));
}

TEST_CASE("older forecasts count as much as they are worth") {
  // air stays at 0; every six hours a forecast
  SuccessiveForecasts each_its_own, all_the_same_way, newest_is_right;
  double newest2 = 0, mean2 = 0;
  for (int issue = 0; issue < 60; ++issue) {
    each_its_own.take(forecast(6 * issue, error(issue)));
    all_the_same_way.take(forecast(6 * issue, 1.5 + 0.02 * error(issue)));
    Forecast near_right = forecast(6 * issue, 0);  // of the next six hours
    for (std::size_t h = 6; h < near_right.rows.size(); ++h) near_right.rows[h].air_c = error(issue);
    newest_is_right.take(near_right);
    for (int h = 0; h < 6; ++h) {
      if (issue > 20) newest2 += error(issue) * error(issue), mean2 += std::pow(*each_its_own.get()->at(hour(6 * issue + h))->air_c, 2);
      each_its_own.learn(hour(6 * issue + h), 0);
      all_the_same_way.learn(hour(6 * issue + h), 0);
      newest_is_right.learn(hour(6 * issue + h), 0);
    }
  }
  CHECK(each_its_own.older_weight() > 0.45);
  CHECK(mean2 < 0.6 * newest2);
  CHECK(all_the_same_way.older_weight() == doctest::Approx(0.4).epsilon(0.2));  // nothing to learn from: as at first
  CHECK(newest_is_right.older_weight() < 0.1);
}

TEST_CASE("what was learned of forecasts outlives a restart") {
  SuccessiveForecasts all, again;
  all.take(forecast(0, -4, 0.2, 1));
  all.take(forecast(6, 1, 0.8, 3));
  for (int h = 6; h < 12; ++h) all.learn(hour(h), -3);
  all.take(forecast(12, 2, 0.8, 3));
  again.restore(all.snapshot());
  CHECK(again.older_weight() == doctest::Approx(all.older_weight()));
  CHECK(again.snapshot() == all.snapshot());
  CHECK(*again.get()->at(hour(30))->air_c == doctest::Approx(*all.get()->at(hour(30))->air_c));
  again.restore("rubbish");
  CHECK(again.get() == nullptr);
}
