// A flat string of 400 W at other places and seasons: what is too little light to judge, what a high snowy site and a
// controller's limit look like, and that a good day of a dark month reads as one. Numbers are made for the tests.
#include <doctest/doctest.h>

#include <cmath>
#include <functional>
#include <set>

#include "diagnosis/diagnosis.h"
#include "units/text.h"

using namespace fw;

namespace {

/// Watts at whole hours of solar-noon-centred local time, straight lines between.
struct Table {
  int first_hour;
  std::vector<double> watts;
  double at(double hour) const {
    const double x = hour - first_hour;
    if (x <= -1 || x >= static_cast<double>(watts.size())) return 0;
    const int i = static_cast<int>(std::floor(x));
    const auto w = [&](int k) { return k < 0 || k >= static_cast<int>(watts.size()) ? 0.0 : watts[static_cast<std::size_t>(k)]; };
    return w(i) + (x - i) * (w(i + 1) - w(i));
  }
};

class Place {
 public:
  Place(double lat, double lon, double altitude_m, const char* first_midnight_utc, const char* zone, double max_w = 800)
      : words_(Words::in_zone(zone, false).value()), midnight_(*utc_in(first_midnight_utc)) {
    rig_.name = "place";
    rig_.site.latitude_deg = lat;
    rig_.site.longitude_deg = lon;
    rig_.site.altitude_m = altitude_m;
    rig_.site.timezone = zone;
    rig::PvString s;
    s.name = "roof";
    s.module.stc_w = 200;
    s.module.v_oc_v = 22.6;
    s.module.v_mp_v = 18.7;
    s.series = 2;
    s.tilt_deg = 0;
    s.controller.max_power_w = max_w;
    rig_.strings.push_back(s);
    diagnosis_.emplace(rig_, words_);
  }
  /// One day, minute by minute; `watts` by the hour since the day's midnight.
  void play(int day, const std::function<double(double hour)>& watts, double from = 0, double to = 24) {
    for (int minute = static_cast<int>(from * 60); minute < static_cast<int>(to * 60); ++minute) {
      const double hour = minute / 60.0;
      RigMinute m;
      m.start = midnight_ + days{day} + minutes{minute};
      m.at = elapsed_ms(ms_of(m.start)) + 1min;
      m.latitude_deg = rig_.site.latitude_deg;
      m.longitude_deg = rig_.site.longitude_deg;
      m.air_c = -5;
      m.soc = 0.55;
      m.bank_voltage_v = 13.2;
      m.cell_min_c = m.cell_max_c = 10;
      m.permit = m.permit_known = true;
      StringMinute s;
      noise_ = noise_ * 1103515245u + 12345u;
      const double w = watts(hour);
      const bool at_limit = w >= rig_.strings[0].controller.max_power_w;
      s.power_w = at_limit ? w : std::round(w * (1 + 0.004 * ((noise_ >> 16) / 32768.0 - 1)) * 10) / 10;
      s.voltage_v = w > 1 ? 40 + 0.8 * std::log(w / 100) + (at_limit ? 1.0 : 0.0) : 20.0;
      s.stage = Stage::bulk;
      s.samples = 6;
      s.live = true;
      m.strings.push_back(s);
      last = diagnosis_->on_minute(m)[0];
      causes.insert(last.cause);
      finite = finite && std::isfinite(last.confidence) && std::isfinite(last.expected_w) && std::isfinite(last.clear_sky_w) &&
               std::isfinite(last.split.sum()) && (!last.performance_index || std::isfinite(*last.performance_index));
      for (const Fact& f : diagnosis_->facts({m.at, m.start, true}))
        if (f.condition && f.confidence >= 0.5) raised.insert(f.alarm);
    }
  }
  Verdict last;
  std::set<Cause> causes;
  std::set<std::string> raised;
  bool finite = true;

 private:
  rig::Rig rig_;
  Words words_;
  Utc midnight_;
  std::optional<diagnosis::Diagnosis> diagnosis_;
  unsigned noise_ = 1;
};

}  // namespace

TEST_CASE("where the sun never rises above seven degrees nothing is judged all day, and nothing divides by nought") {
  const Table reported{10, {0, 4, 21, 11, 9}};
  Place p(60, 0, 50, "2025-12-21T00:00:00Z", "Etc/GMT");
  p.play(0, [&](double hour) { return reported.at(hour); });
  CHECK(p.raised.empty());
  CHECK(p.finite);
  for (const Cause c : {Cause::snow, Cause::soiling, Cause::outage, Cause::shade, Cause::cloud, Cause::curtailed}) {
    CAPTURE(std::string(name(c)));
    CHECK_FALSE(p.causes.contains(c));
  }
}

TEST_CASE("a midday of February at sixty degrees is light enough for a verdict") {
  const Table clear{8, {5, 34, 66, 88, 94, 86, 62, 30, 4}};
  Place p(60, 0, 50, "2026-02-13T00:00:00Z", "Etc/GMT");
  for (int day = 0; day < 3; ++day) p.play(day, [&](double hour) { return clear.at(hour); });
  p.play(3, [](double hour) { return hour > 9 && hour < 15 ? 5.0 : 0.0; }, 0, 12.2);
  CHECK(p.last.cause != Cause::dark);
  CHECK(p.last.cause != Cause::clear);
  CHECK(p.last.sun_elevation_deg > 15);
}

TEST_CASE("a high snowy site that makes eight per cent more than the sky should give is no fault") {
  const Table clear{8, {22, 82, 150, 198, 218, 212, 180, 128, 62, 12}};
  Place p(39.5, -105, 2700, "2026-01-12T07:00:00Z", "Etc/GMT+7");
  for (int day = 0; day < 4; ++day) p.play(day, [&](double hour) { return clear.at(hour) * (day == 3 && hour >= 11 && hour < 13 ? 1.08 : 1.0); }, 0, day == 3 ? 13.0 : 24);
  CHECK(p.raised.empty());
  CHECK(p.last.cause == Cause::clear);
}

TEST_CASE("a flat top at the controller's limit is the controller's limit, not film") {
  const Table clear{8, {22, 82, 150, 198, 218, 212, 180, 128, 62, 12}};
  Place p(39.5, -105, 2700, "2026-01-12T07:00:00Z", "Etc/GMT+7", 200);
  for (int day = 0; day < 4; ++day) p.play(day, [&](double hour) { return std::min(200.0, 1.05 * clear.at(hour)); }, 0, day == 3 ? 12.4 : 24);
  CHECK(p.last.cause == Cause::clear);
  CHECK(p.last.reason == "controller at its limit");
  CHECK_FALSE(p.causes.contains(Cause::soiling));
  CHECK(p.raised.empty());
}

TEST_CASE("a good day at the end of November reads as one") {
  const Table clear{9, {25, 57, 79, 83, 72, 42, 11}};
  const Table reported{9, {24, 55, 76, 80, 69, 40, 11}};
  Place p(52, 0, 20, "2025-11-25T00:00:00Z", "Etc/GMT");
  for (int day = 0; day < 3; ++day) p.play(day, [&](double hour) { return clear.at(hour); });
  p.play(3, [&](double hour) { return reported.at(hour); }, 0, 12.5);
  CHECK(p.raised.empty());
  CHECK(p.last.cause == Cause::clear);
  REQUIRE(p.last.performance_index);
  CHECK(*p.last.performance_index > 0.93);
  CHECK(*p.last.performance_index < 1.04);
  p.play(3, [&](double hour) { return reported.at(hour); }, 12.5, 24);
  CHECK(p.raised.empty());
}

TEST_CASE("noon of a winter's day stands at one sun however its time is written") {
  const Utc a = *utc_in("2026-01-15T12:00:00-06:00"), b = *utc_in("2026-01-15T18:00:00Z");
  REQUIRE(a == b);
  Place p(45, -93, 260, "2026-01-15T06:00:00Z", "Etc/GMT+6");
  p.play(0, [](double) { return 100.0; }, 0, 12 + 1.0 / 60);
  CHECK(std::abs(p.last.sun_elevation_deg - 23.8) < 0.2);
}

TEST_CASE("the zone in which times are shown changes no verdict") {
  const Table clear{8, {22, 82, 150, 198, 218, 212, 180, 128, 62, 12}};
  Place a(39.5, -105, 2700, "2026-01-12T07:00:00Z", "Etc/GMT+7"), b(39.5, -105, 2700, "2026-01-12T07:00:00Z", "Pacific/Kiritimati");
  for (int hour = 0; hour < 48; hour += 1) {
    const auto half_at_noon = [&](double h) { return clear.at(h) * (hour >= 24 && h > 11 ? 0.4 : 1.0); };
    a.play(hour / 24, half_at_noon, hour % 24, hour % 24 + 1);
    b.play(hour / 24, half_at_noon, hour % 24, hour % 24 + 1);
    CHECK(a.last.cause == b.last.cause);
    CHECK(a.last.confidence == b.last.confidence);
    CHECK(a.last.expected_w == b.last.expected_w);
  }
}
