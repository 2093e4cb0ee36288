// Where a day's clear-sky energy is booked. Shares of the clear-sky energy of both strings; numbers made for the tests.
#include <doctest/doctest.h>

#include "diagnosis/bench_rig.h"

using namespace fw;
using namespace fw::test;

namespace {

constexpr std::array<double, 8> under_snow{0, 1, 3, 5, 5, 3, 1, 0};

struct Day {
  const char* name;
  std::function<void(BenchRig&)> outlook;
  std::function<void(double, MinuteIn&)> each;
  double made, cloud, snow, curtailed, cold, no_data;  ///< expected shares
};

void covered(double hour, MinuteIn& m) {
  m.p.watts = m.s.watts = BenchRig::through(under_snow, hour);
  m.p.volts = m.s.volts = hour > 8 ? 34.0 : 20.0;
}
void held_back(MinuteIn& m, Stage stage) {
  m.p.watts = m.s.watts = 0;
  m.p.volts = m.s.volts = 46.0;
  m.p.stage = m.s.stage = stage;
}

}  // namespace

TEST_CASE("each kind of day is booked where its energy went, and all of it") {
  const double clear_to_11 = 0.25;   // of a clear day's energy, by the table of clear-sky watts
  const double clear_to_13 = 0.63;
  const auto cloudless = [](BenchRig& r) { r.snow_forecast(0, 70, 71, 0, 0.0); };
  const Day days[] = {
      {"full by eleven", cloudless, [](double hour, MinuteIn& m) {
         m.soc = hour < 11 ? 0.9 : 1.0;
         if (hour >= 11) held_back(m, Stage::floating), m.bank_v = 13.6;
       }, clear_to_11, 0, 0, 1 - clear_to_11, 0, 0},
      {"snow all day, a bright sky by the forecast", [](BenchRig& r) { r.snow_forecast(0, 3, 6, 4, 0.0); }, covered, 0.03, 0, 0.97, 0, 0, 0},
      {"cold until one o'clock", cloudless, [](double hour, MinuteIn& m) {
         m.cell_c = hour < 13 ? -2 : 3;
         m.permit = hour >= 13;
         if (hour < 13) held_back(m, Stage::inhibited);
       }, 1 - clear_to_13, 0, 0, 0, clear_to_13, 0},
      {"overcast", [](BenchRig& r) { r.snow_forecast(0, 70, 71, 0, 1.0); }, [](double hour, MinuteIn& m) {
         const double wander = 1 + 0.06 * std::sin(hour * 23) + 0.05 * std::sin(hour * 61);
         m.p.watts = m.s.watts = 0.3 * BenchRig::clear_w(hour) * wander;
         m.p.volts = m.s.volts = 38.5;
         m.air_c = 3;
       }, 0.3, 0.7, 0, 0, 0, 0},
      {"silent from eleven on", cloudless, [](double hour, MinuteIn& m) { m.p.live = m.s.live = hour < 11; }, clear_to_11, 0, 0, 0, 0, 1 - clear_to_11},
  };
  for (const Day& day : days) {
    CAPTURE(day.name);
    BenchRig r;
    r.teach(3);
    day.outlook(r);
    r.booked_w_min = {};
    r.clear_w_min = 0;
    r.play(0, 0, 24, day.each);
    const LossSplit& b = r.booked_w_min;
    const double clear = r.clear_w_min;
    CHECK(r.sum_exact);
    CHECK(std::abs(clear / 60 / (2 * 732) - 1) < 0.10);
    CHECK(std::abs(b.sum() / clear - 1) < 1e-9);
    CHECK(std::abs(b.made_w / clear - day.made) < 0.04);
    CHECK(std::abs(b.cloud_w / clear - day.cloud) < 0.05);
    CHECK(std::abs(b.snow_w / clear - day.snow) < 0.05);
    CHECK(std::abs(b.curtailed_w / clear - day.curtailed) < 0.05);
    CHECK(std::abs(b.cold_w / clear - day.cold) < 0.05);
    CHECK(std::abs(b.no_data_w / clear - day.no_data) < 0.05);
    CHECK(std::abs(b.unexplained_w / clear) < 0.02);
    CHECK(std::abs(b.outage_w + b.soiling_w + b.shade_w) / clear < 0.04);
  }
}

TEST_CASE("while snow falls the sky is closed, however much cloud the forecast has") {
  for (const double cloud : {0.3, 1.0}) {
    CAPTURE(cloud);
    BenchRig r;
    r.teach(3);
    r.snow_forecast(0, 3, 17, 20, 0.0);
    for (ForecastHour& row : r.forecast.rows) row.cloud = cloud;
    r.booked_w_min = {};
    r.clear_w_min = 0;
    r.play(0, 0, 24, covered);
    CHECK(r.booked_w_min.cloud_w / r.clear_w_min > 0.7);
    CHECK(r.booked_w_min.snow_w / r.clear_w_min < 0.3);
    CHECK(r.booked_w_min.snow_w > 0);
  }
}

TEST_CASE("a few per cent too little are the model's in still light, a few too much the clouds' where it comes and goes") {
  BenchRig still;
  still.teach(3);
  still.booked_w_min = {};
  still.clear_w_min = 0;
  still.play(0, 0, 24, [](double, MinuteIn& m) { m.p.watts *= 0.93, m.s.watts *= 0.93; });
  CHECK(still.booked_w_min.cloud_w / still.clear_w_min < 0.02);
  // nobody's, until it has lasted long enough to be a film
  CHECK((still.booked_w_min.unexplained_w + still.booked_w_min.soiling_w) / still.clear_w_min > 0.05);

  // gaps of a few minutes between clouds whose edges brighten the sun
  BenchRig moving;
  moving.teach(3);
  moving.booked_w_min = {};
  moving.play(0, 10, 15, [](double hour, MinuteIn& m) {
    const double share = std::fmod(hour * 60, 10) < 6 ? 1.06 : 0.55;
    m.p.watts *= share, m.s.watts *= share;
  });
  const LossSplit& b = moving.booked_w_min;
  CHECK(std::abs(b.cloud_w / b.sum() - (1 - (0.6 * 1.06 + 0.4 * 0.55))) < 0.02);
}

TEST_CASE("a night books nothing") {
  BenchRig r;
  r.play(0, 18, 24, [](double, MinuteIn& m) { m.p.watts = m.s.watts = 0; });
  CHECK(r.clear_w_min == 0);
  CHECK(r.booked_w_min.sum() == 0);
}

TEST_CASE("a bank that refuses is booked as cold only while its cells are cold") {
  for (const bool cold : {false, true}) {
    CAPTURE(cold);
    BenchRig r;
    r.teach(3);
    r.snow_forecast(0, 70, 71, 0, 0.0);
    r.booked_w_min = {};
    r.clear_w_min = 0;
    r.play(0, 0, 24, [&](double, MinuteIn& m) {
      held_back(m, Stage::inhibited);
      m.cell_c = cold ? -3 : 12;
      m.charge_allowed = false;
      m.permit = false;
    });
    const LossSplit& b = r.booked_w_min;
    CHECK((cold ? b.cold_w : b.curtailed_w) / r.clear_w_min > 0.9);
    CHECK((cold ? b.curtailed_w : b.cold_w) == 0);
  }
}
