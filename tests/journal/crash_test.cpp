// Kills and power cuts at any moment: the journal opens, no alarm or notice that was acknowledged is
// lost, and of the samples at most the last batch is missing.
#include <doctest/doctest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <filesystem>
#include <random>
#include <thread>

#include "journal/database.h"
#include "journal/folder.h"
#include "journal/helpers.h"
#include "journal/power_vfs.h"

using namespace fw;
using namespace fw::testing;
using journal::Access;
using journal::Database;

namespace {

struct Done {
  std::int32_t minute = 0;  ///< the last one whose write returned
  std::int32_t alarms = 0;  ///< acknowledged
};

/// A minute's turn: two samples, and an alarm with its notice and snapshot every seventh minute.
Result<void> turn(journal::Journal& j, int m, std::int32_t& alarms) {
  const Utc t = start + minutes{m};
  std::vector<Row> rows{sample(t, 100, 60), sample(t, 50, 20)};
  std::get<StringRow>(rows[1]).string = "aft";
  if (m % 7 == 0) {
    rows.push_back(alarm(t, "raised"));
    rows.push_back(notice(t, "n" + std::to_string(m)));
    rows.push_back(SnapshotRow{stamp(t), "alarms", std::to_string(m)});
  }
  auto r = j.write(std::move(rows), at(t));
  if (r && m % 7 == 0) ++alarms;
  j.maintain(at(t));
  return r;
}

void check_whole(const std::string& path, Done done) {
  auto j = journal::Journal::open(path, {}, at(start));
  REQUIRE(j);
  CHECK_FALSE((*j)->trouble());
  CHECK((*j)->take_news().empty());
  CHECK((*j)->open_notices().size() >= static_cast<std::size_t>(done.alarms));
  if (done.alarms > 0) CHECK(number_in((*j)->snapshots()["alarms"]).value_or(-1) >= 7 * (done.alarms - 1));
  Database db;
  REQUIRE(db.open(path, Access::read));
  CHECK(db.text("PRAGMA integrity_check") == "ok");
  CHECK(db.integer("SELECT count(*) FROM alarm").value_or(0) >= done.alarms);
  // Batches are whole: both strings of a minute or none, no hole before the end.
  const auto rows = db.integer("SELECT count(*) FROM string_minute").value_or(0);
  const auto last = db.integer("SELECT max(minute)-min(minute)+1 FROM string_minute").value_or(0);
  CHECK(rows == 2 * last);
  CHECK(last >= done.minute - 16);
}

int rounds() { return long_run() ? 200 : 20; }

}  // namespace

TEST_CASE("killed at any moment, the journal opens with all that was acknowledged") {
  std::mt19937 random(46);
  for (int round = 0; round < rounds(); ++round) {
    CAPTURE(round);
    Folder f;
    const std::string path = f / "demo.journal";
    int pipe_ends[2];
    REQUIRE(::pipe(pipe_ends) == 0);
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
      auto j = journal::Journal::open(path, {}, at(start));
      Done done;
      for (int m = 0; j && m < 1'000'000; ++m) {
        if (!turn(**j, m, done.alarms)) break;
        done.minute = m;
        if (::write(pipe_ends[1], &done, sizeof done) != sizeof done) break;
      }
      ::_exit(0);
    }
    ::close(pipe_ends[1]);
    // Let it begin, then let chance decide.
    Done done, got;
    if (::read(pipe_ends[0], &done, sizeof done) != sizeof done) FAIL("the child wrote nothing");
    std::this_thread::sleep_for(std::chrono::microseconds{random() % 120'000});
    ::kill(child, SIGKILL);
    ::waitpid(child, nullptr, 0);
    while (::read(pipe_ends[0], &got, sizeof got) == sizeof got) done = got;
    ::close(pipe_ends[0]);
    check_whole(path, done);
  }
}

TEST_CASE("cut from power at any write or sync, with unsynced writes dropped or torn, it opens as well") {
  std::mt19937 random(4646);
  int with_unsynced = 0;
  for (int round = 0; round < rounds(); ++round) {
    CAPTURE(round);
    Folder f;
    const std::string path = f / "demo.journal", after = f / "after.journal";
    Done done;
    {
      PowerVfs card;
      auto j = journal::Journal::open(path, {}, at(start));
      REQUIRE(j);
      // Far enough that the log is moved into the file before some of the cuts, and during others.
      card.cut_at(1 + static_cast<int>(random() % 1800), path, after, static_cast<std::uint32_t>(random()));
      for (int m = 0; !card.unsynced_at_cut(); ++m) {
        const std::int32_t acknowledged = done.alarms;
        REQUIRE(turn(**j, m, done.alarms));
        if (card.unsynced_at_cut()) done.alarms = acknowledged;  // the turn that was cut promised nothing
        else done.minute = m;
      }
      with_unsynced += *card.unsynced_at_cut() > 0;
    }
    check_whole(after, done);
  }
  MESSAGE(with_unsynced, " of ", rounds(), " cuts found unsynced writes");
  CHECK(with_unsynced > rounds() / 2);
}
