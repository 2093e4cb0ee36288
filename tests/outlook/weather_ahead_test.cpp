#include "outlook/weather_ahead.h"

#include <doctest/doctest.h>

using namespace fw;
using fw::outlook::WeatherAhead;

namespace {
const Utc midnight = utc_ms(1768435200000LL);

ForecastHour said(Utc at, double cloud, double snow_cm) { return {at, cloud, -2.0, snow_cm, {}, {}}; }
}  // namespace

TEST_CASE("what snows is thick cloud, whatever cover was forecast") {
  const WeatherAhead fresh;
  struct Row { double cloud, snow_cm, low, high; };
  for (const Row& r : {Row{0.75, 0, 0.6, 0.8}, Row{0.75, 1, 0.15, 0.17}, Row{0.2, 1, 0.15, 0.17}, Row{1, 1, 0.15, 0.17},
                       Row{0.75, 0.2, 0.3, 0.6}}) {  // little of it: it may as well stay dry
    CAPTURE(r.cloud);
    CAPTURE(r.snow_cm);
    CHECK(fresh.share_for(r.cloud, r.snow_cm) >= r.low);
    CHECK(fresh.share_for(r.cloud, r.snow_cm) <= r.high);
  }
}

TEST_CASE("the light of snowfall is learned apart from that of dry hours") {
  WeatherAhead learned;
  for (int h = 0; h < 60; ++h) {
    const Utc at = midnight + hours{h};
    const bool snows = h % 2 == 0;
    const ForecastHour hour = said(at, 0.75, snows ? 1 : 0);
    learned.learn(at, snows ? 0.3 : 0.9, 1, -2.0, &hour);
  }
  CHECK(learned.share_for(0.75, 0) > 0.85);
  CHECK(learned.share_for(0.75, 1) == doctest::Approx(0.28).epsilon(0.1));
  WeatherAhead again;
  again.restore(learned.snapshot());
  CHECK(again.share_for(0.75, 1) == doctest::Approx(learned.share_for(0.75, 1)));
  CHECK(again.share_for(0.75, 0) == doctest::Approx(learned.share_for(0.75, 0)));
}

TEST_CASE("hours of forecast snowfall are planned dark") {
  const WeatherAhead fresh;
  Forecast f;
  f.received = Elapsed{midnight.time_since_epoch()};
  for (int h = 0; h < 48; ++h) f.rows.push_back(said(midnight + hours{h}, 0.5, h >= 10 && h < 14 ? 0.8 : 0));
  const auto hours_ahead = fresh.ahead({f.received, midnight, true}, 24, &f, -2.0);
  CHECK(hours_ahead[9].clear_share > 0.8);
  CHECK(hours_ahead[11].clear_share < 0.2);
  CHECK(hours_ahead[15].clear_share > 0.8);
}
