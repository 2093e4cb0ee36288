#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "units/json.h"

using namespace fw;

TEST_CASE("text that is not JSON is a discarded value, never an exception") {
  for (const char* text : {"", "{", "[1,]", "nope", "{\"a\":1} tail", "\xff"}) {
    CAPTURE(text);
    CHECK(json_in(text).is_discarded());
  }
  CHECK(json_in("{\"a\":[1,null]}")["a"][0] == 1);
}

TEST_CASE("JSON is written on one line, and what is not UTF-8 is replaced") {
  CHECK(json_text(nlohmann::json{{"b", 1.5}, {"a", nullptr}}) == R"({"a":null,"b":1.5})");
  CHECK(json_text(nlohmann::json("a\xff" "b")) == "\"a\xef\xbf\xbd" "b\"");
}

TEST_CASE("JSON is written byte for byte as the library writes it") {
  nlohmann::json j;
  for (const double v : {0.0, -0.0, 1.0, -2.5, 0.1, 1e-9, 3.2e-08, 1e15, 1e16, 1.7976931348623157e308, 5e-324, 123456.789, 1.0 / 3, 1.0 / 0.0})
    j["reals"].push_back(v);
  for (const std::int64_t v : {INT64_MIN, std::int64_t{-1}, std::int64_t{0}, INT64_MAX}) j["whole"].push_back(v);
  j["most"] = UINT64_MAX;
  for (const char* text : {"", "plain", "12 °C", "a\"b\\c", "line\nfeed\ttab\x01 \x1f \x7f", "\xff\xc0\xaf", "\xed\xa0\x80", "\xf0\x9f\x8c\xa8"}) {
    CHECK(json_quoted(text) == json_text(nlohmann::json(text)));
    j["texts"].push_back(text);
    j[text] = true;
  }
  j["nothing"] = nullptr;
  j["empty"] = {nlohmann::json::array(), nlohmann::json::object(), {{"a", {1, {2, false}}}}};
  CHECK(json_text(j) == j.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace));
  const nlohmann::ordered_json ordered = j;
  CHECK(json_text_in_order(ordered) == ordered.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace));
}

TEST_CASE("members written in order keep the order they were given in") {
  nlohmann::ordered_json j;
  j["b"] = 1;
  j["a"] = 2;
  CHECK(json_text_in_order(j) == R"({"b":1,"a":2})");
}
