#include <doctest/doctest.h>

#include "journal/folder.h"
#include "journal/helpers.h"

using namespace fw;
using namespace fw::testing;

TEST_CASE("tables have the columns they promise, first and in order") {
  Folder f;
  const std::string path = f / "demo.journal";
  { CHECK(opened(path)->write({alarm(start, "raised")}, at(start))); }
  struct Row {
    const char *table, *columns;
  };
  for (const Row& r : {
           Row{"verdicts", "utc,string,cause,confidence,performance_index,clear_sky_w,expected_w,measured_w,sun_elevation_deg,reason"},
           Row{"alarms", "utc,alarm,subject,event,priority,text"},
           Row{"commands", "utc,charger,permit,current_limit_a,reason,confirmed_utc"},
           Row{"bank", "utc,cell_min_c,cell_max_c,soc,voltage_v,current_a,permit"},
           Row{"advice", "utc,kind,text,gain_kwh,best_from_utc,best_to_utc"},
           Row{"energy", "local_date,string,made_kwh,clear_sky_kwh,lost_cloud_kwh,lost_snow_kwh,lost_soiling_kwh,lost_shade_kwh,lost_curtailed_kwh,"
                         "lost_cold_kwh,lost_outage_kwh,no_data_kwh,unexplained_kwh"},
       }) {
    CAPTURE(r.table);
    const auto text = csv(path, r.table);
    CHECK(text.starts_with(std::string(r.columns)));
    const char next = text[std::string(r.columns).size()];
    CHECK((next == ',' || next == '\r'));
  }
}

TEST_CASE("a field with comma, quote or line break is quoted, and every line ends in CR LF") {
  Folder f;
  const std::string path = f / "demo.journal";
  { CHECK(opened(path)->write({alarm(start, "raised", "snow, \"deep\"\non both")}, at(start))); }
  CHECK(csv(path, "alarms") ==
        "utc,alarm,subject,event,priority,text,clock_trusted\r\n2026-01-15T00:00:00Z,snow,fore,raised,low,\"snow, \"\"deep\"\"\non both\",1\r\n");
}

TEST_CASE("five minutes of verdicts and a minute of the bank") {
  Folder f;
  const std::string path = f / "demo.journal";
  {
    auto j = opened(path);
    REQUIRE(j);
    std::vector<Row> rows;
    for (int m = 0; m < 5; ++m) {
      StringRow s = sample(start + minutes{m}, 200, m < 2 ? 10 : 12.5, m < 2 ? Cause::cloud : Cause::snow);
      s.verdict.reason = m < 2 ? "" : "half lost";
      s.verdict.sun_elevation_deg = -0.5 + m;
      rows.push_back(s);
    }
    BankRow b;
    b.when = stamp(start);
    b.cell_min_c = -0.004;
    b.cell_max_c = 3.456;
    b.soc = 0.5;
    b.current_a = -0.05;
    b.permit = false;
    rows.push_back(b);
    CHECK(j->write(std::move(rows), at(start)));
    CHECK(j->flush(at(start)));
  }
  CHECK(csv(path, "verdicts") ==
        "utc,string,cause,confidence,performance_index,clear_sky_w,expected_w,measured_w,sun_elevation_deg,reason,clock_trusted\r\n"
        "2026-01-15T00:00:00Z,fore,snow,0.900,0.058,200.0,200.0,11.5,1.50,half lost,1\r\n");
  CHECK(csv(path, "bank") ==
        "utc,cell_min_c,cell_max_c,soc,voltage_v,current_a,permit,current_limit_a,air_c,cabin_c,load_w,minutes,clock_trusted\r\n"
        "2026-01-15T00:00:00Z,0.00,3.46,0.5000,,-0.050,0,,,,,1,1\r\n");
  CHECK(csv(path, "energy") ==
        "local_date,string,made_kwh,clear_sky_kwh,lost_cloud_kwh,lost_snow_kwh,lost_soiling_kwh,lost_shade_kwh,lost_curtailed_kwh,"
        "lost_cold_kwh,lost_outage_kwh,no_data_kwh,unexplained_kwh,data_availability\r\n"
        "2026-01-15,fore,0.0010,0.0167,0.0157,0.0000,0.0000,0.0000,0.0000,0.0000,0.0000,0.0000,0.0000,1.000\r\n");
}

TEST_CASE("a period is half open; an empty one and an unknown table are refused in plain words") {
  Folder f;
  const std::string path = f / "demo.journal";
  {
    auto j = opened(path);
    for (int h = 0; h < 4; ++h) CHECK(j->write({alarm(start + hours{h}, "raised")}, at(start + hours{h})));
  }
  CHECK(lines(csv(path, "alarms", start + hours{1}, start + hours{3})) == 3);
  CHECK(csv(path, "alarms", start + hours{3}, start) == "the period is empty: from 2026-01-15T03:00:00Z is not before to 2026-01-15T00:00:00Z");
  CHECK(csv(path, "watts") ==
        "watts: there is no such table; the tables are verdicts, alarms, commands, bank, advice, energy, notes, notices, events");
}

TEST_CASE("a long export is the same while the daemon ages rows under it") {
  Folder f;
  const std::string path = f / "demo.journal";
  Winter winter(start - days{60});
  journal::Options o;
  o.bulk = true;
  o.keep_minutes_days = 100;
  auto j = opened(path, o, winter.turn());
  REQUIRE(j);
  play(*j, winter, 20 * 1440);
  REQUIRE(j->flush(winter.turn()));
  const auto before = csv(path, "verdicts");
  j.reset();
  o.keep_minutes_days = 1;
  j = opened(path, o, winter.turn());
  auto reader = journal::Reader::open(path);
  REQUIRE(reader);
  std::size_t rows = 0;
  int n = 0;
  // Every few rows a day's minutes age away under the reader.
  CHECK(reader->each_five({}, [&](const journal::StringSample&) {
    if (++rows % 500 == 0) j->maintain(at(winter.now() + minutes{++n}));
  }));
  CHECK(rows + 1 == lines(before));
  CHECK(csv(path, "verdicts") == before);
}
