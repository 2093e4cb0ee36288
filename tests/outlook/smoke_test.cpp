#include <doctest/doctest.h>
#include "outlook/outlook.h"
TEST_CASE("a fresh outlook says nothing") {
  fw::rig::Rig rig;
  auto words = fw::Words::in_zone("UTC", false);
  REQUIRE(words);
  fw::outlook::Outlook o(rig, *words);
  CHECK(o.clearing_sentence({}).empty());
  CHECK_FALSE(o.hours_left());
}
