#include <doctest/doctest.h>

#include <cmath>

#include "rigs.h"

using namespace fw;

namespace {

rig::Rig with_forecast(const std::string& block, const std::string& zone = "UTC") { return small_rig("", "", zone, "forecast:\n" + block); }

bool near(const std::optional<double>& v, double want) { return v && std::fabs(*v - want) < 1e-9; }

}  // namespace

TEST_CASE("a forecast in rows") {
  const auto rig = with_forecast("  topic: f\n  layout: rows\n  rows: /hours\n  time: /t\n  cloud: {pointer: /sky/cover, unit: \"%\"}\n  air_temperature: {pointer: /temp, unit: degF}\n  snowfall: {pointer: /snow, unit: in}\n  wind: {pointer: /wind, unit: km/h}\n");
  Inlet in{rig};
  const auto t = in.take("f", R"({"hours":[{"t":"2026-01-15T13:00:00Z","sky":{"cover":40},"temp":14,"snow":0.5,"wind":36},
    {"t":"2026-01-15T12:00:00Z","sky":{"cover":"30"},"temp":null,"snow":0},{"t":"?","temp":1},{"t":"2026-01-15T14:00:00Z","sky":{"cover":130}}]})");
  REQUIRE(t.forecast);
  CHECK(t.forecast->received == elapsed_ms(ms_of(in.now)));
  REQUIRE(t.forecast->rows.size() == 3);
  CHECK(iso_utc(t.forecast->rows[0].from) == "2026-01-15T12:00:00Z");
  CHECK(near(t.forecast->rows[0].cloud, 0.30));
  CHECK_FALSE(t.forecast->rows[0].air_c);
  CHECK(near(t.forecast->rows[1].air_c, -10));
  CHECK(near(t.forecast->rows[1].snow_cm, 1.27));
  CHECK(near(t.forecast->rows[1].wind_ms, 10));
  CHECK_FALSE(t.forecast->rows[2].cloud);  // 130 % is no cover
}

TEST_CASE("a forecast in columns, its step in the message") {
  const auto rig = with_forecast("  topic: f\n  layout: columns\n  first: /first\n  step_pointer: /step_s\n  cloud: {pointer: /cloud, unit: fraction}\n  snowfall: {pointer: /snow, unit: mm}\n");
  Inlet in{rig};
  const auto t = in.take("f", R"({"first":"2026-01-15T12:00:00Z","step_s":3600,"cloud":[0.1,0.2,null],"snow":[10,0]})");
  REQUIRE(t.forecast);
  REQUIRE(t.forecast->rows.size() == 3);
  CHECK(near(t.forecast->rows[0].snow_cm, 1.0));
  CHECK(near(t.forecast->rows[1].cloud, 0.2));
  CHECK_FALSE(t.forecast->rows[2].cloud);
}

TEST_CASE("three-hour steps become hours, the snow shared out; quarter hours are gathered") {
  const auto three = with_forecast("  topic: f\n  layout: columns\n  first: /first\n  step: 3 h\n  cloud: {pointer: /c, unit: \"%\"}\n  snowfall: {pointer: /s, unit: cm}\n");
  Inlet in{three};
  const auto t = in.take("f", R"({"first":"2026-01-15T12:00:00Z","c":[60,90],"s":[3,0]})");
  REQUIRE(t.forecast);
  REQUIRE(t.forecast->rows.size() == 6);
  CHECK(near(t.forecast->rows[2].cloud, 0.6));
  CHECK(near(t.forecast->rows[2].snow_cm, 1.0));
  CHECK(near(t.forecast->rows[3].cloud, 0.9));
  CHECK(iso_utc(t.forecast->rows[5].from) == "2026-01-15T17:00:00Z");

  const auto quarter = with_forecast("  topic: f\n  layout: columns\n  first: /first\n  step: 15 min\n  cloud: {pointer: /c, unit: \"%\"}\n  snowfall: {pointer: /s, unit: cm}\n");
  Inlet in2{quarter};
  const auto q = in2.take("f", R"({"first":"2026-01-15T12:00:00Z","c":[0,20,40,60,100],"s":[0.5,0.5,0,0,1]})");
  REQUIRE(q.forecast);
  REQUIRE(q.forecast->rows.size() == 2);
  CHECK(near(q.forecast->rows[0].cloud, 0.3));
  CHECK(near(q.forecast->rows[0].snow_cm, 1.0));
}

TEST_CASE("rows in local time, over the change of clocks") {
  const auto rig = with_forecast("  topic: f\n  layout: rows\n  time: /t\n  time_form: local\n  cloud: {pointer: /c, unit: \"%\"}\n", "America/Denver");
  Inlet in{rig};
  in.now = utc_of("2026-03-08T07:00:00Z");
  const auto t = in.take("f", R"([{"t":"2026-03-08 01:00","c":10},{"t":"2026-03-08 02:00","c":20},{"t":"2026-03-08 03:00","c":30}])");
  REQUIRE(t.forecast);
  REQUIRE(t.forecast->rows.size() == 2);  // two o'clock did not exist that night
  CHECK(iso_utc(t.forecast->rows[1].from) == "2026-03-08T09:00:00Z");
}

TEST_CASE("a forecast that cannot be used is one fault with its reason") {
  const auto rows = with_forecast("  topic: f\n  layout: rows\n  rows: /hours\n  time: /t\n  cloud: {pointer: /c, unit: \"%\"}\n");
  const auto columns = with_forecast("  topic: f\n  layout: columns\n  first: /first\n  step_pointer: /step\n  cloud: {pointer: /c, unit: \"%\"}\n");
  struct Row { const rig::Rig* rig; const char* payload; const char* what; };
  for (const Row& r : {Row{&rows, "nope", "f: forecast cannot be used: no array of forecast rows"}, Row{&rows, "{", "f: forecast cannot be used: not JSON"},
                       Row{&rows, R"({"hours":[]})", "f: forecast cannot be used: no row of the forecast has a time and a value"},
                       Row{&columns, R"({"first":"x","c":[1]})", "f: forecast cannot be used: no time for the first hour of the forecast"},
                       Row{&columns, R"({"first":"2026-01-15T12:00:00Z","step":0,"c":[1]})", "f: forecast cannot be used: no usable step (60 to 86400 s) in the forecast"}}) {
    CAPTURE(r.payload);
    Inlet in{*r.rig};
    const auto t = in.take("f", r.payload);
    CHECK_FALSE(t.forecast);
    REQUIRE(t.faults.size() == 1);
    CHECK(t.faults[0].text() == r.what);
    CHECK(in.intake.counts().back().not_a_number == 1);
  }
}

TEST_CASE("an endless forecast stays within bounds") {
  const auto rig = with_forecast("  topic: f\n  layout: columns\n  first: /first\n  cloud: {pointer: /c, unit: \"%\"}\n");
  Inlet in{rig};
  std::string column = "0";
  for (int i = 0; i < 20000; ++i) column += ",1";
  const auto t = in.take("f", R"({"first":"2026-01-15T12:00:00Z","c":[)" + column + "]}");
  REQUIRE(t.forecast);
  CHECK(t.forecast->rows.size() <= 400);
}
