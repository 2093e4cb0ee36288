// The broker that is late, leaves, falls silent, keeps old words, or gives our id to another.
#include <signal.h>

#include <atomic>
#include <cstdlib>
#include <thread>

#include "integration/rig_under_test.h"
#include "support/proxy.h"

using namespace fw;
using namespace fw::test;
using namespace std::chrono_literals;

namespace {

std::chrono::seconds span(int usual_s, int long_s) { return std::chrono::seconds{std::getenv("FW_LONG") ? long_s : usual_s}; }

/// Share of one processor that a process used while `f` ran.
template <class F>
double load_during(const Process& p, F f) {
  const auto used = p.cpu_time(), begun = steady_now();
  f();
  return static_cast<double>((p.cpu_time() - used).count()) / static_cast<double>((steady_now() - begun).count());
}

/// A question is asked over and over until its answer comes: the daemon hears and speaks.
bool answers(int port, std::chrono::milliseconds limit) {
  Listener owner(port, {"firnwatt/test/notices/text"});
  if (!owner.wait_up(limit)) return false;
  return eventually(
      [&] {
        owner.publish("firnwatt/test/ask", "");
        pause_for(300ms);
        return !owner.all().empty();
      },
      limit);
}

}  // namespace

TEST_CASE("a broker that is absent, comes, goes and comes back: little work without it, no growth, an answer within 30 s of each return") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.start();
  pause_for(3s);  // its start
  CHECK(load_during(*rig.program, [] { pause_for(span(6, 600)); }) < 0.05);
  rig.broker.start();
  CHECK(answers(rig.broker.port(), 30s));
  const double before_mb = rig.program->resident_mb();
  pause_for(span(1, 600));
  rig.broker.kill();
  CHECK(load_during(*rig.program, [] { pause_for(span(8, 1800)); }) < 0.05);
  rig.broker.start();
  CHECK(answers(rig.broker.port(), 30s));
  CHECK(rig.program->resident_mb() < before_mb + 20);
  MESSAGE("memory ", before_mb, " MB, after the second return ", rig.program->resident_mb(), " MB");
}

TEST_CASE("another client with our id: told once, less and less often tried, next to no work") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.start();
  Listener phone(rig.broker.port(), {"firnwatt/test/notices"});
  REQUIRE(phone.wait_up());
  REQUIRE(eventually([&] { return rig.log_lines_with("broker: connected") == 1; }, 20s));
  std::atomic<bool> stop{false};
  std::thread rival([&] {
    while (!stop) {
      Process p({"mosquitto_sub", "-p", std::to_string(rig.broker.port()), "-i", "firnwatt-test", "-t", "x"});
      p.wait(700ms);  // it is thrown out and comes again
    }
  });
  const auto told = [&] {
    int n = 0;
    std::string last;
    for (const Heard& h : phone.all())
      if (h.payload.find("Another client uses firnwatt's id") != std::string::npos && h.payload != last) ++n, last = h.payload;
    return n;  // the same id again is the same message
  };
  const auto begun = steady_now();
  const double load = load_during(*rig.program, [&] {
    // Found within seconds, raised at the next full minute, and the pause to the next connection is up to a minute.
    CHECK(eventually([&] { return told() == 1; }, 180s));
    MESSAGE("told after ", (steady_now() - begun).count(), " ms");
    const int before = rig.log_lines_with("broker: connected");
    pause_for(span(10, 300));
    const int tries = rig.log_lines_with("broker: connected") - before;
    CHECK(tries <= (std::getenv("FW_LONG") ? 12 : 3));  // at least half a minute between them in the end
  });
  CHECK(load < 0.05);
  stop = true;
  rival.join();
  CHECK(told() == 1);
  CHECK(rig.log_lines_with("another client seems to use our id") == 1);
  MESSAGE("load ", load, ", connected ", rig.log_lines_with("broker: connected"), " times");
}

TEST_CASE("a network that swallows everything: chargers off by their wills, noticed, and back within 30 s of its end") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  Proxy link(rig.broker.port());
  rig.dir.write("rig.yaml", config_text(link.port(), rig.journal()));
  rig.start();
  REQUIRE(rig.permitted());
  link.black_hole(true);
  const auto begun = steady_now();
  const auto off = [&](const char* topic, const char* payload) {
    const auto l = rig.listener->last(topic);
    return l && l->payload == payload && l->at >= begun;
  };
  CHECK(eventually([&] { return off("out/roof", "disable") && off("out/shore", "0"); }, std::chrono::milliseconds{1500 * keep_alive_s} + 2s));
  CHECK(eventually([&] { return rig.log_lines_with("the broker fell silent") > 0; }, std::chrono::milliseconds{3000 * keep_alive_s}));
  if (std::getenv("FW_LONG")) {
    pause_for(20min);
    // Its own judgement meanwhile: without a fresh temperature nobody may charge.
    CHECK(run({FW_PROGRAM, "export", rig.journal(), "commands"}).out.find(",0,0,") != std::string::npos);
  }
  link.black_hole(false);
  link.cut();
  CHECK(rig.permitted(30s));
}

TEST_CASE("what the broker kept from days ago is for show: no permit from an old temperature, no old word carried out") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.listener = std::make_unique<Listener>(rig.broker.port(), std::vector<std::string>{"out/#", "firnwatt/#"}, "watcher");
  REQUIRE(rig.listener->wait_up());
  rig.listener->publish("in/bank", R"({"t":8.0,"soc":90})", 1, true);
  rig.listener->publish("firnwatt/test/alarms/bank_cold-bank/acknowledge", R"({"by":"all"})", 1, true);
  rig.listener->publish("firnwatt/test/notes", R"({"event":"away"})", 1, true);
  REQUIRE(rig.listener->flush());
  rig.start();
  pause_for(span(4, 40));
  rig.listener->publish("in/bank", R"({"t":-2.5,"soc":60})");
  REQUIRE(eventually([&] { const auto a = rig.listener->last("firnwatt/test/alarms/bank_cold-bank"); return a && a->payload.find("unacknowledged") != std::string::npos; }, 90s));
  // Once more with the alarm standing: the old 'seen' still lies at the broker.
  rig.program->signal(SIGKILL);
  rig.program->wait(5s);
  rig.start();
  CHECK(answers(rig.broker.port(), 30s));
  for (const Heard& h : rig.listener->all())
    if (h.topic.starts_with("out/") || h.topic.find("/permit") != std::string::npos) {
      CAPTURE(h.payload);
      if (h.topic != "out/pad") CHECK_FALSE(is_yes(h));
    }
  CHECK(run({FW_PROGRAM, "export", rig.journal(), "alarms"}).out.find("acknowledged,") == std::string::npos);
  CHECK(run({FW_PROGRAM, "export", rig.journal(), "notes"}).out.find("away") == std::string::npos);
}
