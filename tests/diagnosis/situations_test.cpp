// Situations of practice, each with what an owner should hear of it. Numbers are made for the tests.
#include <doctest/doctest.h>

#include <cmath>
#include <map>

#include "diagnosis/bench_rig.h"

using namespace fw;
using namespace fw::test;

namespace {

constexpr std::array<double, 8> covered{0, 1, 3, 5, 5, 3, 1, 0};

void nothing(double, MinuteIn&) {}

}  // namespace

TEST_CASE("clear days are clear, and nobody is told anything") {
  BenchRig r;
  r.teach(3);
  r.play(0, 0, 12, nothing);
  CHECK(r.port().cause == Cause::clear);
  CHECK(r.star().cause == Cause::clear);
  CHECK(r.raised.empty());
  CHECK(r.sum_exact);
  CHECK(std::abs(r.port().expected_w / BenchRig::clear_w(12) - 1) < 0.05);
}

TEST_CASE("thin snow on both strings under a bright cold sky is snow on both by eleven") {
  BenchRig r;
  r.teach(3);
  r.snow_forecast(0, 3, 6, 4);
  r.play(0, 0, 11, [](double hour, MinuteIn& m) {
    m.p.watts = m.s.watts = BenchRig::through(covered, hour);
    m.p.volts = m.s.volts = hour > 8 ? 34.0 : 20.0;
    m.air_c = -4;
  });
  CHECK(r.port().cause == Cause::snow);
  CHECK(r.star().cause == Cause::snow);
  CHECK(r.standing("snow-port"));
  CHECK(r.standing("snow-star"));
  CHECK_FALSE(r.standing("outage-port"));
  CHECK(r.texts["snow-port"].find("under snow since") != std::string::npos);
  CHECK(r.sum_exact);
}

TEST_CASE("a dark day with bare or with covered strings raises no alert" * doctest::should_fail() * doctest::description("not met yet")) {
  for (const auto& day : {std::array<double, 8>{4, 9, 14, 16, 15, 12, 7, 2}, std::array<double, 8>{1, 3, 5, 6, 6, 4, 2, 0}}) {
    const bool bare = day[0] > 2;
    CAPTURE(bare);
    BenchRig r;
    r.teach(3);
    r.snow_forecast(0, 70, 71, 0, 1.0);   // overcast, no snow
    int snow = 0;
    unsigned x = 3;
    r.play(0, 0, 17, [&](double hour, MinuteIn& m) {
      // an overcast sky wanders by some per cent
      x = x * 1103515245u + 12345u;
      const double wander = 1 + 0.06 * std::sin(hour * 23) + 0.05 * std::sin(hour * 61) + 0.03 * ((x >> 16) / 32768.0 - 1);
      m.p.watts = m.s.watts = BenchRig::through(day, hour) * wander;
      m.p.volts = m.s.volts = bare ? 38.0 : 31.0;
      snow += !r.last.empty() && r.port().cause == Cause::snow;
    });
    CHECK(r.raised.empty());
    if (bare) CHECK(snow < 20);
  }
}

TEST_CASE("numbers that stand still since the night are no measurement, a string cut off is an outage") {
  struct Case {
    double volts;
    Cause cause;
    const char *alarm, *other;
  };
  for (const Case& c : {Case{2.3, Cause::stale, "stale-star", "outage-star"}, Case{0.02, Cause::outage, "outage-star", "stale-star"}}) {
    CAPTURE(c.volts);
    BenchRig r;
    r.teach(3);
    r.play(0, 0, 12, [&](double hour, MinuteIn& m) {
      if (hour < 2) return;
      m.s.watts = 0;
      m.s.volts = c.volts;
      m.s.still_for = minutes{static_cast<int>((hour - 2) * 60)};
    });
    CHECK(r.star().cause == c.cause);
    CHECK(r.standing(c.alarm));
    CHECK(r.times_raised(c.other) == 0);
    CHECK(r.port().cause == Cause::clear);
  }
}

TEST_CASE("only the string that lags is called covered, the other is the witness") {
  BenchRig r;
  r.teach(3);
  r.snow_forecast(0, 3, 6, 3);
  r.play(0, 0, 12, [](double hour, MinuteIn& m) {
    m.s.watts = BenchRig::through({2, 6, 11, 13, 13, 10, 5, 1}, hour);
    m.s.volts = hour > 8 ? 23.0 : 15.0;
  });
  CHECK(r.port().cause == Cause::clear);
  CHECK(r.star().cause == Cause::snow);
  CHECK(r.standing("snow-star"));
  CHECK_FALSE(r.standing("snow-port"));
}

TEST_CASE("a clearing at noon ends the alert by twenty past, and says what snow cost") {
  BenchRig r;
  r.teach(3);
  r.snow_forecast(0, 3, 6, 5);
  r.play(0, 0, 13, [](double hour, MinuteIn& m) {
    if (hour < 12.05) {
      m.p.watts = m.s.watts = std::min(4.0, BenchRig::clear_w(hour) * 0.03);
      m.p.volts = m.s.volts = 33.0;
    }
    m.soc = 0.71;
  });
  REQUIRE(r.times_raised("snow-port") == 1);
  CHECK_FALSE(r.standing("snow-port"));
  CHECK_FALSE(r.standing("snow-star"));
  REQUIRE(!r.over.empty());
  for (const std::string& o : r.over) CHECK(o <= o.substr(0, o.size() - 5) + "12:20");
  CHECK(r.over_texts["snow-port"].find("clear again at 12:") != std::string::npos);
  // Of glass that makes all it could nobody says that it is perhaps covered.
  CHECK(r.texts["snow-port"].find("Port string seems to be coming free of snow: ") == 0);
}

TEST_CASE("deep snow on a flat roof stays snow for days and leaves nothing behind") {
  BenchRig r;
  r.teach(3);
  r.snow_forecast(0, 1, 7, 10);
  for (int day = 0; day < 3; ++day) {
    r.play(day, 0, 24, [](double hour, MinuteIn& m) {
      m.p.watts = m.s.watts = 0.02 * BenchRig::clear_w(hour);
      m.p.volts = m.s.volts = hour > 8 && hour < 16.5 ? 34.0 : 10.0;
      m.air_c = -6;
      if (hour > 12.98 && hour < 13) return;
    });
    CHECK(r.standing("snow-port"));
  }
  r.play(3, 0, 24, [](double hour, MinuteIn& m) {
    const double open = std::clamp(hour < 11 ? 0.02 : hour < 12 ? 0.02 + 0.18 * (hour - 11) : hour < 13 ? 0.2 + 0.5 * (hour - 12) : 0.7 + 0.3 * (hour - 13), 0.02, 1.0);
    m.p.watts = m.s.watts = open * BenchRig::clear_w(hour);
    m.air_c = 4;
    m.p.volts = m.s.volts = open > 0.9 ? BenchRig::working_v(m.p.watts) : 30.0;
  });
  CHECK_FALSE(r.standing("snow-port"));
  r.play(4, 0, 12, nothing);
  CHECK(r.port().cause == Cause::clear);
  CHECK(r.times_raised("snow-port") == 1);
}

TEST_CASE("a month at 96 per cent give or take four is no soiling") {
  BenchRig r;
  unsigned x = 7;
  for (int day = 0; day < 30; ++day) {
    x = x * 1103515245u + 12345u;
    const double share = 0.96 + 0.04 * ((x >> 16) / 32768.0 - 1);
    r.play(day, 7, 17, [&](double hour, MinuteIn& m) { m.p.watts = m.s.watts = share * BenchRig::clear_w(hour); });
  }
  CHECK(r.times_raised("soiling-port") == 0);
  CHECK(r.times_raised("soiling-star") == 0);
}

TEST_CASE("a sixth of the voltage gone at the same current is a leaf on one panel") {
  BenchRig r;
  r.teach(4);
  for (int day = 0; day < 2; ++day)
    r.play(day, 0, 24, [&](double hour, MinuteIn& m) {
      m.air_c = 6;
      if (day > 0 || hour > 9.66) {
        m.s.watts *= 0.835;
        m.s.volts = *m.s.volts * 0.835;
      }
    });
  CHECK(r.times_raised("shade-star") == 1);
  CHECK(r.times_raised("snow-star") == 0);
  CHECK(r.times_raised("outage-star") == 0);
  CHECK(r.times_raised("shade-port") == 0);
}

TEST_CASE("two hours of broken cloud raise nothing and move no scale") {
  BenchRig r;
  r.teach(4);
  BenchRig plain;   // the same days without the clouds
  plain.teach(4);
  plain.play(0, 0, 14, nothing);
  r.play(0, 0, 14, [](double hour, MinuteIn& m) {
    if (hour < 11 || hour > 13) return;
    const double k = std::sin(hour * 60 * 2.1) > 0 ? 1.25 : 0.33;
    m.p.watts *= k;
    m.s.watts *= k;
  });
  CHECK(r.raised.empty());
  CHECK(std::abs(r.diagnosis().calibration(0).scale() / plain.diagnosis().calibration(0).scale() - 1) < 0.01);
}

TEST_CASE("a full bank explains a low output, and a load that brings full output proves clear glass") {
  BenchRig r;
  r.teach(3);
  const auto floating = [](double hour, MinuteIn& m) {
    m.soc = 1.0;
    m.bank_v = 13.5;
    if (hour < 9.5) return;
    m.p.stage = m.s.stage = Stage::floating;
    if (hour < 13) {
      m.p.watts = m.s.watts = 12;
      m.p.volts = m.s.volts = 46;
    } else {
      m.p.watts = m.s.watts = 0.93 * BenchRig::clear_w(hour);
    }
  };
  r.play(0, 0, 12.5, floating);
  CHECK(r.port().cause == Cause::curtailed);
  CHECK(r.raised.empty());
  r.play(0, 12.5, 13.2, floating);
  CHECK(r.port().cause == Cause::clear);
  CHECK(r.raised.empty());
}

TEST_CASE("float with a bank at 46 per cent is told as such by mid-morning") {
  BenchRig r;
  r.teach(3);
  r.play(0, 0, 11.5, [](double hour, MinuteIn& m) {
    m.soc = 0.46;
    m.bank_v = 13.2;
    if (hour < 8.66) return;
    m.s.stage = Stage::floating;
    m.s.watts = std::min(10.0, BenchRig::clear_w(hour));
    m.s.volts = 45;
  });
  CHECK(r.times_raised("controller-star") == 1);
  CHECK(r.texts["controller-star"].find("float while the bank is at 46 %") != std::string::npos);
  CHECK(r.times_raised("snow-star") == 0);
}

TEST_CASE("the current of one branch gone at the usual voltage for a day is a lost branch, told with the share that is left") {
  struct Row { int parallel; const char* words; };
  for (const Row row : {Row{2, "makes half of what it should"}, Row{3, "makes two thirds of what it should"}}) {
    CAPTURE(row.parallel);
    BenchRig r(row.parallel);
    const auto mild = [](double, MinuteIn& m) {
      m.air_c = 8;
      m.s.volts = *m.s.volts / 2;
    };
    for (int day = -3; day < 1; ++day) r.play(day, 0, 24, mild);
    for (int day = 1; day < 3; ++day)
      r.play(day, 0, 24, [&](double hour, MinuteIn& m) {
        mild(hour, m);
        m.s.watts *= 1 - 1.0 / row.parallel;
      });
    CHECK(r.times_raised("outage-star") == 1);
    CHECK(r.texts["outage-star"].find(row.words) != std::string::npos);
    CHECK(r.times_raised("soiling-star") == 0);
    CHECK(r.times_raised("snow-star") == 0);
  }
}

TEST_CASE("a branch lost at noon stays lost on the cool days after and does not turn into snow") {
  for (const double air_c : {2.0, 4.0}) {
    CAPTURE(air_c);
    BenchRig r(2);
    const auto cool = [&](double, MinuteIn& m) {
      m.s.volts = *m.s.volts / 2;
      m.air_c = air_c;
    };
    for (int day = -3; day < 1; ++day) r.play(day, 0, 24, cool);
    int outage = 0;
    for (int day = 1; day < 4; ++day)
      r.play(day, 0, 24, [&](double hour, MinuteIn& m) {
        cool(hour, m);
        if (day > 1 || hour > 12) m.s.watts *= 0.5;
        outage += !r.last.empty() && r.star().cause == Cause::outage;
      });
    CHECK(outage > 1000);
    CHECK(r.times_raised("snow-star") == 0);
    CHECK(r.times_raised("outage-star") == 1);
  }
}

TEST_CASE("a rig of one day is not said to have lost half a string") {
  BenchRig r(2);
  int outage = 0;
  r.play(0, 0, 17, [&](double, MinuteIn& m) {
    m.air_c = 8;
    m.s.volts = *m.s.volts / 2;
    m.s.watts *= 0.5;
    outage += !r.last.empty() && r.star().cause == Cause::outage;
  });
  CHECK(outage == 0);
}

TEST_CASE("no voltage in daylight is a string cut off, unless its owner said so") {
  for (const bool said : {false, true}) {
    CAPTURE(said);
    BenchRig r;
    r.teach(3);
    if (said) {
      Note n;
      n.event = NoteEvent::string_off;
      n.string = 1;
      r.diagnosis().on_note(n);
    }
    r.play(0, 2.2, 12, [&](double, MinuteIn& m) {
      m.s.watts = 0;
      m.s.volts = 0.0;
      m.s.stage = Stage::off;
      m.cell_c = -2;
    });
    CHECK(r.times_raised("outage-star") == (said ? 0 : 1));
    CHECK(r.times_raised("snow-star") == 0);
    if (!said) {
      CHECK(r.texts["outage-star"].find("dead since") != std::string::npos);
      continue;
    }
    r.play(0, 12, 14, [&](double, MinuteIn& m) {
      m.s.watts = 0;
      m.s.volts = 0.0;
      m.cell_c = 3.5;
    });
    CHECK(r.times_raised("outage-star") == 1);
    CHECK(r.texts["outage-star"].find("switched on again") != std::string::npos);
  }
}

TEST_CASE("a dead string that has voltage again at dawn is not called dead with its volts beside it") {
  BenchRig r;
  r.teach(3);
  r.play(0, 2.2, 24, [&](double, MinuteIn& m) {
    m.s.watts = 0;
    m.s.volts = 0.0;
    m.s.stage = Stage::off;
  });
  REQUIRE(r.standing("outage-star"));
  CHECK(r.texts["outage-star"].find("dead since") != std::string::npos);
  r.play(1, 0, 8.4, [](double, MinuteIn&) {});
  CHECK(r.standing("outage-star"));
  CHECK(r.texts["outage-star"].find("has voltage again, ") != std::string::npos);
  r.play(1, 8.4, 11, [](double, MinuteIn&) {});
  CHECK_FALSE(r.standing("outage-star"));
  CHECK(r.over_texts["outage-star"] == "Star string is back.");
}

TEST_CASE("full voltage without current and a willing bank is the controller") {
  BenchRig r;
  r.teach(3);
  r.play(0, 0, 12.5, [](double hour, MinuteIn& m) {
    m.soc = 0.5;
    m.cell_c = 12;
    if (hour < 11.9) return;
    m.s.watts = 2;
    m.s.volts = 46;
  });
  CHECK(r.standing("controller-star"));
  CHECK(r.times_raised("snow-star") == 0);
  CHECK(r.times_raised("outage-star") == 0);
}

TEST_CASE("an over-voltage stop on a cold morning has its own name and ends by itself") {
  BenchRig r(1, 50.0);
  r.teach(3);
  r.play(0, 0, 11, [](double hour, MinuteIn& m) {
    m.air_c = -27;
    m.p.watts *= 1.077;   // 22 K colder cells
    m.s.watts *= 1.077;
    if (hour > 8.2 && hour < 9.66) {
      m.p.watts = m.s.watts = 0;
      m.p.volts = m.s.volts = 50.9;
      m.p.stage = m.s.stage = Stage::off;
      m.error = 33;
    }
  });
  CHECK(r.times_raised("over_voltage-star") == 1);
  CHECK_FALSE(r.standing("over_voltage-star"));
  CHECK(r.times_raised("snow-star") == 0);
  CHECK(r.times_raised("outage-star") == 0);
  // the evening before another such night
  r.snow_forecast(0, 70, 71, 0);
  for (auto& row : r.forecast.rows) row.air_c = -29;
  r.play(0, 18, 19, [](double, MinuteIn& m) { m.air_c = -20; });
  CHECK(r.standing("over_voltage-star"));
}

TEST_CASE("a bank that has switched itself off is no fault of the strings") {
  BenchRig r;
  r.teach(3);
  r.play(0, 0, 13, [](double hour, MinuteIn& m) {
    if (hour < 11) return;
    m.bank_v = 0.7;
    m.p.watts = m.s.watts = 0;
    m.p.volts = m.s.volts = 46;
  });
  CHECK(r.raised.empty());
}

TEST_CASE("a silent string is told, and nothing else about it") {
  BenchRig r;
  r.teach(3);
  r.play(0, 0, 12, [](double hour, MinuteIn& m) { m.s.live = hour < 10; });
  CHECK(r.standing("stale-star"));
  CHECK(r.star().cause == Cause::stale);
  CHECK(r.times_raised("snow-star") == 0);
  CHECK(r.times_raised("outage-star") == 0);
}

TEST_CASE("a restart in the middle of a snowy day changes nothing that is said") {
  BenchRig r;
  r.teach(3);
  r.snow_forecast(0, 3, 6, 4);
  const auto snowy = [](double hour, MinuteIn& m) {
    m.p.watts = m.s.watts = BenchRig::through(covered, hour);
    m.p.volts = m.s.volts = 34.0;
  };
  r.play(0, 0, 12, snowy);
  const std::string kept = r.diagnosis().snapshot();
  diagnosis::Diagnosis other(r.rig(), r.words());
  other.restore(kept);
  bool stands = false;
  for (const Fact& f : other.facts(r.now)) stands |= f.alarm == "snow" && f.subject == "port" && f.condition;
  CHECK(stands);
  CHECK(std::abs(other.calibration(0).scale() - r.diagnosis().calibration(0).scale()) < 1e-6);
  for (const char* foreign : {"", "{}", "[1,2", "{\"version\":1,\"sky\":7,\"strings\":[{\"name\":\"port\",\"given\":3}]}", "\xff"}) {
    diagnosis::Diagnosis fresh(r.rig(), r.words());
    fresh.restore(foreign);
    CHECK(fresh.learned().size() == 2);
  }
}

TEST_CASE("evenly thin snow under a cloud that breaks up is told within the hour where snow was forecast, and a bare roof is not") {
  for (const bool snow : {true, false}) {
    CAPTURE(snow);
    BenchRig r;
    r.teach(3);
    r.snow_forecast(0, 0, 6, 2.5, 0.6);
    const double pass = snow ? 0.40 : 1.0;
    r.play(0, 0, 11, [&](double hour, MinuteIn& m) {
      // a quarter of the light until half past nine, then gaps of some minutes between clouds
      const int minute = static_cast<int>(hour * 60) % 9;
      const double light = hour < 9.5 ? 0.25 : minute < 4 ? 1.02 : minute == 4 || minute == 8 ? 0.65 : 0.38;
      m.p.watts = pass * light * BenchRig::clear_w(hour);
      m.s.watts = 1.1 * pass * light * BenchRig::clear_w(hour);
      m.p.volts = m.s.volts = BenchRig::working_v(m.p.watts);
      m.air_c = -8;
    });
    CHECK(r.times_raised("snow-port") == (snow ? 1 : 0));
    CHECK(r.times_raised("snow-star") == (snow ? 1 : 0));
    CHECK(r.times_raised("outage-port") == 0);
    CHECK(r.sum_exact);
  }
}

TEST_CASE("the minute after a cloud's shadow is still the cloud's, the next one is clear") {
  BenchRig r;
  r.teach(3);
  constexpr int from = 11 * 60;
  const auto in_shadow = [](int minute) { return minute == from || minute == from + 1; };
  std::map<int, Cause> causes;   // by minute of the day
  int last = -1;
  r.play(0, 0, 12, [&](double hour, MinuteIn& m) {
    const int minute = static_cast<int>(std::lround(hour * 60));
    if (last >= 0 && !r.last.empty()) causes[last] = r.port().cause;
    last = minute;
    m.p.watts = m.s.watts = (in_shadow(minute) ? 0.4 : 1.0) * BenchRig::clear_w(hour);
  });
  CHECK(causes.at(from - 1) == Cause::clear);
  CHECK(causes.at(from) == Cause::cloud);
  CHECK(causes.at(from + 1) == Cause::cloud);
  CHECK(causes.at(from + 2) == Cause::cloud);
  CHECK(causes.at(from + 3) == Cause::clear);
}

TEST_CASE("what takes nine tenths of the power within a minute of a bright day is no snow") {
  for (const double air_c : {-6.0, 1.0}) {
    CAPTURE(air_c);
    BenchRig r;
    r.teach(3);
    r.play(0, 0, 13, [&](double hour, MinuteIn& m) {
      m.air_c = air_c;
      m.p.watts = m.s.watts = (hour < 11 ? 1.0 : 0.07) * BenchRig::clear_w(hour);
    });
    CHECK(r.times_raised("snow-port") == 0);
    CHECK(r.times_raised("snow-star") == 0);
  }
}

TEST_CASE("a shadow that crosses one string after the other is not told as snow within the hour of full power, when none is forecast") {
  for (const int days_known : {0, 1})
    for (const double left : {0.05, 0.2, 0.5})
      for (const double lag_h : {0.07, 0.3}) {
        CAPTURE(days_known);
        CAPTURE(left);
        CAPTURE(lag_h);
        BenchRig r;
        if (days_known) r.teach(days_known);
        r.snow_forecast(0, 70, 71, 0, 0.0);   // bright, no snow
        const auto through = [&](double hour, double edge) { return hour < edge ? 1.0 : std::max(left, 1 - (hour - edge) * 12); };
        r.play(0, 0, 9.95, [&](double hour, MinuteIn& m) {
          m.p.watts = through(hour, 9) * BenchRig::clear_w(hour);
          m.s.watts = through(hour, 9 + lag_h) * BenchRig::clear_w(hour);
        });
        CHECK(r.times_raised("snow-port") == 0);
        CHECK(r.times_raised("snow-star") == 0);
      }
}

namespace {
enum class SensorAt { none, past_it, behind_it };
}

TEST_CASE("a ridge known for three mornings is no snow after a snowfall, whether a light sensor stands in its shadow or past it") {
  constexpr double left = 0.3;   // the light of the rest of the sky
  struct Row { SensorAt sensor; double reads; };
  for (const auto& [sensor, reads] : {Row{SensorAt::none, 1}, Row{SensorAt::past_it, 0.9}, Row{SensorAt::behind_it, 0.9}}) {
    CAPTURE(static_cast<int>(sensor));
    CAPTURE(reads);
    BenchRig r;
    std::size_t before = 0;
    for (int day = -3; day < 2; ++day) {
      r.snow_forecast(-1, 18, 22, day < 0 ? 0 : 0.3);
      if (day == 0) before = r.raised.size();
      r.play(day, 7, 11.5, [&](double hour, MinuteIn& m) {
        const double ridge = hour < 9.6 ? left : std::min(1.0, left + (hour - 9.6) * 12);
        m.p.watts = m.s.watts = ridge * BenchRig::clear_w(hour);
        if (sensor != SensorAt::none) m.light_share = reads * (sensor == SensorAt::past_it ? 1 : ridge);
      });
    }
    CHECK(r.raised.size() == before);
  }
}

TEST_CASE("a light sensor that shows too little, or stands still, makes no cloud of a clear day") {
  for (const double shows : {0.02, 0.4}) {
    CAPTURE(shows);
    BenchRig r;
    r.teach(1);
    r.play(0, 7, 12, [&](double, MinuteIn& m) { m.light_share = shows; });
    CHECK(r.port().cause == Cause::clear);
    CHECK(r.star().cause == Cause::clear);
    CHECK(r.raised.empty());
  }
}

TEST_CASE("thin snow all over a new rig, under moving cloud, is cloud to whoever has no light sensor, and not with one") {
  for (const bool sensor : {false, true}) {
    CAPTURE(sensor);
    BenchRig r;
    r.play(0, 6, 13, [&](double hour, MinuteIn& m) {
      const double sky = 0.75 + 0.12 * std::sin(hour * 11) + 0.08 * std::sin(hour * 37);
      m.p.watts = 0.40 * sky * BenchRig::clear_w(hour);
      m.s.watts = 0.45 * sky * BenchRig::clear_w(hour);
      if (sensor) m.light_share = sky;
    });
    CHECK((r.port().cause == Cause::cloud) != sensor);
    CHECK((r.star().cause == Cause::cloud) != sensor);
  }
}

TEST_CASE("a light sensor under the same snow hides no snow, and what is believed of it outlives a restart") {
  struct Row { double sensor_passes, glass_passes; };
  for (const auto& [sensor_passes, glass_passes] : {Row{0.03, 0.03}, Row{0.06, 0.1}, Row{0.15, 0.1}, Row{0.4, 0.3}}) {
    CAPTURE(sensor_passes);
    CAPTURE(glass_passes);
    BenchRig r;
    r.teach(1);
    r.snow_forecast(0, 2, 6, glass_passes < 0.05 ? 12 : 4);
    const auto covered = [&](double hour, MinuteIn& m) {
      m.p.watts = glass_passes * BenchRig::clear_w(hour);
      m.s.watts = 1.2 * glass_passes * BenchRig::clear_w(hour);
      m.light_share = sensor_passes;
    };
    r.play(0, 6, 12, covered);
    CHECK(r.times_raised("snow-port") == 1);
    CHECK(r.times_raised("snow-star") == 1);
    BenchRig again;
    again.forecast = r.forecast;
    again.diagnosis().restore(r.diagnosis().snapshot());
    again.play(0, 12, 12.5, covered);
    CHECK(again.port().cause == Cause::snow);
  }
}
