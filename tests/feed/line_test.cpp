#include "feed/line.h"

#include <doctest/doctest.h>

#include "units/text.h"

using namespace fw;

namespace {
std::string at(const Message& m) { return iso_utc(utc_ms(ms_of(m.at))); }
}  // namespace

TEST_CASE("a line becomes a message, its payload as it was written") {
  const auto m = feed::line_in(R"({"t":"2026-01-12T15:04:05Z","topic":"roof/front","payload":{"w":61.20, "v":37.9},"retain":false})");
  REQUIRE(m);
  CHECK(at(*m) == "2026-01-12T15:04:05Z");
  CHECK(m->topic == "roof/front");
  CHECK(m->payload == R"({"w":61.20, "v":37.9})");
  CHECK_FALSE(m->retain);
}

TEST_CASE("payloads of every JSON kind") {
  struct Row { const char* json; const char* payload; };
  for (const Row& r : {Row{"12.50", "12.50"}, Row{"\"12.50\"", "12.50"}, Row{"\"bulk\"", "bulk"}, Row{"null", "null"}, Row{"true", "true"},
                       Row{"[1, 2]", "[1, 2]"}, Row{"\"\"", ""}, Row{R"("{\"a\":1}")", R"({"a":1})"}, Row{R"("\u00e9\n\ud83d\ude00")", "\xC3\xA9\n\xF0\x9F\x98\x80"},
                       Row{"1e999", "1e999"}, Row{R"({"a":"}\"]"})", R"({"a":"}\"]"})"}}) {
    CAPTURE(r.json);
    const auto m = feed::line_in(std::string{R"({"t":"2026-01-12T15:04:05Z","topic":"a","payload":)"} + r.json + "}");
    REQUIRE(m);
    CHECK(m->payload == r.payload);
  }
}

TEST_CASE("order, blanks, escapes and further keys do not matter") {
  const auto m = feed::line_in(
      "  { \"note\" : {\"x\":[1,{\"y\":null}]} , \"payload\":7, \"\\u0074\": \"2026-01-12T16:04:05.25+01:00\", \"retain\":true, \"topic\":\"a\\/b\" } \r");
  REQUIRE(m);
  CHECK(at(*m) == "2026-01-12T15:04:05.250Z");
  CHECK(m->topic == "a/b");
  CHECK(m->payload == "7");
  CHECK(m->retain);
}

TEST_CASE("a bad line says what is wrong with it") {
  struct Row { const char* line; const char* what; };
  for (const Row& r : {Row{"", "not a JSON object"}, Row{"hello", "not a JSON object"}, Row{"[]", "not a JSON object"}, Row{"{}", "t is missing"},
                       Row{R"({"t":"2026-01-12T15:04:05Z"})", "topic is missing"},
                       Row{R"({"t":"2026-01-12T15:04:05Z","topic":"a"})", "payload is missing"},
                       Row{R"({"t":1,"topic":"a","payload":1})", "t is not a time in quotes"},
                       Row{R"({"t":"2026-01-12T15:04:05","topic":"a","payload":1})", "t is not a time such as 2026-01-12T15:04:05Z: \"2026-01-12T15:04:05\""},
                       Row{R"({"t":"2026-13-12T15:04:05Z","topic":"a","payload":1})", "t is not a time such as 2026-01-12T15:04:05Z: \"2026-13-12T15:04:05Z\""},
                       Row{R"({"t":"2026-01-12T15:04:05Z","topic":"","payload":1})", "topic is not a text"},
                       Row{"{\"t\":\"2026-01-12T15:04:05Z\",\"topic\":\"a\xff\",\"payload\":1}", "topic is not UTF-8"},
                       Row{R"({"t":"2026-01-12T15:04:05Z","topic":"a","payload":1,"retain":1})", "retain is neither true nor false"},
                       Row{R"({"t":"2026-01-12T15:04:05Z","topic":"a","payload":01})", "not JSON at column 52"},
                       Row{R"({"t":"2026-01-12T15:04:05Z","topic":"a","payload":nan})", "not JSON at column 51"},
                       Row{R"({"t":"2026-01-12T15:04:05Z","topic":"a","payload":1} x)", "something follows the object at column 54"},
                       Row{R"({"t":"2026-01-12T15:04:05Z","topic":"a","payload":"\ud800"})", "payload holds an escape that stands for no character"},
                       Row{R"({"t":"2026-01-12T15:04:05Z","topic":"a","payload":")", "not JSON at column 52"}}) {
    CAPTURE(r.line);
    const auto m = feed::line_in(r.line);
    REQUIRE_FALSE(m);
    CHECK(m.fault().what == r.what);
  }
}

TEST_CASE("every cut of a line is refused without harm") {
  const std::string whole = R"({"t":"2026-01-12T15:04:05Z","topic":"a\u00e9","payload":{"a":[1.5e3,"x\"",null]},"retain":true})";
  for (std::size_t n = 0; n < whole.size(); ++n) CHECK_FALSE(feed::line_in(whole.substr(0, n)));
  CHECK(feed::line_in(whole));
  CHECK_FALSE(feed::line_in(std::string(5000, '[')));
  CHECK_FALSE(feed::line_in(R"({"t":"2026-01-12T15:04:05Z","topic":"a","payload":)" + std::string(5000, '[')));
}

TEST_CASE("what is written reads back to the same message, byte for byte") {
  for (const std::string& payload : {std::string{""}, std::string{"12.50"}, std::string{"bulk"}, std::string{"{\"a\": 1}"}, std::string{"{\"a\":\n1}"},
                                    std::string{"\"quoted\""}, std::string{" 7"}, std::string{"nan"}, std::string{"1e999"}, std::string{"tab\there"},
                                    std::string{"nul\0byte", 8}, std::string{"\xFF\xFE raw"}, std::string{"caf\xE9"}, std::string{"\xC3\xA9"},
                                    std::string{"back\\slash \"q\""}, std::string{"{\"broken\":"}, std::string{"\x01\x7F"}})
    for (const bool retain : {false, true}) {
      Message m{elapsed_ms(1768230245123), "a/\"b\"/\xC3\xBC", payload, retain};
      const std::string line = feed::line_of(m);
      CAPTURE(line);
      CHECK(line.find('\n') == std::string::npos);
      CHECK(is_utf8(line));
      const auto back = feed::line_in(line);
      REQUIRE(back);
      CHECK(back->at == m.at);
      CHECK(back->topic == m.topic);
      CHECK(back->payload == m.payload);
      CHECK(back->retain == m.retain);
    }
}
