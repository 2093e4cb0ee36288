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

TEST_CASE("members written in order keep the order they were given in") {
  nlohmann::ordered_json j;
  j["b"] = 1;
  j["a"] = 2;
  CHECK(json_text_in_order(j) == R"({"b":1,"a":2})");
}
