#include "rig/checks.h"

#include <doctest/doctest.h>

#include <limits>

using namespace fw;

TEST_CASE("names, topics, filters and pointers are told from what only looks like them") {
  struct Row { const char* text; bool name, topic, filter, pointer; };
  for (const Row& r : {Row{"fore", true, true, true, false}, Row{"", false, false, false, true}, Row{"a/b", false, true, true, false},
                       Row{"a/+/b", false, false, true, false}, Row{"a/#", false, false, true, false}, Row{"a#", false, false, false, false},
                       Row{"a/#/b", false, false, false, false}, Row{"+", false, false, true, false}, Row{"a+/b", false, false, false, false},
                       Row{"/a/0", false, true, true, true}, Row{"/a~1b", false, true, true, true}, Row{"/a~2", false, true, true, false},
                       Row{"/a~", false, true, true, false}, Row{"Fore", false, true, true, false}, Row{"a\nb", false, false, false, false}}) {
    CAPTURE(r.text);
    CHECK(rig::is_name(r.text) == r.name);
    CHECK(rig::is_topic(r.text) == r.topic);
    CHECK(rig::is_topic_filter(r.text) == r.filter);
    CHECK(rig::is_pointer(r.text) == r.pointer);
  }
}

TEST_CASE("no sentinel of common senders lies inside what can be") {
  CHECK_FALSE(rig::physical_range(Quantity::cell_temperature).holds(-127));
  CHECK_FALSE(rig::physical_range(Quantity::air_temperature).holds(-999));
  CHECK_FALSE(rig::physical_range(Quantity::bank_voltage).holds(65535));
  CHECK_FALSE(rig::physical_range(Quantity::string_current).holds(-32768));
  CHECK_FALSE(rig::physical_range(Quantity::soc).holds(255));
  CHECK_FALSE(rig::physical_range(Quantity::soc).holds(std::numeric_limits<double>::quiet_NaN()));
  CHECK(rig::physical_range(Quantity::cell_temperature).holds(85));  // judged by its context, later
}

TEST_CASE("a string's range follows from what its modules can give") {
  rig::Rig r;
  r.strings.resize(1);
  r.strings[0].module = {200, 24, 20, -0.0035, -0.0028};
  r.strings[0].series = 2;
  const Channel power{Quantity::string_power, 0}, volts{Quantity::string_voltage, 0}, amps{Quantity::string_current, 0};
  CHECK(rig::physical_range(r, power).holds(400 * 1.6));
  CHECK_FALSE(rig::physical_range(r, power).holds(1600));
  CHECK(rig::physical_range(r, volts).holds(60));
  CHECK_FALSE(rig::physical_range(r, volts).holds(120));
  CHECK(rig::physical_range(r, amps).holds(15));
  CHECK_FALSE(rig::physical_range(r, amps).holds(40));
}
