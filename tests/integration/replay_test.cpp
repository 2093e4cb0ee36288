// One core, two drivers: compressed time over a real broker, and replay.
#include <signal.h>

#include <fstream>
#include <set>
#include <sstream>

#include "integration/rig_under_test.h"

using namespace fw;
using namespace fw::test;
using namespace std::chrono_literals;

namespace {

const char* tables[] = {"verdicts", "alarms", "commands", "bank", "advice", "energy"};

std::string exported(const std::string& journal, const std::string& table) {
  const Finished done = run({FW_PROGRAM, "export", journal, table});
  CAPTURE(done.err);
  CHECK(done.code == 0);
  return done.out;
}

/// The first line in which two tables differ; empty when they are the same.
std::string difference(const std::string& a, const std::string& b) {
  std::istringstream left(a), right(b);
  std::string l, r;
  for (int n = 1;; ++n) {
    const bool more_left = static_cast<bool>(std::getline(left, l)), more_right = static_cast<bool>(std::getline(right, r));
    if (!more_left && !more_right) return "";
    if (more_left != more_right || l != r)
      return "line " + std::to_string(n) + ": " + (more_left ? l : "(end)") + " / " + (more_right ? r : "(end)");
  }
}

std::string demo_config(int port, const std::string& journal) {
  std::string text = read_file(std::string(FW_SOURCE_DIR) + "/demo-feeds/rig.yaml");
  text.replace(text.find("port: 1883"), 10, "port: " + std::to_string(port));
  text.replace(text.find("path: marten.journal"), 20, "path: " + journal);
  return text;
}

/// The first `hours` of the demo week.
std::string demo_feed(const TempDir& dir, int hours) {
  const Finished week = run({FW_DEMO_WEEK});
  REQUIRE(week.code == 0);
  std::istringstream lines(week.out);
  std::ofstream out(dir.file("week.jsonl"));
  std::string first;
  for (std::string line; std::getline(lines, line);) {
    if (first.empty()) first = line.substr(6, 13);
    // {"t":"2026-01-12T07:...: day and hour are enough to stop at.
    const int day = std::stoi(line.substr(14, 2)) - std::stoi(first.substr(8, 2));
    const int hour = std::stoi(line.substr(17, 2)) - std::stoi(first.substr(11, 2));
    if (day * 24 + hour >= hours) break;
    out << line << "\n";
  }
  return dir.file("week.jsonl");
}

struct LiveRun {
  std::string journal, record;
  std::vector<std::string> notices;
};

LiveRun play(const TempDir& dir, const std::string& name, const std::string& feed) {
  Broker broker;
  broker.start();
  const LiveRun files{dir.file(name + ".journal"), dir.file(name + ".jsonl"), {}};
  const std::string config = dir.write(name + ".yaml", demo_config(broker.port(), files.journal));
  Listener phone(broker.port(), {"firnwatt/marten/notices/text"});
  REQUIRE(phone.wait_up());
  Process program({FW_PROGRAM, "run", config, "--record", files.record}, "", dir.file(name + ".log"));
  const Finished played = run({FW_PLAYER, "127.0.0.1:" + std::to_string(broker.port()), "marten", feed}, {}, 300s);
  CAPTURE(played.err);
  CAPTURE(read_file(dir.file(name + ".log")));
  REQUIRE(played.code == 0);
  program.signal(SIGTERM);
  CHECK(program.wait(5s) == 143);
  pause_for(200ms);
  LiveRun result = files;
  for (const Heard& h : phone.all()) result.notices.push_back(h.payload);
  return result;
}

}  // namespace

TEST_CASE("the demo's start over a real broker: two runs agree, and a replay of the record agrees with them") {
  NEEDS_BROKER();
  const TempDir dir;
  const std::string feed = demo_feed(dir, 18);
  const LiveRun first = play(dir, "first", feed);
  const LiveRun second = play(dir, "second", feed);
  CHECK(first.notices == second.notices);
  const std::string again = dir.file("again.journal");
  const Finished replayed = run({FW_PROGRAM, "replay", dir.file("first.yaml"), first.record, "--journal", again, "--quiet"}, {}, 300s);
  CAPTURE(replayed.err);
  REQUIRE(replayed.code == 0);
  for (const char* table : tables) {
    CAPTURE(table);
    const std::string live = exported(first.journal, table);
    CHECK(difference(live, exported(second.journal, table)) == "");
    CHECK(difference(live, exported(again, table)) == "");
  }
  CHECK(exported(first.journal, "verdicts").size() > 5000);
}

TEST_CASE("a feed replayed twice gives the same bytes; bad lines are named and skipped") {
  const TempDir dir;
  const std::string feed = demo_feed(dir, 12);
  const std::string config = dir.write("rig.yaml", demo_config(1, dir.file("a")));
  {
    std::ofstream more(feed, std::ios::app);
    more << "not a line\n{\"t\":\"yesterday\",\"topic\":\"x\",\"payload\":1}\n";
  }
  for (const char* name : {"a", "b"}) {
    const Finished done = run({FW_PROGRAM, "replay", config, feed, "--journal", dir.file(name)}, {}, 300s);
    CAPTURE(done.err);
    CHECK(done.code == 0);
    CHECK(done.err.find("2 of ") != std::string::npos);
    CHECK(done.err.find("week.jsonl:") != std::string::npos);
  }
  for (const char* table : tables) {
    CAPTURE(table);
    CHECK(difference(exported(dir.file("a"), table), exported(dir.file("b"), table)) == "");
  }
  CHECK(run({FW_PROGRAM, "replay", config, feed, "--journal", dir.file("a")}).code == 2);  // exists
  CHECK(run({FW_PROGRAM, "replay", config, dir.file("none.jsonl"), "--journal", dir.file("c")}).code == 2);

  // Its status: old, and each sentence once.
  const Finished status = run({FW_PROGRAM, "status", config});
  CAPTURE(status.out);
  CHECK(status.code == 1);
  CHECK(status.out.find("\nCharge guard\n  Charging is permitted") != std::string::npos);
  std::set<std::string> sentences;
  std::istringstream lines(status.out);
  for (std::string line; std::getline(lines, line);)
    for (std::size_t from = line.find_first_not_of(' '), to = 0; from < line.size(); from = to + 2) {
      to = std::min(line.find(". ", from), line.size());
      CAPTURE(line);
      CHECK(sentences.insert(line.substr(from, to - from)).second);
    }
}
