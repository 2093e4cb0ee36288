#include <doctest/doctest.h>

#include <cmath>

#include "diagnosis/diagnosis.h"
#include "units/text.h"

using namespace fw;

namespace {

rig::Rig hut() {
  rig::Rig r;
  r.name = "hut";
  r.site.latitude_deg = 45;
  r.site.longitude_deg = -93;
  r.site.altitude_m = 260;
  r.site.timezone = "America/Chicago";
  r.strings.resize(1);
  r.strings[0].name = "roof";
  r.strings[0].module.stc_w = 200;
  r.strings[0].series = 2;
  return r;
}

/// Noon of a clear January day, the string at `power_w`.
RigMinute noon(const rig::Rig& r, int minute, double power_w) {
  RigMinute m;
  m.start = *utc_in("2026-01-15T18:00:00Z") + minutes{minute};
  m.at = elapsed_ms(ms_of(m.start)) + 1min;
  m.latitude_deg = r.site.latitude_deg;
  m.longitude_deg = r.site.longitude_deg;
  m.air_c = -5;
  m.strings.resize(1);
  m.strings[0].power_w = power_w;
  m.strings[0].samples = 6;
  m.strings[0].live = true;
  return m;
}

}  // namespace

TEST_CASE("on the move a string is held against a flat plane, with wide tolerance, and the account still adds up") {
  const auto r = hut();
  const Words words = Words::in_zone("America/Chicago", false).value();
  diagnosis::Diagnosis d(r, words);
  for (const double power : {140.0, 95.0, 20.0}) {
    auto m = noon(r, static_cast<int>(power), power);
    m.speed_ms = 22;
    m.latitude_deg = 46;
    const Verdict v = d.on_minute(m)[0];
    CAPTURE(power);
    CHECK(v.reason == "on the move");
    CHECK(v.cause == (power > 90 ? Cause::clear : Cause::unsure));
    CHECK(std::fabs(v.split.sum() - v.clear_sky_w) < 1e-6);
  }
}

TEST_CASE("a raised jack changes what is expected, once it has held") {
  const auto r = hut();
  const Words words = Words::in_zone("America/Chicago", false).value();
  diagnosis::Diagnosis level(r, words), raised(r, words);
  double flat_w = 0, up_w = 0;
  for (int i = 0; i < 10; ++i) {
    auto m = noon(r, i, 140);
    m.heading_deg = 0;
    m.pitch_deg = 0;
    flat_w = level.on_minute(m)[0].clear_sky_w;
    m.pitch_deg = 6;  // nose up, to the north: the roof leans to the noon sun
    up_w = raised.on_minute(m)[0].clear_sky_w;
  }
  // Sun 24 degrees high: the beam on the plane grows by sin(30)/sin(24), the glass lets 3 % more of it in, the diffuse hardly changes.
  CHECK(up_w > 1.12 * flat_w);
  CHECK(up_w < 1.28 * flat_w);
}
