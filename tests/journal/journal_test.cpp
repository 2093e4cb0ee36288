#include <doctest/doctest.h>

#include <filesystem>

#include "journal/folder.h"
#include "journal/helpers.h"
#include "journal/packed.h"

using namespace fw;
using namespace fw::testing;
using journal::Journal;
using journal::Reader;

TEST_CASE("samples wait for the batch, an alarm is on the disk at once") {
  Folder f;
  auto j = opened(f / "demo.journal");
  REQUIRE(j);
  Utc t = start;
  for (int m = 0; m < 14; ++m, t += minutes{1}) CHECK(j->write({sample(t, 100, 60)}, at(t)));
  CHECK(lines(csv(f / "demo.journal", "verdicts")) == 1);
  CHECK(j->write({alarm(t, "raised"), SnapshotRow{stamp(t), "alarms", "{\"n\":1}"}}, at(t)));
  CHECK(lines(csv(f / "demo.journal", "alarms")) == 2);
  CHECK(Reader::open(f / "demo.journal")->snapshot("alarms") == "{\"n\":1}");
  CHECK(lines(csv(f / "demo.journal", "verdicts")) == 1);
  t += minutes{1};
  CHECK(j->write({sample(t, 100, 60)}, at(t)));
  CHECK(lines(csv(f / "demo.journal", "verdicts")) == 5);
}

TEST_CASE("a batch also falls due by the clock alone, and flush writes what waits") {
  Folder f;
  auto j = opened(f / "demo.journal");
  REQUIRE(j);
  CHECK(j->write({sample(start, 100, 60)}, at(start)));
  j->maintain(at(start + minutes{14}));
  CHECK(lines(csv(f / "demo.journal", "verdicts")) == 1);
  j->maintain(at(start + minutes{15}));
  CHECK(lines(csv(f / "demo.journal", "verdicts")) == 2);
  CHECK(j->write({sample(start + minutes{16}, 100, 60)}, at(start + minutes{16})));
  CHECK(j->flush(at(start + minutes{16})));
  CHECK(lines(csv(f / "demo.journal", "verdicts")) == 3);
  CHECK(j->waiting() == 0);
}

TEST_CASE("in a replay an alarm waits for the batch as well, whatever upkeep comes between") {
  Folder f;
  journal::Options o;
  o.bulk = true;
  auto j = opened(f / "demo.journal", o);
  REQUIRE(j);
  CHECK(j->write({alarm(start, "raised"), sample(start, 100, 60)}, at(start)));
  for (int m = 5; m < 15; m += 5) j->maintain(at(start + minutes{m}));
  CHECK(lines(csv(f / "demo.journal", "alarms")) == 1);
  j->maintain(at(start + minutes{15}));
  CHECK(lines(csv(f / "demo.journal", "alarms")) == 2);
  CHECK(j->waiting() == 0);
}

TEST_CASE("once the log has been moved into the file it begins small again, so that it is not moved at every write") {
  Folder f;
  const std::string path = f / "demo.journal";
  Winter winter(start);
  auto j = opened(path, {}, winter.turn());
  REQUIRE(j);
  std::uintmax_t most = 0;
  int shrunk = 0;
  for (int m = 0; m < 1440; ++m) {
    play(*j, winter, 1);
    const auto size = std::filesystem::file_size(path + "-wal");
    if (size < most / 2) ++shrunk, most = 0;
    most = std::max(most, size);
  }
  CHECK(shrunk >= 1);
  CHECK(shrunk < 10);
}

TEST_CASE("a long snapshot is packed in the file and comes back as it was, here and to a reader") {
  std::string odd;
  for (int i = 0; i < 20'000; ++i) odd += static_cast<char>((i * i + i / 7) % 256);
  for (const std::string& text : {std::string{}, std::string(3000, 'a'), std::string(60'000, 'b'), odd, std::string("packed:")}) {
    const std::string kept = journal::packed(text);
    CHECK(journal::unpacked(kept) == text);
    CHECK(kept.size() <= std::max<std::size_t>(text.size(), 40));
    if (kept.size() < text.size()) CHECK_FALSE(journal::unpacked(kept.substr(0, kept.size() - 8)));
  }
  CHECK_FALSE(journal::unpacked("packed:99999999999:AAAA"));
  Folder f;
  const std::string path = f / "demo.journal";
  std::string state = "{\"learned\":[0.25";
  for (int i = 0; i < 9'000; ++i) state += ",0." + std::to_string(i % 97);
  state += "]}";
  {
    auto j = opened(path);
    REQUIRE(j);
    CHECK(j->write({SnapshotRow{stamp(start), "diagnosis", state}}, at(start)));
    CHECK(j->flush(at(start)));
  }
  CHECK(std::filesystem::file_size(path) < 100'000 + state.size() / 2);
  CHECK(Reader::open(path)->snapshot("diagnosis") == state);
  CHECK(opened(path)->snapshots()["diagnosis"] == state);
}

TEST_CASE("a notice's later row replaces its earlier one; what is open comes back after a restart") {
  Folder f;
  {
    auto j = opened(f / "demo.journal");
    REQUIRE(j);
    CHECK(j->write({notice(start, "a"), notice(start, "b"), notice(start, "c")}, at(start)));
    CHECK(j->write({notice(start, "b", "delivered"), notice(start, "c", "sent")}, at(start + seconds{1})));
    CHECK(j->write({SnapshotRow{stamp(start), "core", "{\"v\":1}"}}, at(start)));
    CHECK(j->flush(at(start + seconds{2})));
  }
  auto j = opened(f / "demo.journal");
  REQUIRE(j);
  const auto open = j->open_notices();
  REQUIRE(open.size() == 2);
  CHECK(open[0].id == "a");
  CHECK(open[1].id == "c");
  CHECK(open[1].state == "sent");
  CHECK(j->snapshots() == std::map<std::string, std::string>{{"core", "{\"v\":1}"}});
  CHECK(lines(csv(f / "demo.journal", "notices")) == 4);
}

TEST_CASE("a command is confirmed by its id and stays in its place") {
  Folder f;
  auto j = opened(f / "demo.journal");
  REQUIRE(j);
  CommandRow c{stamp(start), "1", "aft", false, 0.0, "cells at -1 °C", std::nullopt};
  CHECK(j->write({c}, at(start)));
  CHECK(j->write({CommandRow{stamp(start + minutes{1}), "2", "aft", true, 20.0, "cells above 2 °C, \"warm\"", std::nullopt}}, at(start)));
  c.confirmed = start + seconds{3};
  CHECK(j->write({c}, at(start + seconds{3})));
  CHECK(csv(f / "demo.journal", "commands") ==
        "utc,charger,permit,current_limit_a,reason,confirmed_utc,clock_trusted\r\n"
        "2026-01-15T00:00:00Z,aft,0,0.0,cells at -1 °C,2026-01-15T00:00:03Z,1\r\n"
        "2026-01-15T00:01:00Z,aft,1,20.0,\"cells above 2 °C, \"\"warm\"\"\",,1\r\n");
}

TEST_CASE("the same rows give the same export bytes, whatever the batch") {
  std::string first;
  for (const Span batch : {Span{minutes{15}}, Span{minutes{4}}, Span{hours{6}}}) {
    CAPTURE(batch.count());
    Folder f;
    journal::Options o;
    o.batch = batch;
    o.bulk = batch == hours{6};
    Winter winter(start - days{20});
    auto j = opened(f / "demo.journal", o, winter.turn());
    REQUIRE(j);
    play(*j, winter, 700);
    REQUIRE(j->flush(winter.turn()));
    std::string all;
    for (auto t : Reader::tables()) all += csv(f / "demo.journal", t);
    if (first.empty()) first = all;
    CHECK(all.size() > 50'000);
    CHECK(all == first);
  }
}

TEST_CASE("rows made before the clock was trusted are marked, and moved when it is set") {
  Folder f;
  const Utc wrong = *utc_in("1970-01-01T00:10:00Z");
  auto j = opened(f / "demo.journal", {}, at(wrong, false));
  REQUIRE(j);
  CHECK(j->write({SnapshotRow{stamp(wrong, false), "rig", R"({"timezone":"Europe/Oslo"})"}}, at(wrong, false)));
  CHECK(j->write({sample(wrong, 0, 0, Cause::dark, false)}, at(wrong, false)));
  AlarmRow early = alarm(wrong, "raised");
  early.when.trusted = false;
  CHECK(j->write({early}, at(wrong, false)));
  SUBCASE("while the samples wait") {}
  SUBCASE("after the samples were written") { CHECK(j->flush(at(wrong, false))); }
  CHECK(csv(f / "demo.journal", "alarms").find("1970-01-01T00:10:00Z,snow,fore,raised,low,Fore string probably under snow.,0") != std::string::npos);

  const Span change = *utc_in("2026-01-15T23:10:00Z") - wrong;
  const Utc now = wrong + change + minutes{1};
  CHECK(j->write({ClockRow{stamp(now), change, true}}, at(now)));
  CHECK(j->write({sample(now, 0, 0, Cause::dark)}, at(now)));
  CHECK(j->flush(at(now)));
  const std::string verdicts = csv(f / "demo.journal", "verdicts");
  CHECK(verdicts.find("1970") == std::string::npos);
  CHECK(verdicts.find("2026-01-15T23:10:00Z,fore,dark") != std::string::npos);
  CHECK(csv(f / "demo.journal", "alarms").find("2026-01-15T23:10:00Z,snow,fore,raised,low,Fore string probably under snow.,1") != std::string::npos);
  // Half past midnight at the rig: the moved row's day is the rig's.
  CHECK(csv(f / "demo.journal", "energy").find("2026-01-16,fore") != std::string::npos);
}

TEST_CASE("a clock set in a later run moves nothing of an earlier one") {
  Folder f;
  const Utc wrong = *utc_in("1970-01-01T00:10:00Z");
  {
    auto j = opened(f / "demo.journal", {}, at(wrong, false));
    REQUIRE(j);
    CHECK(j->write({sample(wrong, 0, 0, Cause::dark, false)}, at(wrong, false)));
    CHECK(j->flush(at(wrong, false)));
  }
  auto j = opened(f / "demo.journal", {}, at(wrong, false));
  REQUIRE(j);
  CHECK(j->write({ClockRow{stamp(start), start - wrong, true}}, at(start)));
  CHECK(csv(f / "demo.journal", "verdicts").find("1970-01-01T00:10:00Z,fore,dark,0.900,,0.0,0.0,0.0,0.00,,0") != std::string::npos);
}

TEST_CASE("after a step back rows keep the journal's order") {
  Folder f;
  auto j = opened(f / "demo.journal");
  REQUIRE(j);
  CHECK(j->write({alarm(start + hours{3}, "raised", "first")}, at(start + hours{3})));
  CHECK(j->write({ClockRow{stamp(start), -hours{3}, true}}, at(start)));
  CHECK(j->write({alarm(start + minutes{1}, "cleared", "second")}, at(start + minutes{1})));
  const std::string out = csv(f / "demo.journal", "alarms");
  CHECK(out.find("first") < out.find("second"));
  CHECK(out.find("2026-01-15T03:00:00Z,snow,fore,raised") != std::string::npos);
}

TEST_CASE("a file taken away under the daemon is begun anew with what is needed for a restart") {
  Folder f;
  auto j = opened(f / "demo.journal");
  REQUIRE(j);
  CHECK(j->write({alarm(start, "raised"), SnapshotRow{stamp(start), "core", "{\"v\":7}"}}, at(start)));
  for (const char* part : {"", "-wal", "-shm"}) std::filesystem::remove(f / "demo.journal" + part);
  j->maintain(at(start + minutes{1}));
  CHECK(j->write({alarm(start + minutes{2}, "cleared")}, at(start + minutes{2})));
  CHECK_FALSE(j->trouble());
  CHECK(Reader::open(f / "demo.journal")->snapshot("core") == "{\"v\":7}");
  CHECK(lines(csv(f / "demo.journal", "alarms")) == 2);
}
