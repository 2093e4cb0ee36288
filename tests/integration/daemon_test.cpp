// The daemon as a whole: start, reload, service manager, bad input.
#include <signal.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "integration/rig_under_test.h"

using namespace fw;
using namespace fw::test;
using namespace std::chrono_literals;

namespace {

/// The service manager's end of the notify protocol.
class Manager {
 public:
  explicit Manager(const TempDir& dir) : path_(dir.file("notify")) {
    fd_ = socket(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK, 0);
    sockaddr_un a{};
    a.sun_family = AF_UNIX;
    path_.copy(a.sun_path, sizeof a.sun_path - 1);
    REQUIRE(bind(fd_, reinterpret_cast<sockaddr*>(&a), sizeof a) == 0);
  }
  ~Manager() { close(fd_); }
  const std::string& path() const { return path_; }
  int count(const std::string& text) {
    char buffer[2000];
    for (ssize_t n; (n = recv(fd_, buffer, sizeof buffer, 0)) > 0;) heard_.emplace_back(buffer, static_cast<std::size_t>(n));
    int result = 0;
    for (const auto& h : heard_) result += h.find(text) != std::string::npos;
    return result;
  }

 private:
  std::string path_;
  int fd_ = -1;
  std::vector<std::string> heard_;
};

}  // namespace

TEST_CASE("ready without a broker, its state in STATUS, the watchdog fed, and a clean stop without one") {
  NEEDS_BROKER();
  RigUnderTest rig;
  Manager manager(rig.dir);
  rig.start({"NOTIFY_SOCKET=" + manager.path(), "WATCHDOG_USEC=400000"});
  REQUIRE(eventually([&] { return manager.count("READY=1") == 1; }));
  CHECK(eventually([&] { return manager.count("STATUS=test: no broker") > 0; }));
  CHECK(eventually([&] { return manager.count("WATCHDOG=1") >= 5; }, 3s));
  rig.broker.start();
  CHECK(eventually([&] { return manager.count("STATUS=test: broker connected") > 0; }, 20s));
  rig.broker.kill();
  CHECK(eventually([&] { return manager.count("STATUS=test: no broker") > 1; }, 20s));
  const auto asked = steady_now();
  rig.program->signal(SIGTERM);
  CHECK(rig.program->wait(3s) == 143);
  CHECK(steady_now() - asked < 1s);
  CHECK(manager.count("STOPPING=1") == 1);
}

TEST_CASE("a hung loop starves the watchdog") {
  NEEDS_BROKER();
  RigUnderTest rig;
  Manager manager(rig.dir);
  rig.start({"NOTIFY_SOCKET=" + manager.path(), "WATCHDOG_USEC=400000", "FW_TEST_HANG_FILE=" + rig.dir.file("hang")});
  REQUIRE(eventually([&] { return manager.count("WATCHDOG=1") >= 2; }));
  rig.dir.write("hang", "");
  pause_for(500ms);
  const int before = manager.count("WATCHDOG=1");
  pause_for(1s);
  CHECK(manager.count("WATCHDOG=1") == before);
}

TEST_CASE("a service manager that does not read what it is sent holds nothing up") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  Manager manager(rig.dir);
  rig.start({"NOTIFY_SOCKET=" + manager.path(), "WATCHDOG_USEC=20000"});
  pause_for(2s);   // two hundred beats
  CHECK(rig.permitted());
}

TEST_CASE("the wall clock stepped back ten minutes neither starves the watchdog nor takes the permit; killed after a hang, it comes up without one and notes it") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  Manager manager(rig.dir);
  rig.dir.write("machine", "0 0 0       \n");
  const auto step_clock = [&](int seconds) {   // in place: the program has the file mapped
    std::FILE* f = std::fopen(rig.dir.file("machine").c_str(), "r+");
    REQUIRE(f);
    std::fprintf(f, "0 0 %d", seconds);
    std::fclose(f);
  };
  const std::vector<std::string> env{"NOTIFY_SOCKET=" + manager.path(), "WATCHDOG_USEC=400000", "FW_TEST_HANG_FILE=" + rig.dir.file("hang"),
                                     "LD_PRELOAD=" FW_MACHINE, "FW_TEST_MACHINE=" + rig.dir.file("machine"), "ASAN_OPTIONS=verify_asan_link_order=0"};
  rig.start(env);
  REQUIRE(rig.permitted());
  const int before = manager.count("WATCHDOG=1");
  rig.listener->forget();
  step_clock(-600);
  CHECK(eventually([&] { return rig.log_lines_with("the wall clock moved by -600") == 1; }, 20s));
  CHECK(eventually([&] { rig.telemetry(); pause_for(200ms); return manager.count("WATCHDOG=1") >= before + 10; }, 20s));
  const auto heard = rig.listener->on("out/roof");
  CHECK(std::all_of(heard.begin(), heard.end(), is_yes));

  rig.dir.write("hang", "");
  CHECK(eventually([&] { const auto l = rig.listener->last("out/roof"); return l && !is_yes(*l); }, 20s));
  rig.program->signal(SIGKILL);
  rig.program->wait(3s);
  std::remove(rig.dir.file("hang").c_str());
  rig.listener->forget();
  rig.start(env);
  CHECK(eventually([&] { return rig.log_lines_with("ended without a stop") == 1; }, 20s));
  pause_for(2s);
  const auto after = rig.listener->on("out/roof");
  CHECK(std::none_of(after.begin(), after.end(), is_yes));
  CHECK(rig.permitted());
}

TEST_CASE("4 KB of the journal overwritten under the running daemon: set aside within ten seconds, said once, and it goes on") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  // a first run, so that the file holds more than its log
  rig.start();
  REQUIRE(rig.permitted());
  rig.program->signal(SIGTERM);
  REQUIRE(rig.program->wait(5s));
  rig.start();
  REQUIRE(rig.permitted());
  const auto aside = [&] {
    for (const auto& e : std::filesystem::directory_iterator(rig.dir.path()))
      if (e.path().filename().string().find(".damaged-") != std::string::npos) return true;
    return false;
  };
  REQUIRE_FALSE(aside());
  {
    std::fstream file(rig.journal(), std::ios::binary | std::ios::in | std::ios::out);
    file.seekp(14 * 4096);   // the owner's notes: no page that a newer copy in the log stands for
    file << std::string(4096, '\xa5');
  }
  CHECK(eventually(aside, 10s));
  CHECK(eventually([&] { return rig.log_lines_with("The journal was damaged.") == 1; }, 3s));
  CHECK(eventually([&] { return run({FW_PROGRAM, "export", rig.journal(), "events"}).out.find("journal_saved,") != std::string::npos; }, 20s));
  CHECK(rig.permitted());
  CHECK(rig.log_lines_with("The journal was damaged.") == 1);
  CHECK(rig.program->running());
}

TEST_CASE("SIGHUP: a good config is taken, a bad one leaves the old in force, and no permit is lost or widened by it") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.start();
  REQUIRE(rig.permitted());

  const std::string good = read_file(rig.config());
  rig.dir.write("rig.yaml", good + "nonsense: 1\n");
  rig.program->signal(SIGHUP);
  REQUIRE(eventually([&] { return rig.log_lines_with("the old one stays") == 1; }));
  CHECK(rig.program_log().find("nonsense") != std::string::npos);
  CHECK(rig.permitted());

  // The shore charger leaves, and is told so.
  std::string fewer = good;
  const auto at = fewer.find("  shore:");
  fewer.erase(at, fewer.find('\n', at) - at + 1);
  rig.dir.write("rig.yaml", fewer);
  const auto changed = steady_now();
  rig.program->signal(SIGHUP);
  REQUIRE(eventually([&] { return rig.log_lines_with("config read again") == 1; }));
  CHECK(eventually([&] { const auto l = rig.listener->last("out/shore"); return l && l->payload == "0" && l->at >= changed; }, 2s));
  CHECK(eventually([&] { rig.telemetry(); pause_for(200ms); return rig.listener->last("out/roof")->payload == "enable"; }, 30s));
  rig.listener->forget();
  pause_for(500ms);
  const auto heard = rig.listener->on("out/shore");
  CHECK_FALSE(std::any_of(heard.begin(), heard.end(), is_yes));
}

TEST_CASE("an unusable config ends with exit 2 and says why, and so does a folder for the journal that cannot be") {
  const TempDir dir;
  const Finished none = run({FW_PROGRAM, "run", dir.file("missing.yaml")});
  CHECK(none.code == 2);
  CHECK(none.err.find("missing.yaml") != std::string::npos);
  const Finished wrong = run({FW_PROGRAM, "run", dir.write("wrong.yaml", "rig: [\n")});
  CHECK(wrong.code == 2);
  CHECK(wrong.err.find("wrong.yaml:") != std::string::npos);
  const Finished journal = run({FW_PROGRAM, "run", dir.write("rig.yaml", config_text(1883, "/proc/none/x.journal"))});
  CHECK(journal.code == 2);
}

TEST_CASE("huge, broken and senseless messages are passed over, the field that can be read is used, and the daemon goes on") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.start();
  rig.listener = std::make_unique<Listener>(rig.broker.port(), std::vector<std::string>{"firnwatt/#", "out/#"}, "watcher");
  REQUIRE(rig.listener->wait_up());
  REQUIRE(eventually([&] { return rig.listener->last("firnwatt/test/alive").has_value(); }, 20s));
  for (const std::string& bad :
       {std::string(), std::string("nan"), std::string("{\"t\":null}"), std::string("{\"t\":\"nan\"}"), std::string("offline"), std::string("123"),
        std::string("[1,2]"), std::string("{\"t\":1e999}"), std::string(2'000'000, 'x'), std::string("\xff\xfe\x00{", 4), std::string("{\"t\":NaN}"),
        std::string("["), std::string(1, '\0')}) {
    rig.listener->publish("in/bank", bad);
    if (bad.size() > 1000) continue;
    rig.listener->publish("firnwatt/test/notes", bad);
    rig.listener->publish("firnwatt/test/alarms/snow-front/shelve", bad);
  }
  for (int i = 0; i < 300; ++i) rig.listener->publish("firnwatt/test/ask", "");
  rig.listener->publish("in/bank", R"({"t":-2.5,"a":"x","soc":60})");
  REQUIRE(rig.listener->flush());
  CHECK(eventually([&] { return rig.log_lines_with("too large") == 1; }));
  // The cold it could read has the heater asked for.
  CHECK(eventually([&] { const auto pad = rig.listener->last("out/pad"); return pad && pad->payload == "on"; }, 20s));
  CHECK(rig.program->running());
}

TEST_CASE("nothing that comes in can widen a permit") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  rig.start();
  rig.listener = std::make_unique<Listener>(rig.broker.port(), std::vector<std::string>{"out/#", "firnwatt/#"}, "watcher");
  REQUIRE(rig.listener->wait_up());
  rig.telemetry(-5);
  for (const char* topic : {"firnwatt/test/chargers/roof/permit", "firnwatt/test/notes", "firnwatt/test/ask", "firnwatt/test/clock"})
    rig.listener->publish(topic, R"({"permit":true,"text":"permit","offset_ms":0,"trusted":true})");
  for (int i = 0; i < 10; ++i) {
    rig.telemetry(-5);
    pause_for(100ms);
  }
  for (const Heard& h : rig.listener->all()) {
    if (!h.topic.starts_with("out/") || h.topic == "out/pad") continue;
    CAPTURE(h.payload);
    CHECK_FALSE(is_yes(h));
  }
}

TEST_CASE("several rigs in one process, each on its own") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  std::vector<std::string> argv{FW_PROGRAM, "run"};
  for (const std::string name : {"one", "two", "three"}) {
    std::string text = config_text(rig.broker.port(), rig.dir.file(name + ".journal"));
    text.replace(text.find("rig: test"), 9, "rig: " + name);
    for (std::size_t at; (at = text.find("topic: out/")) != std::string::npos;) text.replace(at, 11, "topic: " + name + "-out/");
    argv.push_back(rig.dir.write(name + ".yaml", text));
  }
  Process program(argv, rig.dir.file("out"), rig.dir.file("log"));
  rig.listener = std::make_unique<Listener>(rig.broker.port(), std::vector<std::string>{"#"}, "watcher");
  REQUIRE(rig.listener->wait_up());
  CHECK(eventually(
      [&] {
        rig.telemetry();
        pause_for(200ms);
        for (const char* name : {"one", "two", "three"}) {
          const auto l = rig.listener->last(std::string(name) + "-out/roof");
          if (!l || l->payload != "enable") return false;
        }
        return true;
      },
      20s));
  program.signal(SIGTERM);
  CHECK(program.wait(3s) == 143);

  argv.push_back(argv[2]);
  CHECK(run(argv).code == 2);  // one name twice
}
