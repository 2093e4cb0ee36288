// What chargers read when something dies. Each test kills something real.
#include <signal.h>

#include <algorithm>
#include <filesystem>

#include "integration/rig_under_test.h"

using namespace fw;
using namespace fw::test;
using namespace std::chrono_literals;

namespace {

bool off_everywhere(const Listener& l, std::chrono::milliseconds since) {
  const auto roof = l.last("out/roof"), shore = l.last("out/shore");
  return roof && roof->payload == "disable" && roof->at >= since && shore && shore->payload == "0" && shore->at >= since;
}

void check_no_yes_kept(const RigUnderTest& rig) {
  for (const Heard& h : rig.kept()) {
    CAPTURE(h.topic);
    CAPTURE(h.payload);
    CHECK_FALSE(is_yes(h));
  }
}

}  // namespace

TEST_CASE("kill -9 of the daemon: every charger's topic says off in under a second, and keeps it") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.start();
  REQUIRE(rig.permitted());
  check_no_yes_kept(rig);
  const auto killed = steady_now();
  rig.program->signal(SIGKILL);
  REQUIRE(eventually([&] { return off_everywhere(*rig.listener, killed); }, 1s));
  MESSAGE("off after " << (rig.listener->last("out/shore")->at - killed).count() << " ms");
  const auto kept = rig.kept();
  for (const auto& [topic, off] : {std::pair{"out/roof", "disable"}, {"out/shore", "0"}}) {
    CAPTURE(topic);
    CHECK(std::any_of(kept.begin(), kept.end(), [&](const Heard& h) { return h.topic == topic && h.payload == off; }));
  }
  check_no_yes_kept(rig);
  CHECK(eventually([&] { return rig.listener->last("firnwatt/test/alive")->payload.find("offline") != std::string::npos; }, 1s));

  // And it comes back without help: no permit before a fresh temperature, then one.
  rig.start();
  pause_for(1500ms);
  CHECK_FALSE(std::any_of(kept.begin(), kept.end(), is_yes));
  CHECK(rig.permitted());
}

TEST_CASE("a hung loop: off within 1.5 keep-alives and 2 s, and back when it runs again") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.start({"FW_TEST_HANG_FILE=" + rig.dir.file("hang")});
  REQUIRE(rig.permitted());
  const auto hung = steady_now();
  rig.dir.write("hang", "");
  REQUIRE(eventually([&] { return off_everywhere(*rig.listener, hung); }, std::chrono::milliseconds{1500 * keep_alive_s} + 2s));
  MESSAGE("off after " << (rig.listener->last("out/shore")->at - hung).count() << " ms");
  check_no_yes_kept(rig);
  std::filesystem::remove(rig.dir.file("hang"));
  CHECK(rig.permitted(30s));
}

TEST_CASE("a stopped process: off within 1.5 keep-alives and 2 s") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.start();
  REQUIRE(rig.permitted());
  const auto stopped = steady_now();
  rig.program->signal(SIGSTOP);
  REQUIRE(eventually([&] { return off_everywhere(*rig.listener, stopped); }, std::chrono::milliseconds{1500 * keep_alive_s} + 2s));
  MESSAGE("off after " << (rig.listener->last("out/shore")->at - stopped).count() << " ms");
  rig.program->signal(SIGCONT);
  CHECK(rig.permitted(30s));
}

TEST_CASE("the broker is killed and comes back: no yes is kept, the permit returns, a line per change") {
  NEEDS_BROKER();
  for (const bool persistent : {false, true}) {
    CAPTURE(persistent);
    RigUnderTest rig(persistent);
    rig.broker.start();
    rig.start();
    REQUIRE(rig.permitted());
    rig.broker.kill();
    pause_for(3s);
    rig.broker.start();
    check_no_yes_kept(rig);
    CHECK(rig.permitted(40s));
    CHECK(rig.log_lines_with("broker: connected") == 2);
    CHECK(rig.log_lines_with("broker: not connected") <= 2);  // lost; then refused
    Listener late(rig.broker.port(), {"firnwatt/test/alive"});
    CHECK(eventually([&] { const auto alive = late.last("firnwatt/test/alive"); return alive && alive->payload.find("online") != std::string::npos; }));
  }
}

TEST_CASE("daemon and broker killed together: who comes later finds no yes, and all is well after a restart of both") {
  NEEDS_BROKER();
  for (const bool persistent : {false, true}) {
    CAPTURE(persistent);
    RigUnderTest rig(persistent);
    rig.broker.start();
    rig.start();
    REQUIRE(rig.permitted());
    pause_for(1500ms);  // the broker saves once a second
    rig.program->signal(SIGKILL);
    rig.broker.kill();
    rig.broker.start();
    check_no_yes_kept(rig);
    rig.start();
    pause_for(1s);
    check_no_yes_kept(rig);
    CHECK(rig.permitted(30s));
  }
}

TEST_CASE("a persistent session that was away is not given a yes of earlier") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  {
    Listener charger(rig.broker.port(), {"out/#", "firnwatt/test/chargers/#"}, "charger", false);
    REQUIRE(charger.wait_up());
    pause_for(200ms);
  }
  rig.start();
  REQUIRE(rig.permitted());
  rig.program->signal(SIGKILL);
  pause_for(500ms);
  Listener charger(rig.broker.port(), {"out/#", "firnwatt/test/chargers/#"}, "charger", false);
  REQUIRE(charger.wait_up());
  pause_for(500ms);
  const auto heard = charger.all();
  for (const Heard& h : heard) {
    CAPTURE(h.payload);
    CHECK_FALSE(is_yes(h));
  }
  CHECK_FALSE(heard.empty());
}

TEST_CASE("a cold reading takes the permit away on the wire at once") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.start();
  REQUIRE(rig.permitted());
  // Cells are heavy: the guard believes a fall only at a pace they can have, so the last degrees come from close by.
  rig.telemetry(14.9);
  pause_for(100ms);
  const auto sent = steady_now();
  rig.telemetry(-1);
  const bool off = eventually([&] { return off_everywhere(*rig.listener, sent); }, 2s);
  CHECK(off);
  if (off) MESSAGE("off after " << (rig.listener->last("out/shore")->at - sent).count() << " ms");
}

TEST_CASE("SIGTERM: every off first, all within a second, exit 143; SIGINT: 130") {
  NEEDS_BROKER();
  for (const auto& [signal, code] : {std::pair{SIGTERM, 143}, {SIGINT, 130}}) {
    CAPTURE(signal);
    RigUnderTest rig;
    rig.broker.start();
    rig.start();
    REQUIRE(rig.permitted());
    const auto asked = steady_now();
    rig.program->signal(signal);
    const auto ended = rig.program->wait(3s);
    CHECK(steady_now() - asked < 1s);
    REQUIRE(ended.has_value());
    CHECK(*ended == code);
    REQUIRE(eventually([&] { return off_everywhere(*rig.listener, asked); }, 1s));
    REQUIRE(eventually([&] { return rig.listener->last("firnwatt/test/alive")->payload.find("offline") != std::string::npos; }, 1s));
    const auto offline = rig.listener->last("firnwatt/test/alive")->at;
    CHECK(rig.listener->last("out/roof")->at <= offline);
    CHECK(rig.listener->last("out/shore")->at <= offline);
    check_no_yes_kept(rig);
    CHECK(run({FW_PROGRAM, "export", rig.journal(), "commands"}).out.find("firnwatt stops") != std::string::npos);
  }
}
