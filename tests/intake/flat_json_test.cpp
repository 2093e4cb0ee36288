#include "intake/flat_json.h"

#include <doctest/doctest.h>

#include <cstdint>
#include <nlohmann/json.hpp>

using namespace fw::intake;
using Kind = JsonNode::Kind;

TEST_CASE("pointers lead into objects and arrays (RFC 6901, section 5)") {
  const std::string text = R"({"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8})";
  FlatJson j;
  REQUIRE(j.parse(text));
  struct Row { const char* pointer; double number; };
  for (const Row& r : {Row{"/", 0}, Row{"/a~1b", 1}, Row{"/c%d", 2}, Row{"/e^f", 3}, Row{"/g|h", 4}, Row{"/i\\j", 5}, Row{"/k\"l", 6}, Row{"/ ", 7}, Row{"/m~0n", 8}}) {
    CAPTURE(r.pointer);
    const JsonNode* n = j.find(JsonPointer{r.pointer});
    REQUIRE(n);
    CHECK(n->number == r.number);
  }
  CHECK(j.find(JsonPointer{""}) == &j.nodes()[0]);
  CHECK(j.find(JsonPointer{"/foo/0"})->text == "bar");
  CHECK(j.find(JsonPointer{"/foo/1"})->text == "baz");
  for (const char* nowhere : {"/foo/2", "/foo/-", "/foo/01", "/foo/x", "/nope", "/foo/0/x", "/a~1b/0"}) {
    CAPTURE(nowhere);
    CHECK_FALSE(j.find(JsonPointer{nowhere}));
  }
}

TEST_CASE("of a repeated key the last counts") {
  FlatJson j;
  REQUIRE(j.parse(R"({"t":1,"x":{"t":9},"t":2})"));
  CHECK(j.find(JsonPointer{"/t"})->number == 2);
}

TEST_CASE("bare words and odd numbers are read for what they are") {
  struct Row { const char* text; Kind kind; double number; };
  for (const Row& r : {Row{"nan", Kind::word, 0}, Row{"NaN", Kind::word, 0}, Row{"-Infinity", Kind::word, 0}, Row{"inf", Kind::word, 0}, Row{"1e999", Kind::word, 0},
                       Row{"offline", Kind::word, 0}, Row{"+12.5", Kind::number, 12.5}, Row{"010", Kind::number, 10}, Row{"-.5", Kind::number, -0.5},
                       Row{" 7\n", Kind::number, 7}, Row{"null", Kind::null, 0}, Row{"true", Kind::boolean, 0}, Row{"\"7\"", Kind::text, 0}, Row{"12-3", Kind::word, 0}}) {
    CAPTURE(r.text);
    FlatJson j;
    REQUIRE(j.parse(r.text));
    CHECK(j.nodes()[0].kind == r.kind);
    CHECK(j.nodes()[0].number == r.number);
  }
  FlatJson j;
  REQUIRE(j.parse(R"({"t":nan,"v":13.1})"));
  CHECK(j.find(JsonPointer{"/v"})->number == 13.1);
  for (const char* broken : {"", " ", "{", "[1,", "{\"a\" 1}", "{\"a\":1,}", "[1 2]", "\"open", "12.5 V", "{\"a\":1}}", "\"\\x\"", "\"\\ud800\"", "{1:2}"}) {
    CAPTURE(broken);
    CHECK_FALSE(FlatJson{}.parse(broken));
  }
}

TEST_CASE("deep nesting ends in a refusal, not in a crash") {
  FlatJson j;
  CHECK(j.parse(std::string(60, '[') + std::string(60, ']')));
  CHECK_FALSE(j.parse(std::string(100, '[') + std::string(100, ']')));
  CHECK_FALSE(j.parse(std::string(1000000, '[')));
}

TEST_CASE("whatever the JSON library reads, this reads to the same values") {
  // Mutations of a rich text by a fixed generator; the library (non-throwing) is the judge.
  const std::string seed = R"({"a":[1,-2.5e3,"x\u00e9\n",true,null,{"b":{"c":[]}}],"d":"","e":{"f":0.1}})";
  std::uint64_t state = 88172645463325252ull;
  const auto next = [&] {
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return state;
  };
  const std::string alphabet = "{}[]\",:0123456789.eE+-\\untrfalse \t";
  int read = 0;
  for (int i = 0; i < 60000; ++i) {
    std::string text = seed;
    for (std::uint64_t k = 0, edits = 1 + next() % 3; k < edits; ++k) {
      const std::size_t at = next() % text.size();
      if (next() % 3 == 0)
        text.erase(at, 1 + next() % 3);
      else
        text[at] = alphabet[next() % alphabet.size()];
      if (text.empty()) text = "0";
    }
    const auto judge = nlohmann::json::parse(text, nullptr, false);
    FlatJson j;
    const bool ok = j.parse(text);
    if (judge.is_discarded()) continue;
    CAPTURE(text);
    REQUIRE(ok);
    ++read;
    if (!judge.is_object()) continue;
    const auto flat = judge.flatten();
    for (const auto& [pointer, value] : flat.items()) {
      if (!value.is_number() && !value.is_string()) continue;
      const JsonNode* n = j.find(JsonPointer{pointer});
      REQUIRE(n);
      if (value.is_number() && n->kind == Kind::number) CHECK(n->number == value.get<double>());
      if (value.is_string()) CHECK(n->text == value.get<std::string>());
    }
  }
  CHECK(read > 1000);
}
