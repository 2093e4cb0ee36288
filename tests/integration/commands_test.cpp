// The other commands, as an owner meets them.
#include <signal.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "integration/rig_under_test.h"
#include "journal/journal.h"
#include "units/text.h"

using namespace fw;
using namespace fw::test;
using namespace std::chrono_literals;

TEST_CASE("help and version everywhere, and exit 2 for what makes no sense") {
  CHECK(run({FW_PROGRAM, "--version"}).out.starts_with("firnwatt "));
  const Finished help = run({FW_PROGRAM, "--help"});
  CHECK(help.code == 0);
  for (const char* command : {"run", "check", "expect", "listen", "replay", "record", "try", "status", "note", "acknowledge", "shelve", "review", "export"}) {
    CAPTURE(command);
    CHECK(help.out.find(command) != std::string::npos);
    const Finished own = run({FW_PROGRAM, command, "--help"});
    CHECK(own.code == 0);
    CHECK(own.err.empty());
  }
  for (const std::vector<std::string>& args : {std::vector<std::string>{}, {"nonsense"}, {"run"}, {"export", "x"}, {"run", "a", "--nonsense"}}) {
    std::vector<std::string> argv{FW_PROGRAM};
    argv.insert(argv.end(), args.begin(), args.end());
    const Finished done = run(argv);
    CHECK(done.code == 2);
    CHECK_FALSE(done.err.empty());
    CHECK(done.out.empty());
  }
}

TEST_CASE("review and export say in plain words what is wrong with a journal, a period or a table, and print nothing else") {
  const TempDir dir;
  const std::string broken = FW_TESTS_DIR "/journal/broken/", good = dir.file("good.journal");
  {
    auto j = journal::Journal::open(good, {}, {Elapsed{}, utc_ms(0), true});
    REQUIRE(j);
    REQUIRE((*j)->write({SnapshotRow{{utc_ms(0), {}, true}, "rig", R"({"timezone":"Nowhere/AtAll"})"}}, {Elapsed{}, utc_ms(0), true}));
    REQUIRE((*j)->flush({Elapsed{}, utc_ms(0), true}));
  }
  for (const char* name : {"newer.journal", "foreign.sqlite", "letter.txt", "empty.journal"}) std::filesystem::copy_file(broken + name, dir.file(name));
  struct Case { std::vector<std::string> args; std::string says; };
  for (const Case& c : std::vector<Case>{
           {{"review", dir.file("newer.journal")}, "made by a newer firnwatt; this one reads up to version 1. Update firnwatt to read it"},
           {{"export", dir.file("newer.journal"), "energy"}, "made by a newer firnwatt; this one reads up to version 1. Update firnwatt to read it"},
           {{"review", dir.file("foreign.sqlite")}, "this is another program's SQLite file, not a firnwatt journal"},
           {{"export", dir.file("letter.txt"), "energy"}, "this is not a firnwatt journal"},
           {{"review", dir.file("empty.journal")}, "the journal is empty: nothing has been recorded yet"},
           {{"review", dir.file("none.journal")}, "there is no such journal"},
           {{"review", dir.path()}, "this is a folder; a journal is a file"},
           {{"review", good, "--from", "2026-02-01", "--to", "2026-01-01"}, "the period is empty: --from 2026-02-01 is not before --to 2026-01-01"},
           {{"export", good, "energy", "--from", "2026-02-01", "--to", "2026-02-01"}, "the period is empty: --from 2026-02-01 is not before --to 2026-02-01"},
           {{"review", good, "--from", "2026-02-30"}, "--from: '2026-02-30' is no time; write 2026-01-12"},
           {{"export", good, "watts"}, "watts: there is no such table; the tables are verdicts, alarms, commands, bank, advice, energy, notes, notices, events"},
       }) {
    std::vector<std::string> argv{FW_PROGRAM};
    argv.insert(argv.end(), c.args.begin(), c.args.end());
    const Finished done = run(argv);
    CAPTURE(c.says);
    CAPTURE(done.err);
    CHECK(done.code == 2);
    CHECK(done.out.empty());
    CHECK(done.err.find(c.says) != std::string::npos);
  }
  const Finished elsewhere = run({FW_PROGRAM, "review", good});
  CHECK(elsewhere.code == 0);
  CHECK(elsewhere.err.find("its time zone 'Nowhere/AtAll' is not known here; days and times are UTC") != std::string::npos);
}

TEST_CASE("a period outside what the journal holds, and a journal that is damaged, are said beside what there is") {
  const TempDir dir;
  const std::string path = dir.file("a.journal");
  {
    const Utc t = *utc_in("2026-09-06T12:00:00Z");
    const Now now{Elapsed{}, t, true};
    auto j = journal::Journal::open(path, {}, now);
    REQUIRE(j);
    REQUIRE((*j)->write({SnapshotRow{{t, {}, true}, "rig", R"({"timezone":"America/Santiago"})"}}, now));
    for (int m = 0; m < 2000; ++m) {
      BankRow b;
      b.when = {t + minutes{m}, {}, true};
      b.soc = 0.5;
      REQUIRE((*j)->write({b}, now));
    }
    REQUIRE((*j)->flush(now));
  }
  const Finished late = run({FW_PROGRAM, "export", path, "bank", "--from", "2027-01-01"});
  CHECK(late.code == 0);
  CHECK(late.err == "nothing was recorded in this period; the journal holds 2026-09-06 to 2026-09-07\n");
  // that day has no midnight: its clocks go from 00:00 to 01:00
  const Finished day = run({FW_PROGRAM, "review", path, "--from", "2026-09-06", "--to", "2026-09-07"});
  CHECK(day.code == 0);
  CHECK(day.err.empty());
  CHECK(day.out.find("\n2026-09-06, local time America/Santiago.") != std::string::npos);
  {
    std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
    file.write(std::string(4096, 'x').data(), 4096);
  }
  const Finished broken = run({FW_PROGRAM, "export", path, "bank"});
  CHECK(broken.code == 0);
  CHECK(broken.err.find(path + ": the journal is damaged; this is what can be read of it, ") != std::string::npos);
  CHECK(std::count(broken.out.begin(), broken.out.end(), '\n') > 1900);
}

TEST_CASE("a review is never written over its journal, and its form follows the name of its file") {
  const TempDir dir;
  const std::string path = dir.file("a.journal");
  {
    const Now now{Elapsed{}, utc_ms(0), true};
    auto j = journal::Journal::open(path, {}, now);
    REQUIRE(j);
    BankRow b;
    b.when = {utc_ms(0), {}, true};
    b.soc = 0.5;
    REQUIRE((*j)->write({b}, now));
    REQUIRE((*j)->flush(now));
  }
  const std::string before = read_file(path);
  const Finished over = run({FW_PROGRAM, "review", path, "--output", dir.path() + "/./a.journal"});
  CHECK(over.code == 2);
  CHECK(over.err.find("this is the journal itself; name another file") != std::string::npos);
  CHECK(read_file(path) == before);
  struct Case { std::vector<std::string> options; std::string starts; };
  for (const Case& c : std::vector<Case>{{{"--output", dir.file("r.html")}, "<!DOCTYPE html>"}, {{"--output", dir.file("r.json")}, "{"}, {{"--output", dir.file("r")}, "Review"},
                                         {{"--output", dir.file("r.html"), "--format", "text"}, "Review"}}) {
    CAPTURE(c.options[1]);
    std::vector<std::string> argv{FW_PROGRAM, "review", path};
    argv.insert(argv.end(), c.options.begin(), c.options.end());
    CHECK(run(argv).code == 0);
    CHECK(read_file(c.options[1]).starts_with(c.starts));
  }
}

TEST_CASE("a table that could not be written in full is no success") {
  const TempDir dir;
  const std::string path = dir.file("a.journal");
  {
    const Now now{Elapsed{}, utc_ms(0), true};
    auto j = journal::Journal::open(path, {}, now);
    REQUIRE(j);
    REQUIRE((*j)->write({EventRow{{utc_ms(0), {}, true}, "start", "x"}}, now));
  }
  Process full({FW_PROGRAM, "export", path, "events"}, "/dev/full", dir.file("err"));
  CHECK(full.wait(20s) == 1);
  CHECK(read_file(dir.file("err")).find("could not be written in full") != std::string::npos);
}

TEST_CASE("check prints the rig, each charger's line and today; a broken config is exit 2 with places") {
  const TempDir dir;
  const Finished good = run({FW_PROGRAM, "check", dir.write("rig.yaml", config_text(1883, dir.file("j")))});
  CAPTURE(good.err);
  CHECK(good.code == 0);
  for (const char* word : {"front", "roof", "shore", "can be stopped", "never; firnwatt try", "Today", "under a clear sky"}) {
    CAPTURE(word);
    CHECK(good.out.find(word) != std::string::npos);
  }
  // What no word reaches is not to be tried.
  const Finished never = run({FW_PROGRAM, "check", dir.write("never.yaml", simulation_text(1883, dir.file("j")))});
  CHECK(never.out.find("roof: nothing to test, it cannot be stopped") != std::string::npos);
  const Finished bad = run({FW_PROGRAM, "check", dir.write("bad.yaml", config_text(1883, dir.file("j")) + "nonsense: 1\nrig: twice\n")});
  CHECK(bad.code == 2);
  CHECK(bad.out.empty());
  CHECK(bad.err.find("bad.yaml:") != std::string::npos);
  CHECK(bad.err.find("nonsense") != std::string::npos);
}

TEST_CASE("expect gives a day's table and the same as CSV") {
  const TempDir dir;
  const std::string config = dir.write("rig.yaml", config_text(1883, dir.file("j")));
  const Finished table = run({FW_PROGRAM, "expect", config, "--date", "2026-01-15"});
  CHECK(table.code == 0);
  CHECK(table.out.find("front (400 W rated)") != std::string::npos);
  const Finished csv = run({FW_PROGRAM, "expect", config, "--date", "2026-01-15", "--format", "csv", "--step", "1h"});
  CHECK(csv.code == 0);
  CHECK(std::count(csv.out.begin(), csv.out.end(), '\n') == 25);
  CHECK(run({FW_PROGRAM, "expect", config, "--date", "tomorrow"}).code == 2);
  CHECK(run({FW_PROGRAM, "expect", config, "--step", "2d"}).code == 2);
}

TEST_CASE("listen lists what the broker carries and writes a starter config that can be loaded") {
  NEEDS_BROKER();
  const TempDir dir;
  Broker broker;
  broker.start();
  Listener sender(broker.port(), {});
  REQUIRE(sender.wait_up());
  Process program({FW_PROGRAM, "listen", "--broker", "mqtt://127.0.0.1:" + std::to_string(broker.port()), "--for", "3s", "--output", dir.file("rig.yaml")},
                  dir.file("out"), dir.file("err"));
  for (int i = 0; i < 25; ++i) {
    sender.publish("gw/roof/front", R"({"watts":)" + std::to_string(100 + i) + R"(,"volts":37.5})");
    sender.publish("gw/battery", R"({"cell_temp":)" + std::to_string(8 + i % 2) + R"(,"soc":61})");
    pause_for(100ms);
  }
  CHECK(program.wait(10s) == 0);
  const std::string out = read_file(dir.file("out"));
  for (const char* word : {"gw/roof/front", "watts", "gw/battery", "soc"}) {
    CAPTURE(word);
    CHECK(out.find(word) != std::string::npos);
  }
  CHECK(read_file(dir.file("rig.yaml")).find("gw/roof/front") != std::string::npos);
  CHECK(run({FW_PROGRAM, "listen", "--broker", "mqtt://127.0.0.1:" + std::to_string(broker.port()), "--for", "1s", "--output", dir.file("rig.yaml")}).code == 2);
  CHECK(run({FW_PROGRAM, "listen"}).code == 2);
  CHECK(run({FW_PROGRAM, "listen", "--broker", "http://x"}).code == 2);
}

TEST_CASE("record writes what came as a feed that replay takes") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  Process recorder({FW_PROGRAM, "record", rig.config(), "--output", rig.dir.file("feed.jsonl.gz")}, "", rig.dir.file("err"));
  rig.listener = std::make_unique<Listener>(rig.broker.port(), std::vector<std::string>{});
  REQUIRE(rig.listener->wait_up());
  pause_for(500ms);
  for (int i = 0; i < 20; ++i) {
    rig.telemetry();
    pause_for(50ms);
  }
  recorder.signal(SIGINT);
  CHECK(recorder.wait(3s) == 130);
  CHECK(read_file(rig.dir.file("err")).find("40 messages recorded") != std::string::npos);
  const Finished replayed = run({FW_PROGRAM, "replay", rig.config(), rig.dir.file("feed.jsonl.gz"), "--journal", rig.dir.file("replayed.journal")});
  CHECK(replayed.code == 0);
  CHECK(replayed.err.find("40 messages in") != std::string::npos);
}

TEST_CASE("status works with the broker down; the owner's words reach the journal and say when nobody listens") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  CHECK(run({FW_PROGRAM, "status", rig.config()}).code == 2);  // no journal yet
  const Finished unheard = run({FW_PROGRAM, "note", rig.config(), "panels_cleared", "front"});
  CHECK(unheard.code == 1);
  CHECK(unheard.err.find("nobody took it") != std::string::npos);
  rig.start();
  REQUIRE(rig.permitted());
  CHECK(run({FW_PROGRAM, "note", rig.config(), "panels_cleared", "front", "loose", "snow"}).code == 0);
  CHECK(run({FW_PROGRAM, "note", rig.config(), "just", "words"}).code == 0);
  const Finished none = run({FW_PROGRAM, "acknowledge", rig.config(), "snow-front"});
  CHECK(none.code == 1);
  CHECK(none.err.find("no alarm that stands now") != std::string::npos);
  CHECK(run({FW_PROGRAM, "shelve", rig.config(), "snow-front", "2h"}).err.find("no alarm that stands now") != std::string::npos);
  for (const char* bad : {"soon", "0", "8d", "-1"}) {
    CAPTURE(bad);
    CHECK(run({FW_PROGRAM, "shelve", rig.config(), "snow-front", bad}).code == 2);
  }
  CHECK(eventually([&] { return run({FW_PROGRAM, "export", rig.journal(), "notes"}).out.find("just words") != std::string::npos; }));
  CHECK(run({FW_PROGRAM, "export", rig.journal(), "notes"}).out.find("panels_cleared") != std::string::npos);
  rig.broker.kill();
  const Finished down = run({FW_PROGRAM, "note", rig.config(), "away"});
  CHECK(down.code == 2);
  CHECK(down.err.find("Connection refused") != std::string::npos);
}

TEST_CASE("try notice reaches a subscriber; try charger asks first and refuses without an answer") {
  NEEDS_BROKER();
  RigUnderTest rig;
  rig.broker.start();
  Listener phone(rig.broker.port(), {"firnwatt/test/notices/text"});
  REQUIRE(phone.wait_up());
  pause_for(200ms);
  const Finished sent = run({FW_PROGRAM, "try", rig.config(), "notice"});
  CHECK(sent.code == 0);
  CHECK(eventually([&] { return phone.all().size() == 1; }));
  CHECK(phone.all().at(0).payload.find("Nothing to do.") != std::string::npos);
  CHECK(run({FW_PROGRAM, "try", rig.config(), "charger", "nonsense"}).code == 2);
  const Finished never = run({FW_PROGRAM, "try", rig.dir.write("never.yaml", simulation_text(rig.broker.port(), rig.dir.file("j"))), "charger", "roof", "--yes"});
  CHECK(never.code == 1);
  CHECK(never.err.find("nothing to try") != std::string::npos);

  rig.start();
  REQUIRE(rig.permitted());
  Process trying({FW_PROGRAM, "try", rig.config(), "charger", "roof"}, rig.dir.file("try-out"), rig.dir.file("try-err"));
  const bool ended = eventually([&] { rig.telemetry(); pause_for(200ms); return !trying.running(); }, 40s);
  CHECK(ended);
  CHECK(trying.wait(1s) == 1);
  CHECK(read_file(rig.dir.file("try-err")).find("say --yes") != std::string::npos);
}
