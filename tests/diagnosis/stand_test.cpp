#include "diagnosis/stand.h"

#include <doctest/doctest.h>

#include <cmath>

using namespace fw;
using diagnosis::Stand;

namespace {

rig::Rig two_strings() {
  rig::Rig r;
  r.site.latitude_deg = 45;
  r.site.longitude_deg = -93;
  r.strings.resize(2);
  r.strings[0].tilt_deg = 0;
  r.strings[1].tilt_deg = 10;
  r.strings[1].azimuth_deg = 180;
  return r;
}

RigMinute minute(const rig::Rig& r) {
  RigMinute m;
  m.latitude_deg = r.site.latitude_deg;
  m.longitude_deg = r.site.longitude_deg;
  return m;
}

}  // namespace

TEST_CASE("without live attitude the planes stay as described") {
  const auto r = two_strings();
  Stand stand(r);
  for (int i = 0; i < 20; ++i) CHECK(!stand.follow(minute(r)).attitude);
  CHECK(std::fabs(stand.planes()[1].tilt_deg - 10) < 1e-9);
  CHECK(std::fabs(stand.planes()[1].azimuth_deg - 180) < 1e-9);
}

TEST_CASE("a raised jack counts after it has held five minutes, once") {
  const auto r = two_strings();
  Stand stand(r);
  int changes = 0;
  for (int i = 0; i < 30; ++i) {
    auto m = minute(r);
    m.pitch_deg = i < 10 ? 0.1 : 4.0 + 0.1 * (i % 2);
    if (stand.follow(m).attitude) {
      ++changes;
      CHECK(i == 14);
    }
  }
  CHECK(changes == 1);
  // Nose up, heading north: what faced the sky now leans back, to the south.
  CHECK(std::fabs(stand.planes()[0].tilt_deg - 4) < 0.2);
  CHECK(std::fabs(stand.planes()[0].azimuth_deg - 180) < 1);
  CHECK(std::fabs(stand.planes()[1].tilt_deg - 14) < 0.2);
}

TEST_CASE("heading wraps at north; a passing jolt is nothing; on the move nothing is decided") {
  const auto r = two_strings();
  Stand stand(r);
  for (int i = 0; i < 20; ++i) {
    auto m = minute(r);
    m.heading_deg = 358;
    CHECK(!stand.follow(m).attitude);
  }
  for (int i = 0; i < 20; ++i) {
    auto m = minute(r);
    m.roll_deg = i % 4 == 0 ? 5.0 : 0.0;
    CHECK(!stand.follow(m).attitude);
  }
  for (int i = 0; i < 20; ++i) {
    auto m = minute(r);
    m.heading_deg = 90;
    m.speed_ms = 15;
    CHECK(!stand.follow(m).attitude);
    CHECK(stand.moving());
  }
}

TEST_CASE("another place counts beyond a kilometre, also across the date line") {
  auto r = two_strings();
  r.site.longitude_deg = 179.999;
  Stand stand(r);
  bool moved = false;
  for (int i = 0; i < 10; ++i) {
    auto m = minute(r);
    m.longitude_deg = -179.999;  // 157 m away
    moved = moved || stand.follow(m).place;
  }
  CHECK(!moved);
  for (int i = 0; i < 10; ++i) {
    auto m = minute(r);
    m.latitude_deg = 45.2;
    moved = moved || stand.follow(m).place;
  }
  CHECK(moved);
  CHECK(stand.latitude_deg() == 45.2);
}
