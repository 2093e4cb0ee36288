// A card that is full or read-only, and a reader that does not let go.
#include <doctest/doctest.h>

#include <filesystem>

#include "journal/database.h"
#include "journal/folder.h"
#include "journal/helpers.h"
#include "journal/power_vfs.h"

using namespace fw;
using namespace fw::testing;

TEST_CASE("a card full for an hour: said once, nothing that matters lost, writing resumes by itself") {
  Folder f;
  const std::string path = f / "demo.journal";
  PowerVfs card;
  Winter winter(start);
  auto j = opened(path, {}, winter.turn());
  REQUIRE(j);
  play(*j, winter, 60);
  CHECK_FALSE(j->trouble());
  bool read_only = false;
  SUBCASE("full") { card.card_full(true); }
  SUBCASE("read-only") { card.card_read_only(true), read_only = true; }
  CHECK_FALSE(j->write({notice(winter.now(), "kept"), alarm(winter.now(), "raised")}, winter.turn()));
  REQUIRE(j->trouble());
  CHECK(*j->trouble() == std::string(read_only ? "The card can only be read and the journal has stopped. Watching and charge control go on; the "
                                                 "latest hours are kept in memory. Have the card looked at."
                                               : "The card is full and the journal has stopped. Watching and charge control go on; the latest "
                                                 "hours are kept in memory. Make room on the card."));
  play(*j, winter, 60);
  CHECK(j->trouble());
  CHECK(j->open_notices().size() == 1);
  CHECK(lines(csv(path, "notices")) == 1);
  card.card_full(false);
  card.card_read_only(false);
  play(*j, winter, 16);
  CHECK_FALSE(j->trouble());
  REQUIRE(j->flush(winter.turn()));
  CHECK(lines(csv(path, "notices")) == 2);
  CHECK(lines(csv(path, "bank")) == 1 + 136);
}

TEST_CASE("memory is bounded while nothing can be written, and the gap is told") {
  Folder f;
  PowerVfs card;
  auto j = opened(f / "demo.journal");
  REQUIRE(j);
  CHECK(j->write({alarm(start, "raised")}, at(start)));
  card.card_full(true);
  Utc t = start;
  for (int m = 0; m < 15'000; ++m, t += minutes{1}) (void)j->write({sample(t, 100, 50)}, at(t));
  for (int n = 0; n < 4'000; ++n) (void)j->write({EventRow{stamp(t), "start", "x"}}, at(t));
  (void)j->write({notice(t, "kept")}, at(t));
  CHECK(j->waiting() <= 12'000 + 3'000);
  card.card_full(false);
  j->maintain(at(t + minutes{1}));
  j->maintain(at(t + minutes{2}));
  CHECK_FALSE(j->trouble());
  CHECK(lines(csv(f / "demo.journal", "notices")) == 2);
  CHECK(csv(f / "demo.journal", "events").find("journal_gap,The journal could not be written for a while: 4001 rows are missing.") != std::string::npos);
}

TEST_CASE("started on a card that cannot be written it waits, and begins when it can") {
  Folder f;
  PowerVfs card;
  card.card_full(true);
  auto j = opened(f / "demo.journal");
  REQUIRE(j);
  CHECK(j->trouble());
  CHECK_FALSE(j->write({notice(start, "kept")}, at(start)));
  card.card_full(false);
  j->maintain(at(start + minutes{1}));
  CHECK_FALSE(j->trouble());
  CHECK(lines(csv(f / "demo.journal", "notices")) == 2);
}

TEST_CASE("a reader that holds the journal for a day is noted once and the file stays bounded") {
  Folder f;
  const std::string path = f / "demo.journal";
  Winter winter(start - days{60});
  auto j = opened(path, {}, winter.turn());
  REQUIRE(j);
  play(*j, winter, 30);
  REQUIRE(j->flush(winter.turn()));
  journal::Database shell;
  REQUIRE(shell.open(path, journal::Access::read));
  REQUIRE(shell.exec("BEGIN"));
  REQUIRE(shell.integer("SELECT count(*) FROM bank_minute"));

  play(*j, winter, 1440);
  const auto a_day = std::filesystem::file_size(path) + std::filesystem::file_size(path + "-wal");
  MESSAGE("file and log after a day under a reader: ", a_day, " bytes");
  CHECK(a_day < 8u << 20);
  const std::string held = "Another program keeps the journal open for reading, so it cannot be tidied. Close what reads it.";
  CHECK(j->trouble() == held);
  // Alarms every minute fill the log faster than any winter does.
  for (int m = 0; m < 1500; ++m) {
    std::vector<Row> rows = winter.minute();
    rows.push_back(alarm(winter.now(), "raised"));
    REQUIRE(j->write(std::move(rows), winter.turn()));
    j->maintain(winter.turn());
  }
  REQUIRE(j->trouble());
  CHECK(*j->trouble() == held);
  REQUIRE(shell.exec("COMMIT"));
  shell.close();
  play(*j, winter, 30);
  REQUIRE(j->flush(winter.turn()));
  CHECK_FALSE(j->trouble());
  CHECK(std::filesystem::file_size(path + "-wal") < 4u << 20);
  std::size_t said = 0;
  const std::string events = csv(path, "events");
  for (auto p = events.find("journal_held"); p != std::string::npos; p = events.find("journal_held", p + 1)) ++said;
  CHECK(said == 1);
}
