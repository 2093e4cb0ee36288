#include <doctest/doctest.h>

#include <cmath>

#include "roof/attitude.h"
#include "sky/plane.h"

using namespace fw;

TEST_CASE("a plane taken to the rig and back into the world is the same plane") {
  for (double heading : {0.0, 75.0, 200.0, 359.0})
    for (double pitch : {-6.0, 0.0, 4.0})
      for (double roll : {-3.0, 0.0, 5.0})
        for (const sky::Plane& world : {sky::Plane{0, 180}, sky::Plane{2, 205}, sky::Plane{12, 10}, sky::Plane{78, 187}}) {
          const roof::Attitude a{heading, pitch, roll};
          const auto back = roof::plane_on_rig(roof::mounted_on_rig(world, a), a);
          CAPTURE(heading);
          CAPTURE(pitch);
          CAPTURE(roll);
          CAPTURE(world.tilt_deg);
          const double apart = std::acos(std::fmin(1.0, sky::cos_incidence(sky::normal(back), sky::normal(world)))) * 57.29578;
          CHECK(apart < 1e-4);
        }
}

TEST_CASE("turning a rig by 90 degrees turns what is mounted on it") {
  const auto mounted = roof::mounted_on_rig({10, 180}, {0, 0, 0});
  const auto turned = roof::plane_on_rig(mounted, {90, 0, 0});
  CHECK(std::fabs(turned.tilt_deg - 10) < 1e-9);
  CHECK(std::fabs(turned.azimuth_deg - 270) < 1e-9);
}
