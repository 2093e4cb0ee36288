#include "units/text.h"

#include <doctest/doctest.h>

#include <limits>

#include "units/channel.h"

using namespace fw;

TEST_CASE("fixed decimals never say minus zero and never say nan") {
  CHECK(fixed(-0.004, 2) == "0.00");
  CHECK(fixed(-0.006, 2) == "-0.01");
  CHECK(fixed(1234.5, 0) == "1234");
  CHECK(fixed(std::numeric_limits<double>::quiet_NaN(), 2).empty());
  CHECK(fixed(std::optional<double>{}, 2).empty());
}

TEST_CASE("significant digits in plain notation") {
  struct Row { double value; int digits; const char* text; };
  for (const Row& r : {Row{0.3049, 2, "0.30"}, Row{3.149, 2, "3.1"}, Row{31.49, 2, "31"}, Row{314.9, 2, "310"}, Row{9.96, 2, "10"},
                       Row{0.0996, 2, "0.10"}, Row{0, 2, "0"}, Row{-2.55, 1, "-3"}, Row{0.05, 1, "0.05"}}) {
    CAPTURE(r.value);
    CHECK(significant(r.value, r.digits) == r.text);
  }
}

TEST_CASE("a number is a whole text, or it is none") {
  CHECK(*number_in(" -12.5 ") == -12.5);
  CHECK(*number_in("+1e3") == 1000);
  for (const char* bad : {"", " ", "nan", "inf", "1e999", "12x", "0x10", "1,5", "+-1", "--1"}) {
    CAPTURE(bad);
    CHECK(!number_in(bad));
  }
}

TEST_CASE("instants go to ISO 8601 and back") {
  for (std::int64_t ms : {0LL, 1768230245000LL, 1768230245123LL, -1LL, -86400000LL, 4102444800000LL}) {
    CAPTURE(ms);
    CHECK(*utc_in(iso_utc(utc_ms(ms))) == utc_ms(ms));
  }
  CHECK(iso_utc(utc_ms(1768230245000)) == "2026-01-12T15:04:05Z");
  CHECK(*utc_in("2026-01-12T09:04:05-06:00") == utc_ms(1768230245000));
  CHECK(*utc_in("2026-01-12 20:34:05.5+0530") == utc_ms(1768230245500));
  for (const char* bad : {"2026-01-12T15:04:05", "2026-13-12T15:04:05Z", "2026-02-30T00:00Z", "2026-01-12T24:00Z", "now", "",
                          "2026-01-12T15:04:05Zx", "2026-01-12T15:04:05.Z"}) {
    CAPTURE(bad);
    CHECK(!utc_in(bad));
  }
}

TEST_CASE("only well-formed UTF-8 passes") {
  CHECK(is_utf8("plain °C 雪"));
  for (const char* bad : {"\xC0\x80", "\xED\xA0\x80", "\xF5\x80\x80\x80", "\xE2\x82", "\x80"}) CHECK(!is_utf8(bad));
  CHECK(printable("a\x01\xFF" "b") == "a??b");
  CHECK(printable("ab°", 3) == "ab...");
}

TEST_CASE("intervals are aligned before and after 1970") {
  CHECK(floor_to(utc_ms(61'000), 1min) == utc_ms(60'000));
  CHECK(floor_to(utc_ms(-1), 1min) == utc_ms(-60'000));
  CHECK(floor_to(utc_ms(-60'000), 1min) == utc_ms(-60'000));
}

TEST_CASE("every stage has a name that reads back") {
  for (int i = 0; i <= static_cast<int>(Stage::inhibited); ++i) CHECK(*stage_in(name(static_cast<Stage>(i))) == static_cast<Stage>(i));
  CHECK(!stage_in("Bulk"));
}
