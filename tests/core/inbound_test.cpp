#include "core/inbound.h"

#include <doctest/doctest.h>

using namespace fw;
using namespace fw::core;

namespace {

Message message(std::string payload, bool retain = false, Elapsed at = elapsed_ms(1'768'230'000'000)) {
  return {at, "", std::move(payload), retain};
}

}  // namespace

TEST_CASE("the owner's words are read; what cannot be read says what would be right") {
  struct Row { const char* topic; const char* payload; bool taken; };
  for (const Row& r : {
           Row{"alarms/snow-fore/acknowledge", R"({"by":"phone"})", true},
           Row{"alarms/snow-fore/acknowledge", "", true},
           Row{"alarms/Snow Fore/acknowledge", "{}", false},
           Row{"alarms/snow-fore/shelve", R"({"hours":12})", true},
           Row{"alarms/snow-fore/shelve", R"({"hours":"12"})", false},
           Row{"alarms/snow-fore/shelve", R"({"hours":-1})", false},
           Row{"alarms/snow-fore/shelve", R"({"hours":1e9})", false},
           Row{"alarms/snow-fore/shelve", "12", false},
           Row{"notices/seen", R"({"id":"a-1"})", true},
           Row{"notices/seen", R"({"id":7})", false},
           Row{"ask", "", true},
           Row{"notes", "swept the roof", true},
           Row{"notes", R"({"event":"panels_cleared","string":"fore"})", true},
           Row{"notes", R"({"event":"panels_polished"})", false},
           Row{"notes", R"({"string":"fore"})", false},
           Row{"notes", "", false},
           Row{"notes", "\xff\xfe", false},
       }) {
    CAPTURE(r.topic);
    CAPTURE(r.payload);
    Inbound in;
    CHECK(in.read(r.topic, message(r.payload)).ok() == r.taken);
  }
}

TEST_CASE("what the broker kept from an earlier time is not carried out, except the bridge's own state") {
  Inbound in;
  CHECK(!in.read("alarms/snow-fore/acknowledge", message("{}", true)).ok());
  CHECK(!in.read("notes", message("away", true)).ok());
  CHECK(!in.read("ask", message("", true)).ok());
  const auto link = in.read("link", message("1", true));
  REQUIRE(link.ok());
  CHECK(std::get<LinkState>(*link).up);
}

TEST_CASE("size and rate are limited") {
  Inbound in;
  CHECK(!in.read("notes", message(std::string(inbound_limit_bytes + 1, 'x'))).ok());
  const Elapsed t0 = elapsed_ms(1'768'230'000'000);
  Inbound busy;
  int taken = 0;
  for (int i = 0; i < 500; ++i) taken += busy.read("ask", message("", false, t0 + Span{10 * i})).ok();
  CHECK(taken == inbound_per_minute);
  CHECK(busy.read("ask", message("", false, t0 + 1min)).ok());
}

TEST_CASE("our own publications coming back are nobody's request") {
  Inbound in;
  for (const char* topic : {"alive", "summary", "strings/fore", "chargers/roof/permit", "alarms/snow-fore", "notices", "advice/clear"}) {
    const auto r = in.read(topic, message("{}"));
    REQUIRE(r.ok());
    CHECK(std::holds_alternative<Ours>(*r));
  }
}

TEST_CASE("the shell's words: clock, broker, sent, journal") {
  Inbound in;
  const auto clock = in.read("clock", message(R"({"offset_ms":-7200000,"trusted":false})"));
  REQUIRE(clock.ok());
  CHECK(std::get<ClockSet>(*clock).offset == -hours{2});
  CHECK(!std::get<ClockSet>(*clock).trusted);
  CHECK(!in.read("clock", message(R"({"offset_ms":1e300})")).ok());
  CHECK(!in.read("clock", message("soon")).ok());
  CHECK(std::get<BrokerState>(*in.read("broker", message(R"({"connected":true})"))).connected);
  CHECK(std::get<NoticeSent>(*in.read("sent", message(R"({"id":"n1"})"))).id == "n1");
  CHECK(!std::get<JournalState>(*in.read("journal", message(R"({"trouble":null})"))).trouble);
  CHECK(*std::get<JournalState>(*in.read("journal", message(R"({"trouble":"Card full."})"))).trouble == "Card full.");
}
