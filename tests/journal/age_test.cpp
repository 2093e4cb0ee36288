// Minutes become five-minute rows and sums by day; nothing that is exported in five minutes changes.
#include <doctest/doctest.h>

#include <filesystem>
#include <numeric>

#include "journal/database.h"
#include "journal/five.h"
#include "journal/folder.h"
#include "journal/helpers.h"

using namespace fw;
using namespace fw::testing;
using journal::Reader;

namespace {

struct Sums {
  double made = 0, clear = 0, parts = 0;
  int rows = 0;
};

/// By a plain reading of the exported text.
Sums sums_of(const std::string& energy_csv) {
  Sums s;
  std::istringstream in(energy_csv);
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    std::vector<double> v;
    std::istringstream fields(line);
    std::string field;
    for (int i = 0; std::getline(fields, field, ','); ++i)
      if (i >= 2 && i <= 12) v.push_back(number_in(field).value_or(1e9));
    s.made += v[0];
    s.clear += v[1];
    const double parts = v[0] + std::accumulate(v.begin() + 2, v.end(), 0.0);
    CHECK(std::abs(parts - v[1]) < 1e-9);
    s.parts += parts;
    ++s.rows;
  }
  return s;
}

}  // namespace

TEST_CASE("verdicts and energy export the same before and after the minutes have aged") {
  Folder f;
  const std::string path = f / "demo.journal";
  Winter winter(start - days{100});
  const Utc begun = winter.now();
  journal::Options o;
  o.bulk = true;
  o.keep_minutes_days = 400;
  {
    auto j = opened(path, o, winter.turn());
    REQUIRE(j);
    play(*j, winter, 6 * 1440);
    REQUIRE(j->flush(winter.turn()));
  }
  const std::string verdicts = csv(path, "verdicts"), energy = csv(path, "energy");
  CHECK(lines(verdicts) == 1 + 6 * 288 * 2);
  const Sums before = sums_of(energy);
  CHECK(before.rows == 14);  // local days of an offset of one hour: six and a piece
  CHECK(before.made > 1);

  o.keep_minutes_days = 1;
  auto j = opened(path, o, winter.turn());
  REQUIRE(j);
  for (int n = 0; n < 20; ++n) j->maintain(at(winter.now() + minutes{n}));
  // The youngest day and the begun one stay in minutes.
  CHECK(lines(csv(path, "bank", winter.now() - days{1}, winter.now())) == 1 + 1440);
  CHECK(lines(csv(path, "bank", begun, begun + days{1})) == 1 + 288);
  CHECK(csv(path, "verdicts") == verdicts);
  CHECK(csv(path, "energy") == energy);
}

TEST_CASE("a file over its limit gives up the finest and oldest first, and keeps the sums by day") {
  Folder f;
  const std::string path = f / "demo.journal";
  Winter winter(start - days{100});
  journal::Options o;
  o.bulk = true;
  o.max_bytes = 3 << 20;
  o.keep_minutes_days = 365;
  auto j = opened(path, o, winter.turn());
  REQUIRE(j);
  double made = 0;
  for (int m = 0; m < 40 * 1440; ++m) {
    auto rows = winter.minute();
    for (const Row& r : rows)
      if (const auto* s = std::get_if<StringRow>(&r)) made += s->verdict.split.made_w / 60'000;
    REQUIRE(j->write(std::move(rows), winter.turn()));
    if (m % 5 == 0) j->maintain(winter.turn());
  }
  REQUIRE(j->flush(winter.turn()));
  const auto size = std::filesystem::file_size(path) + std::filesystem::file_size(path + "-wal");
  CHECK(size <= (3 << 20) + (1 << 20));
  CHECK(std::abs(sums_of(csv(path, "energy")).made - made) < 0.01);
  CHECK(lines(csv(path, "bank", winter.now() - days{1}, winter.now())) == 1 + 1440);
  CHECK(lines(csv(path, "alarms")) > 5);
}

TEST_CASE("on a card that others fill up the minutes are given up before it is full, and nothing more") {
  Folder f;
  const std::string path = f / "demo.journal";
  Winter winter(start - days{20});
  const Utc begun = winter.now();
  journal::Options o;
  o.bulk = true;
  o.spare_card_bytes = 0;
  auto j = opened(path, o, winter.turn());
  REQUIRE(j);
  play(*j, winter, 10 * 1440);
  REQUIRE(j->flush(winter.turn()));
  for (int n = 0; n < 100; ++n) j->maintain(at(winter.now() + minutes{10 * n}));
  CHECK(lines(csv(path, "bank", begun, begun + days{1})) == 1 + 1440);
  const std::string verdicts = csv(path, "verdicts"), energy = csv(path, "energy");

  j.reset();
  o.spare_card_bytes = UINTMAX_MAX;
  j = opened(path, o, winter.turn());
  REQUIRE(j);
  for (int n = 0; n < 100; ++n) j->maintain(at(winter.now() + minutes{10 * n}));
  CHECK(lines(csv(path, "bank", begun, begun + days{1})) == 1 + 288);
  CHECK(lines(csv(path, "bank", winter.now() - days{1}, winter.now())) == 1 + 1440);
  CHECK(csv(path, "verdicts") == verdicts);
  CHECK(csv(path, "energy") == energy);
}

TEST_CASE("the cause of five minutes is the one held longest, of equals the first") {
  const auto minute = [](int m, Cause c, int confidence, int reason) {
    journal::StringSample s;
    s.seq = m + 1;
    s.minute = 29'000'000 + m;
    s.string = 1;
    s.cause = c;
    s.confidence_pm = confidence;
    s.reason = reason;
    s.measured_dw = 10 * m;
    s.index_pm = 500;
    s.expected_dw = 100;
    s.live = 1;
    return s;
  };
  journal::StringFives fives;
  int m = 0;
  for (auto [c, confidence, reason] : {std::tuple{Cause::cloud, 600, 3}, {Cause::snow, 900, 4}, {Cause::snow, 800, 5}, {Cause::cloud, 700, 3}, {Cause::clear, 990, 0}})
    fives.take(minute(m++, c, confidence, reason));
  CHECK(fives.closed().empty());
  fives.take(minute(m, Cause::dark, 1000, 0));
  const auto closed = fives.closed();
  REQUIRE(closed.size() == 1);
  CHECK(closed[0].cause == Cause::cloud);
  CHECK(closed[0].confidence_pm == 650);
  CHECK(closed[0].reason == 3);
  CHECK(closed[0].minutes == 5);
  CHECK(closed[0].measured_dw == 20);
  CHECK(closed[0].index_pm == 200);
  CHECK(fives.finish().size() == 1);
}

TEST_CASE("energies rounded for print still add up to the last digit") {
  journal::Split s{};
  for (std::size_t i = 0; i < s.size(); ++i) s[i] = 29 + 7 * static_cast<std::int64_t>(i) * (i % 2 ? -1 : 1);
  const auto r = journal::rounded_dwh(s);
  std::int64_t sum = 0;
  for (auto v : r) sum += v;
  CHECK(sum == (journal::clear_sky(s) + 30) / 60);
}

TEST_CASE("rows of an interval that a wrong clock put far ahead do not stop the ageing") {
  Folder f;
  const std::string path = f / "demo.journal";
  journal::Options o;
  o.keep_minutes_days = 2;
  auto j = opened(path, o);
  REQUIRE(j);
  CHECK(j->write({sample(*utc_in("2099-05-05T12:00:00Z"), 100, 50)}, at(start)));
  for (int d = 0; d < 6; ++d) CHECK(j->write({sample(start + days{d}, 100, 50)}, at(start + days{d})));
  CHECK(j->flush(at(start + days{6})));
  for (int n = 0; n < 12; ++n) j->maintain(at(start + days{6} + minutes{10 * n}));
  auto reader = Reader::open(path);
  REQUIRE(reader);
  int fives = 0;
  CHECK(reader->each_five({}, [&](const journal::StringSample&) { ++fives; }));
  CHECK(fives == 7);
  journal::Database db;
  REQUIRE(db.open(path, journal::Access::read));
  CHECK(db.integer("SELECT count(*) FROM string_minute") == 2);
}
