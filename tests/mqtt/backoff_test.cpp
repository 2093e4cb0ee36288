#include "mqtt/backoff.h"

#include <doctest/doctest.h>

using namespace fw;
using mqtt::Backoff;

TEST_CASE("a broker that stays away is asked less and less often, at most every 15 s, with jitter") {
  Backoff b;
  Span before{0};
  for (int i = 0; i < 20; ++i) {
    b.failed();
    CHECK(b.pause(0.0) >= before);
    CHECK(b.pause(0.999) > b.pause(0.0));
    before = b.pause(0.0);
  }
  CHECK(b.pause(0.999) <= 15s);
  CHECK(b.pause(0.0) >= 7s);
  CHECK_FALSE(b.contested());
}

TEST_CASE("after a long connection the first try comes within a third of a second") {
  Backoff b;
  for (int i = 0; i < 10; ++i) b.failed();
  b.lost(10min, true, false);
  CHECK(b.pause(0.999) <= 300ms);
}

TEST_CASE("four short connections in a row mean another client with our id, and the pause grows past 30 s") {
  Backoff b;
  for (int i = 0; i < 3; ++i) b.lost(1s, true, false);
  CHECK_FALSE(b.contested());
  b.lost(1s, true, false);
  CHECK(b.contested());
  for (int i = 0; i < 6; ++i) b.lost(40s, true, false);
  CHECK(b.contested());
  CHECK(b.pause(0.0) >= 30s);
  b.holding(2min);
  CHECK_FALSE(b.contested());
}

TEST_CASE("a broker that restarts again and again is not taken for another client") {
  Backoff b;
  for (int i = 0; i < 10; ++i) {
    b.lost(5s, true, false);
    b.failed();  // it was away in between
  }
  CHECK_FALSE(b.contested());
}

TEST_CASE("an MQTT 5 broker's word is enough") {
  Backoff b;
  b.lost(10min, false, true);
  CHECK(b.contested());
}

TEST_CASE("a silent link is not a sign of another client") {
  Backoff b;
  for (int i = 0; i < 10; ++i) b.lost(20s, false, false);
  CHECK_FALSE(b.contested());
}
