#include <doctest/doctest.h>

#include "intake/sender_clock.h"
#include "intake/sender_time.h"
#include "rigs.h"

using namespace fw;
using intake::SenderClock;

TEST_CASE("a sender's time in every form") {
  const auto zone = Words::in_zone("America/Denver", false);
  REQUIRE(zone);
  const Utc near = utc_of("2026-01-15T19:00:00Z");
  struct Row { const char* json; rig::TimeForm form; const char* utc; };
  for (const Row& r : {Row{"1768503600", rig::TimeForm::epoch_s, "2026-01-15T19:00:00Z"}, Row{"1768503600.25", rig::TimeForm::epoch_s, "2026-01-15T19:00:00.250Z"},
                       Row{"\"1768503600\"", rig::TimeForm::epoch_s, "2026-01-15T19:00:00Z"}, Row{"1768503600250", rig::TimeForm::epoch_ms, "2026-01-15T19:00:00.250Z"},
                       Row{"\"2026-01-15T19:00:00Z\"", rig::TimeForm::iso, "2026-01-15T19:00:00Z"}, Row{"\"2026-01-15T12:00:00-07:00\"", rig::TimeForm::iso, "2026-01-15T19:00:00Z"},
                       Row{"\"2026-01-15 12:00:00\"", rig::TimeForm::local, "2026-01-15T19:00:00Z"}, Row{"\"2026-07-15T12:00:00\"", rig::TimeForm::local, "2026-07-15T18:00:00Z"},
                       Row{"1768503600250", rig::TimeForm::epoch_s, ""}, Row{"-5", rig::TimeForm::epoch_s, ""}, Row{"null", rig::TimeForm::epoch_s, ""},
                       Row{"\"2026-01-15T19:00:00\"", rig::TimeForm::iso, ""}, Row{"\"soon\"", rig::TimeForm::local, ""}, Row{"1e300", rig::TimeForm::epoch_ms, ""}}) {
    CAPTURE(r.json);
    intake::FlatJson j;
    REQUIRE(j.parse(r.json));
    const auto t = intake::time_in(j.nodes()[0], r.form, *zone, near);
    CHECK((t ? iso_utc(*t) : "") == r.utc);
  }
}

TEST_CASE("local time in the doubled hour is the one nearer arrival, in the missing hour there is none") {
  const auto zone = Words::in_zone("America/Denver", false);
  intake::FlatJson twice, missing;
  REQUIRE(twice.parse("\"2026-11-01 01:30:00\""));
  REQUIRE(missing.parse("\"2026-03-08 02:30:00\""));
  CHECK(intake::time_in(twice.nodes()[0], rig::TimeForm::local, *zone, utc_of("2026-11-01T07:31:00Z")) == utc_of("2026-11-01T07:30:00Z"));
  CHECK(intake::time_in(twice.nodes()[0], rig::TimeForm::local, *zone, utc_of("2026-11-01T08:31:00Z")) == utc_of("2026-11-01T08:30:00Z"));
  CHECK_FALSE(intake::time_in(missing.nodes()[0], rig::TimeForm::local, *zone, utc_of("2026-03-08T09:30:00Z")));
}

namespace {

/// A sender that speaks every `step` with a clock `off` from ours.
struct Sender {
  SenderClock clock;
  Utc now = utc_of("2026-01-15T12:00:00Z");
  Span off{0};
  SenderClock::Judged say(Span step, Span delay = Span{0}) {
    now += step;
    return clock.take(elapsed_ms(ms_of(now)), now + off - delay, now);
  }
};

}  // namespace

TEST_CASE("a clock that is right, or only a little off, is believed from the first message") {
  for (const Span off : {Span{0}, Span{seconds{-40}}, Span{seconds{40}}}) {
    Sender s;
    s.off = off;
    for (int i = 0; i < 100; ++i) {
      const auto j = s.say(seconds{10});
      CHECK(j.order == SenderClock::Order::newer);
      CHECK(j.late == Span{0});
    }
  }
}

TEST_CASE("a clock that is far off makes nothing stale once it has shown itself steady") {
  for (const Span off : {Span{hours{-7}}, Span{hours{5}}, Span{days{-20000}}, Span{minutes{-130}}}) {
    CAPTURE(off.count());
    Sender s;
    s.off = off;
    int late = 0;
    for (int i = 0; i < 200; ++i) late += s.say(seconds{10}).late > seconds{5};
    CHECK(late <= 3);
    CHECK(s.say(seconds{10}).late == Span{0});
  }
}

TEST_CASE("a drifting clock never makes anything stale") {
  Sender s;
  for (int i = 0; i < 6 * 60 * 48; ++i) {  // two days, losing 20 s an hour
    s.off -= Span{56};
    CHECK(s.say(seconds{10}).late < seconds{30});
  }
}

TEST_CASE("what waited in a buffer shows as old, down to the last of it") {
  Sender s;
  for (int i = 0; i < 60; ++i) s.say(seconds{10});
  s.now += hours{3};
  for (int i = 1080; i > 0; --i) {  // a backlog of three hours arrives within seconds
    s.now += Span{5};
    const Utc stamp = s.now - seconds{10} * i;
    const auto j = s.clock.take(elapsed_ms(ms_of(s.now)), stamp, s.now);
    if (i > 30) CHECK(j.late > minutes{4});
  }
  CHECK(s.say(seconds{10}).late < seconds{11});
}

TEST_CASE("a backlog is not believed fresh by a daemon that has just started") {
  Sender s;
  for (int i = 1080; i > 30; --i) {
    s.now += Span{50};
    CHECK(s.clock.take(elapsed_ms(ms_of(s.now)), s.now - seconds{10} * i, s.now).late > minutes{3});
  }
}

TEST_CASE("a sender's clock that is set back or forward is taken up again within minutes") {
  for (const Span step : {Span{hours{-1}}, Span{hours{1}}, Span{days{-3}}}) {
    CAPTURE(step.count());
    Sender s;
    for (int i = 0; i < 100; ++i) s.say(seconds{10});
    s.off += step;
    int lost = 0;
    for (int i = 0; i < 100; ++i) {
      const auto j = s.say(seconds{10});
      lost += j.order != SenderClock::Order::newer || j.late > minutes{1};
    }
    CHECK(lost <= 31);
    const auto j = s.say(seconds{10});
    CHECK(j.order == SenderClock::Order::newer);
    CHECK(j.late == Span{0});
  }
}

TEST_CASE("one stamp from the far future spoils nothing") {
  Sender s;
  for (int i = 0; i < 20; ++i) s.say(seconds{10});
  s.clock.take(elapsed_ms(ms_of(s.now + seconds{1})), utc_of("2099-01-01T00:00:00Z"), s.now + seconds{1});
  for (int i = 0; i < 20; ++i) {
    const auto j = s.say(seconds{10});
    CHECK(j.order == SenderClock::Order::newer);
    CHECK(j.late == Span{0});
  }
}

TEST_CASE("duplicates and messages out of order give no second reading and are counted") {
  const auto rig = small_rig("  soc: {topic: b, pointer: /q, unit: \"%\", time: {pointer: /ts, form: epoch_s}}\n");
  Inlet in{rig};
  const auto say = [&](int stamp_offset_s, const char* q) {
    return in.take("b", std::string{"{\"q\":"} + q + ",\"ts\":" + std::to_string(ms_of(in.now) / 1000 + stamp_offset_s) + "}").readings.size();
  };
  CHECK(say(0, "50") == 1);
  CHECK(say(0, "50") == 0);   // the same again
  CHECK(say(0, "51") == 1);   // same second, another value
  in.now += seconds{10};
  CHECK(say(0, "52") == 1);
  CHECK(say(-5, "49") == 0);  // overtaken on the way
  const auto& c = in.intake.counts()[1];
  CHECK(c.duplicates == 1);
  CHECK(c.out_of_order == 1);
  CHECK(c.taken == 3);
}

TEST_CASE("a gateway that repeats its last message for ever delivers nothing new") {
  const auto rig = small_rig("  soc: {topic: b, pointer: /q, unit: \"%\", time: {pointer: /ts, form: epoch_s}}\n");
  Inlet in{rig};
  const std::string frozen = "{\"q\":50,\"ts\":" + std::to_string(ms_of(in.now) / 1000) + "}";
  std::size_t readings = 0;
  for (int i = 0; i < 500; ++i) {
    in.now += seconds{10};
    readings += in.take("b", frozen).readings.size();
  }
  CHECK(readings == 1);
}

TEST_CASE("a value older than its maximum age on arrival is too old, whatever the sender's clock says") {
  const auto rig = small_rig("  soc: {topic: b, pointer: /q, unit: \"%\", max_age: 2 min, time: {pointer: /ts, form: epoch_s}}\n");
  for (const Span off : {Span{0}, Span{hours{2}}}) {
    Inlet in{rig};
    const auto say = [&](Span waited) {
      return in.take("b", "{\"q\":50,\"ts\":" + std::to_string(ms_of(in.now - waited + off) / 1000) + "}");
    };
    for (int i = 0; i < 30; ++i) {
      in.now += seconds{30};
      say(Span{0});
    }
    in.now += minutes{20};
    const auto t = say(minutes{10});
    REQUIRE(t.readings.size() == 1);
    CHECK(t.readings[0].gone == Gone::too_old);
    in.now += seconds{1};
    CHECK(say(minutes{1}).readings[0].value == 0.5);
  }
}

TEST_CASE("a wrong clock of ours at the start makes no stamped value old") {
  const auto rig = small_rig("  soc: {topic: b, pointer: /q, unit: \"%\", max_age: 2 min, time: {pointer: /ts, form: epoch_s}}\n");
  Inlet in{rig};
  in.trusted = false;
  in.now = utc_of("2020-01-01T00:00:00Z");
  for (int i = 0; i < 20; ++i) {
    in.now += seconds{10};
    CHECK(in.take("b", "{\"q\":50,\"ts\":" + std::to_string(1768500000 + 10 * i) + "}").readings[0].value == 0.5);
  }
}
