// Damaged, foreign, newer, empty: each kind has a small file in broken/ and the exact message it gives.
#include <doctest/doctest.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <map>
#include <random>
#include <thread>

#include "journal/folder.h"
#include "journal/helpers.h"
#include "journal/schema.h"

using namespace fw;
using namespace fw::testing;
namespace fs = std::filesystem;

namespace {

std::string broken(const Folder& f, const std::string& name) {
  const std::string to = f / name;
  fs::copy_file(std::string(FW_TESTS_DIR) + "/journal/broken/" + name, to);
  fs::permissions(to, fs::perms::owner_read | fs::perms::owner_write);
  return to;
}

std::vector<std::string> aside(const Folder& f) {
  std::vector<std::string> found;
  for (const auto& e : fs::directory_iterator(f.path())) {
    const std::string n = e.path().filename().string();
    if (n.find(".damaged-") != std::string::npos && !n.ends_with("-wal") && !n.ends_with("-shm")) found.push_back(n);
  }
  return found;
}

/// Upkeep every five seconds of the rig's time, with a little real time for the checking thread.
void wait_for_news(journal::Journal& j, Utc t, std::vector<std::string>& news) {
  for (int n = 0; n < 400 && news.empty(); ++n) {
    std::this_thread::sleep_for(std::chrono::milliseconds{10});
    j.maintain(at(t + seconds{5 * n}));
    for (auto& s : j.take_news()) news.push_back(s);
  }
}

}  // namespace

TEST_CASE("each file that is no usable journal says so in its own words") {
  struct Row {
    const char* file;
    const char* to_write;  ///< "": opens for the daemon
    const char* to_read;
  };
  for (const Row& r : {
           Row{"newer.journal", "this journal was made by a newer firnwatt; this one reads up to version 1. Update firnwatt, or name another file",
               "this journal was made by a newer firnwatt; this one reads up to version 1. Update firnwatt to read it"},
           Row{"foreign.sqlite", "this is another program's SQLite file, not a firnwatt journal. Name another file",
               "this is another program's SQLite file, not a firnwatt journal"},
           Row{"letter.txt", "this is not a firnwatt journal. Name another file", "this is not a firnwatt journal"},
           Row{"empty.journal", "", "the journal is empty: nothing has been recorded yet"},
       }) {
    CAPTURE(r.file);
    Folder f;
    const std::string path = broken(f, r.file);
    const auto before = fs::file_size(path);
    const auto read = journal::Reader::open(path);
    REQUIRE_FALSE(read);
    CHECK(read.fault().text() == path + ": " + r.to_read);
    const auto write = journal::Journal::open(path, {}, at(start));
    if (*r.to_write) {
      REQUIRE_FALSE(write);
      CHECK(write.fault().text() == path + ": " + r.to_write);
      CHECK(fs::file_size(path) == before);
    } else {
      CHECK(write);
    }
    CHECK(aside(f).empty());
  }
  Folder f;
  CHECK(journal::Reader::open(f / "none.journal").fault().what == "there is no such journal");
  CHECK(journal::Reader::open(f.path()).fault().what == "this is a folder; a journal is a file");
  CHECK(journal::Journal::open(f / "no/such/demo.journal", {}, at(start)).fault().what == "the folder " + f.path() + "/no/such does not exist");
}

TEST_CASE("a damaged file is set aside, saved as far as possible and told once; the daemon goes on") {
  struct Row {
    const char* file;
    bool at_open;       ///< found when opened, else by the check in the background
    int alarms, notices, samples;  ///< at least so many of 3, 2 and 600 are saved
  };
  for (const Row& r : {
           Row{"head-zeroed.journal", true, 3, 2, 600},
           Row{"truncated.journal", true, 3, 2, 500},
           Row{"page-overwritten.journal", false, 3, 2, 580},
       }) {
    CAPTURE(r.file);
    Folder f;
    const std::string path = broken(f, r.file);
    auto j = opened(path);
    REQUIRE(j);
    auto news = j->take_news();
    if (!r.at_open) CHECK(news.empty());
    wait_for_news(*j, start, news);
    REQUIRE(news.size() == 1);
    const auto found = aside(f);
    REQUIRE(found.size() == 1);
    CHECK(news[0] == "The journal was damaged. It is set aside as " + found[0] +
                         " and a new one has begun; what can be read of the old one is being saved. Nothing to do.");
    CHECK(found[0].starts_with(std::string(r.file) + ".damaged-20260115T0"));
    CHECK(j->write({alarm(start + hours{1}, "raised", "after the damage")}, at(start + hours{1})));
    CHECK_FALSE(j->trouble());
    for (int n = 0; n < 50; ++n) j->maintain(at(start + hours{1} + seconds{5 * n}));
    CHECK(j->take_news().empty());
    const auto alarms = csv(path, "alarms");
    CHECK(lines(alarms) >= static_cast<std::size_t>(2 + r.alarms));
    if (r.alarms) CHECK(alarms.rfind("after the damage") > alarms.rfind("Fore string"));
    CHECK(j->open_notices().size() >= static_cast<std::size_t>(r.notices));
    if (r.notices) CHECK(j->snapshots()["core"] == "{\"kept\":true}");
    int samples = 0;
    CHECK(journal::Reader::open(path)->each_five({}, [&](const journal::StringSample& s) { samples += s.minutes; }));
    MESSAGE(std::string(r.file), ": ", samples, " of 600 samples saved");
    CHECK(samples >= r.samples);
    CHECK(csv(path, "events").find("journal_saved,Saved ") != std::string::npos);
  }
}

TEST_CASE("where the first pages are zeros the rest is saved page by page, and no energy is counted twice") {
  struct Row {
    const char* what;
    std::streamoff from, bytes;
    double least;  ///< of the energy must be back
  };
  for (const Row& r : {Row{"head", 0, 4096, 0.999}, Row{"roots, sound head", 2 * 4096, 20 * 4096, 0.95}, Row{"head and roots", 0, 24 * 4096, 0.95}}) {
    CAPTURE(r.what);
    Folder f;
    const std::string path = f / "demo.journal";
    const auto made_by_day = [&] {
      std::map<int, std::int64_t> made;   // of both strings: their names may be lost
      auto reader = journal::Reader::open(path);
      REQUIRE(reader);
      auto days = reader->energy({});
      REQUIRE(days);
      for (const auto& d : *days) made[d.date] += d.split[journal::made];
      return made;
    };
    std::map<int, std::int64_t> before;
    Winter winter(start);
    journal::Options o;
    o.keep_minutes_days = 2;
    {
      auto j = opened(path, o, winter.turn());
      REQUIRE(j);
      play(*j, winter, 5 * 1440);
      REQUIRE(j->flush(winter.turn()));
      for (int n = 0; n < 40; ++n) j->maintain(at(winter.now() + minutes{15 * n}));
      before = made_by_day();
    }
    REQUIRE(before.size() >= 5);
    {
      std::fstream file(path, std::ios::binary | std::ios::in | std::ios::out);
      file.seekp(r.from);
      file << std::string(static_cast<std::size_t>(r.bytes), '\0');
    }
    {
      auto j = opened(path, o, winter.turn());
      REQUIRE(j);
      auto news = j->take_news();
      wait_for_news(*j, winter.now(), news);
      REQUIRE(news.size() == 1);
      for (int n = 0; n < 60; ++n) j->maintain(at(winter.now() + seconds{5 * n}));
      CHECK_FALSE(j->trouble());
      play(*j, winter, 30);
    }
    const auto after = made_by_day();
    double sum_before = 0, sum_after = 0;
    for (const auto& [key, made] : before) {
      sum_before += static_cast<double>(made);
      const auto it = after.find(key);
      if (it == after.end()) continue;
      CHECK(it->second <= made);
      sum_after += static_cast<double>(it->second);
    }
    MESSAGE(std::string(r.what), ": ", 100 * sum_after / sum_before, " % of the energy is back");
    CHECK(sum_after >= r.least * sum_before);
  }
}

TEST_CASE("whatever bytes lie in the pages, saving them ends and breaks nothing") {
  std::mt19937 random(7);
  for (int round = 0; round < (long_run() ? 2000 : 40); ++round) {
    CAPTURE(round);
    Folder f;
    const std::string path = broken(f, "head-zeroed.journal");
    {
      std::fstream file(path, std::ios::binary | std::ios::in | std::ios::out);
      const auto size = fs::file_size(path);
      for (int n = 0; n < 400; ++n) {
        file.seekp(static_cast<std::streamoff>(random() % size));
        // small numbers make headers, lengths and page numbers that nearly fit
        file.put(static_cast<char>(random() % 3 ? random() % 24 : random() % 256));
      }
    }
    auto j = opened(path);
    REQUIRE(j);
    for (int n = 0; n < 10; ++n) j->maintain(at(start + seconds{5 * n}));
    CHECK(j->write({alarm(start + hours{1}, "raised", "after the damage")}, at(start + hours{1})));
    CHECK_FALSE(j->trouble());
    CHECK(csv(path, "events").find("journal_saved,Saved ") != std::string::npos);
    CHECK(csv(path, "energy").size() > 0);
  }
}

TEST_CASE("4 KB overwritten under a running daemon: a new file within ten seconds, one notice") {
  Folder f;
  const std::string path = f / "demo.journal";
  Winter winter(start);
  auto j = opened(path, {}, winter.turn());
  REQUIRE(j);
  play(*j, winter, 3 * 1440);
  REQUIRE(j->flush(winter.turn()));
  j->maintain(winter.turn());
  const auto middle = static_cast<std::streamoff>(fs::file_size(path) / 2 / 4096 * 4096);
  {
    std::fstream file(path, std::ios::binary | std::ios::in | std::ios::out);
    file.seekp(middle);
    file << std::string(4096, '\xa5');
  }
  std::vector<std::string> news;
  const auto began = std::chrono::steady_clock::now();
  wait_for_news(*j, winter.now() + seconds{5}, news);
  CHECK(std::chrono::steady_clock::now() - began < std::chrono::seconds{10});
  CHECK(news.size() == 1);
  CHECK(aside(f).size() == 1);
  play(*j, winter, 60);
  CHECK_FALSE(j->trouble());
  CHECK(j->take_news().empty());
  REQUIRE(j->flush(winter.turn()));
  int samples = 0;
  CHECK(journal::Reader::open(path)->each_five({}, [&](const journal::StringSample& s) { samples += s.minutes; }));
  MESSAGE(samples, " of ", 2 * (3 * 1440 + 60), " samples there afterwards");
  CHECK(samples > 2 * 3 * 1440 - 400);
}

TEST_CASE("an older file is taken forward, and a step that fails leaves it as it was") {
  Folder f;
  const std::string path = f / "demo.journal";
  { CHECK(opened(path)->write({alarm(start, "raised")}, at(start))); }
  journal::Database db;
  REQUIRE(db.open(path, journal::Access::write));
  auto steps = journal::schema_steps();
  steps.push_back("ALTER TABLE alarm ADD COLUMN extra TEXT; CREATE TABLE no good");
  CHECK_FALSE(journal::migrate(db, steps));
  CHECK(db.integer("PRAGMA user_version") == journal::schema_version());
  CHECK_FALSE(db.text("SELECT extra FROM alarm"));
  steps.back() = "ALTER TABLE alarm ADD COLUMN extra TEXT DEFAULT 'x'";
  CHECK(journal::migrate(db, steps));
  CHECK(db.integer("PRAGMA user_version") == journal::schema_version() + 1);
  CHECK(db.text("SELECT text||extra FROM alarm") == "Fore string probably under snow.x");
  CHECK(journal::origin_of(db) == journal::Origin::newer);
  CHECK(journal::origin_of(db, journal::schema_version() + 1) == journal::Origin::ours);
}
