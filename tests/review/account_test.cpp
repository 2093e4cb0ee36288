#include <doctest/doctest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "journal/folder.h"
#include "journal/helpers.h"
#include "review/account.h"
#include "review/findings.h"

using namespace fw;
using namespace fw::testing;
using journal::Part;

namespace {

/// Writes turns to a new journal.
std::string recorded(const Folder& f, const std::vector<Row>& rows) {
  const std::string path = f / "demo.journal";
  journal::Options o;
  o.bulk = true;
  auto j = opened(path, o);
  REQUIRE(j);
  // by the day or so, as no more wait in memory than that
  for (std::size_t from = 0; from < rows.size(); from += 400) {
    const std::vector<Row> part(rows.begin() + static_cast<std::ptrdiff_t>(from), rows.begin() + static_cast<std::ptrdiff_t>(std::min(from + 400, rows.size())));
    REQUIRE(j->write(part, at(start)));
    REQUIRE(j->flush(at(start)));
  }
  return path;
}

review::Account account_of(const std::string& path, review::Options o = {}) {
  auto reader = journal::Reader::open(path);
  REQUIRE(reader);
  auto a = review::account(*reader, o);
  REQUIRE(a);
  return std::move(a).value();
}

SnapshotRow about(const std::string& json) { return {stamp(start), "rig", json}; }

std::string finding(const review::Account& a, const std::string& kind) {
  for (const auto& f : a.findings)
    if (f.kind == kind) return f.text;
  return {};
}

/// Nine to three o'clock, 100 W of clear sky, of which `share` goes to one part.
void day_rows(std::vector<Row>& rows, int day, double LossSplit::*part, Cause cause, double from_h, double to_h, double share, double cell_c,
              double soc) {
  for (int m = 0; m < 1440; ++m) {
    const Utc t = start + days{day} + minutes{m};
    const double h = m / 60.0;
    const double clear = h >= 9 && h < 15 ? 100.0 : 0.0;
    StringRow s = sample(t, clear, clear, clear > 0 ? Cause::clear : Cause::dark);
    s.verdict.split.cloud_w = 0;
    if (clear > 0 && h >= from_h && h < to_h) {
      s.verdict.split.*part = clear * share;
      s.verdict.split.made_w = clear * (1 - share);
      s.verdict.measured_w = s.verdict.split.made_w;
      s.verdict.cause = cause;
    }
    rows.push_back(s);
    BankRow b;
    b.when = stamp(t);
    b.cell_min_c = cell_c + (h < 13 ? 0 : 3);
    b.soc = soc + 0.1 * std::sin(h / 24 * 6.283);
    b.current_a = clear > 0 && !(part == &LossSplit::cold_w && h < to_h) ? 5.0 : -1.0;
    b.permit = *b.cell_min_c > 0;
    rows.push_back(b);
  }
}

}  // namespace

TEST_CASE("five different days: each day's parts add up and say what it was") {
  Folder f;
  std::vector<Row> rows{about(R"({"rig":"demo","timezone":"UTC","strings":[{"name":"fore","rated_w":400}],"window":{"lower_limit_c":0}})")};
  day_rows(rows, 0, &LossSplit::curtailed_w, Cause::curtailed, 11, 15, 0.9, 6, 0.85);
  day_rows(rows, 1, &LossSplit::snow_w, Cause::snow, 0, 24, 0.97, 6, 0.6);
  day_rows(rows, 2, &LossSplit::snow_w, Cause::snow, 0, 10, 0.97, 6, 0.5);
  rows.push_back(NoteRow{stamp(start + days{2} + hours{10}), "panels_cleared", "fore", "swept"});
  day_rows(rows, 3, &LossSplit::cold_w, Cause::curtailed, 0, 13, 1.0, -2, 0.5);
  day_rows(rows, 4, &LossSplit::cloud_w, Cause::cloud, 0, 24, 0.8, 6, 0.4);
  const auto a = account_of(recorded(f, rows));
  REQUIRE(a.days.size() == 5);
  struct Expected {
    double made, snow, curtailed, cold, cloud;
  };
  const Expected e[] = {{0.24, 0, 0.36, 0, 0}, {0.018, 0.582, 0, 0, 0}, {0.503, 0.097, 0, 0, 0}, {0.2, 0, 0, 0.4, 0}, {0.12, 0, 0, 0, 0.48}};
  for (std::size_t i = 0; i < 5; ++i) {
    CAPTURE(i);
    const auto& all = a.days[i].all;
    CHECK(std::abs(all.kwh(journal::made) - e[i].made) < 0.001);
    CHECK(std::abs(all.kwh(journal::snow) - e[i].snow) < 0.001);
    CHECK(std::abs(all.kwh(journal::curtailed) - e[i].curtailed) < 0.001);
    CHECK(std::abs(all.kwh(journal::cold) - e[i].cold) < 0.001);
    CHECK(std::abs(all.kwh(journal::cloud) - e[i].cloud) < 0.001);
    CHECK(std::abs(all.clear_sky_kwh() - 0.6) < 1e-6);
    CHECK(all.data_availability() == 1.0);
  }
  REQUIRE(a.days[2].clearings.size() == 1);
  // From 3 W to 100 W for five hours.
  CHECK(std::abs(a.days[2].clearings[0].gain_kwh.value_or(0) - 0.485) < 0.005);
  CHECK(std::abs(*a.days[3].bank.cell_min_c + 2) < 0.01);
  CHECK(std::abs(a.days[3].bank.no_permit_h - 13) < 0.1);
  CHECK(a.days[3].bank.charged_below_limit_h == 0);
  CHECK(std::abs(*a.days[4].bank.soc_low - 0.3) < 0.001);
  CHECK(std::abs(*a.days[4].bank.soc_high - 0.5) < 0.001);
  for (const auto& d : a.days) {
    double parts = 0;
    for (const double p : {d.all.kwh(journal::made), d.all.kwh(journal::snow), d.all.kwh(journal::curtailed), d.all.kwh(journal::cold),
                           d.all.kwh(journal::cloud), d.all.kwh(journal::unexplained)})
      parts += p;
    CHECK(std::abs(parts - d.all.clear_sky_kwh()) < 0.02 * d.all.clear_sky_kwh());
  }

  CHECK(finding(a, "snow") == "Snow cost 0.68 kWh on 2 days; 0.58 kWh of it on 1 day bright enough for clearing to pay.");
  CHECK(finding(a, "clearings") == "Fore string was cleared on 17 January at 10:00; it brought about 0.48 kWh that day.");
  CHECK(finding(a, "cold") == "Charging was held off for 13 h; 0.40 kWh of sun was lost to the cold on 1 day.");
  CHECK(finding(a, "bank_cold") == "The bank was under 5 °C for 24 h, -2 °C at the coldest, never charged at or under 0 °C.");
  CHECK(a.findings.front().kind == "snow");
  // on the page a figure is not torn from its unit
  CHECK(review::html(a).find("The bank was under 5&nbsp;°C for 24&nbsp;h, -2&nbsp;°C at the coldest") != std::string::npos);
  CHECK(review::html(a).find("Snow cost 0.68&nbsp;kWh on 2 days; 0.58&nbsp;kWh of it on 1 day bright enough") != std::string::npos);

  const auto y = review::yields(a.all, 400);
  CHECK(std::abs(y.reference_h - 7.5) < 1e-6);
  CHECK(std::abs(y.final_h - 2.7025) < 0.005);
  CHECK(std::abs(*y.performance_ratio() - y.final_h / y.reference_h) < 1e-12);

  const std::string text = review::text(a);
  CHECK(text.find("2026-01-16      0.02    0.60       .    0.58       .       . ") != std::string::npos);
  CHECK(text.find("            cleared fore at 10:00: about 0.48 kWh more\n") != std::string::npos);
  CHECK(text.find("2026-01-15 to 2026-01-19, local time UTC. All energies in kWh.") != std::string::npos);

  const auto j = nlohmann::json::parse(review::json(a), nullptr, false);
  REQUIRE(j.is_object());
  CHECK(j["days"].size() == 5);
  CHECK(j["days"][1]["total"]["lost_snow_kwh"] == 0.582);
  CHECK(j["strings"]["fore"]["reference_yield_h"] == 7.5);
  CHECK(j["days"][2]["clearings"][0]["string"] == "fore");
}

TEST_CASE("charging while the cells are at or under the limit comes first and says what it does") {
  Folder f;
  std::vector<Row> rows;
  for (int m = 0; m < 60; ++m) {
    BankRow b;
    b.when = stamp(start + minutes{m});
    b.cell_min_c = -6;
    b.current_a = 14;
    rows.push_back(b);
  }
  const auto a = account_of(recorded(f, rows));
  REQUIRE_FALSE(a.findings.empty());
  CHECK(a.findings[0].text ==
        "The bank was under 5 °C for 1.0 h, -6 °C at the coldest; it was charged for 1.0 h at or under 0 °C. That harms the cells: find out what charged it.");
}

TEST_CASE("what is held back with room in the bank is no surplus of a full one") {
  Folder f;
  std::vector<Row> rows{about(R"({"rig":"demo","timezone":"UTC","strings":[{"name":"fore","rated_w":400}]})")};
  day_rows(rows, 0, &LossSplit::curtailed_w, Cause::curtailed, 11, 15, 0.9, 6, 0.9);   // up to 100 %
  day_rows(rows, 1, &LossSplit::curtailed_w, Cause::curtailed, 0, 24, 0.9, 6, 0.5);    // up to 60 %
  const auto a = account_of(recorded(f, rows));
  CHECK(finding(a, "curtailed") == "A full bank left 0.36 kWh unused on 1 day: time to heat water, warm the cabin or charge something.");
  CHECK(finding(a, "held_back") ==
        "Charging was held back on 1 day with room in the bank (at most 60 %): 0.54 kWh not taken. Look at what the battery or the controllers were waiting for.");
}

TEST_CASE("a clearing that nobody noted, but the output showed, stands in the review with what it brought") {
  Folder f;
  std::vector<Row> rows{about(R"({"rig":"demo","timezone":"UTC","strings":[{"name":"fore","rated_w":400}]})")};
  day_rows(rows, 0, &LossSplit::snow_w, Cause::snow, 0, 10, 0.97, 6, 0.5);
  AdviceRow done{stamp(start + hours{20}), "clearing", "Cleared about 10:00, brought about 0.48 kWh that day.", 0.48, start + hours{10}, {}, "done: brought 0.48 kWh"};
  AdviceRow withdrawn = done;
  withdrawn.outcome = "done: cleared";
  rows.push_back(withdrawn);
  rows.push_back(done);
  const auto a = account_of(recorded(f, rows));
  REQUIRE(a.days[0].clearings.size() == 1);
  CHECK(a.days[0].clearings[0].seen_only);
  CHECK(finding(a, "clearings") == "Panels came free, swept or slid, on 15 January at 10:00; it brought about 0.48 kWh that day.");
  CHECK(review::text(a).find("            glass came free at 10:00: about 0.48 kWh more\n") != std::string::npos);
}

TEST_CASE("the hours under the reserve are counted by day") {
  Folder f;
  std::vector<Row> rows{about(R"({"rig":"demo","timezone":"UTC","strings":[{"name":"fore","rated_w":400}],"reserve_soc":0.2})")};
  day_rows(rows, 0, &LossSplit::cloud_w, Cause::cloud, 0, 24, 0.8, 6, 0.6);
  day_rows(rows, 1, &LossSplit::cloud_w, Cause::cloud, 0, 24, 0.8, 6, 0.25);  // lowest 15 %; under 20 % a third of the day
  const auto a = account_of(recorded(f, rows));
  REQUIRE(a.days.size() == 2);
  CHECK(a.days[0].bank.under_reserve_h == 0);
  CHECK(std::abs(a.days[1].bank.under_reserve_h - 8) < 0.1);
  CHECK(finding(a, "reserve") == "The bank was under its reserve of 20 % for 8.0 h on 16 January, 15 % at the lowest.");
  CHECK(a.findings.front().kind == "reserve");   // so long short of charge matters more than any energy
}

TEST_CASE("a winter's account is exact, and the same whether read from minutes or from aged rows") {
  Folder f;
  const std::string path = f / "demo.journal";
  journal::Options o;
  o.bulk = true;
  o.batch = hours{6};
  o.keep_minutes_days = 20;
  Winter winter(*utc_in("2025-10-15T00:00:00Z"));
  double made = 0, clear = 0, snow = 0;
  {
    auto j = opened(path, o, winter.turn());
    REQUIRE(j);
    REQUIRE(j->write({about(journal::about_json(winter_about()))}, winter.turn()));
    for (int m = 0; m < 50 * 1440; ++m) {
      auto rows = winter.minute();
      for (const Row& r : rows)
        if (const auto* s = std::get_if<StringRow>(&r))
          made += s->verdict.split.made_w / 60'000, clear += s->verdict.clear_sky_w / 60'000, snow += s->verdict.split.snow_w / 60'000;
      REQUIRE(j->write(std::move(rows), winter.turn()));
      if (m % 60 == 0) j->maintain(winter.turn());
    }
    REQUIRE(j->flush(winter.turn()));
  }
  const auto a = account_of(path);
  CHECK(std::abs(a.all.kwh(journal::made) - made) < 0.01);
  CHECK(std::abs(a.all.clear_sky_kwh() - clear) < 0.01);
  CHECK(std::abs(a.all.kwh(journal::snow) - snow) < 0.01);
  for (const auto& d : a.days) {
    const auto r = journal::rounded_dwh(d.all.parts);
    std::int64_t strings = 0;
    for (const auto& [name, e] : d.strings) strings += journal::clear_sky(e.parts);
    CHECK(strings == journal::clear_sky(d.all.parts));
    CHECK(journal::clear_sky(r) == (2 * journal::clear_sky(d.all.parts) + 60) / 120);
  }
  CHECK(a.months.size() == 3);
  CHECK(a.winters.size() == 1);
  CHECK(a.winters[0].label == "2025/26");
  CHECK(finding(a, "worth").find(" EUR elsewhere; the snow took ") != std::string::npos);
  CHECK(finding(a, "shade").starts_with("Shade cost aft string "));
  CHECK(finding(a, "shade").find("between 13:30 and 15:00") != std::string::npos);
  CHECK(review::text(a) == review::text(account_of(path)));
  CHECK(review::html(a) == review::html(account_of(path)));

  // A part of it: whole local days.
  review::Options part;
  part.from = *utc_in("2025-10-31T23:00:00Z");
  part.to = *utc_in("2025-11-30T23:00:00Z");
  const auto november = account_of(path, part);
  CHECK(november.days.size() == 30);
  CHECK(november.all.parts == a.months[1].all.parts);
}

TEST_CASE("film shows as a share lost between months of clear sky") {
  Folder f;
  std::vector<Row> rows{about(R"({"strings":[{"name":"fore","rated_w":400}]})")};
  for (const auto& [day, watts] : {std::pair{0, 200.0}, {31, 192.0}})
    for (int m = 0; m < 360; ++m) rows.push_back(sample(start + days{day} + hours{9} + minutes{m}, 200, watts));
  CHECK(finding(account_of(recorded(f, rows)), "film") ==
        "Fore string made 4 % less in February than in January while the sky was clear: film on the glass?");
}

TEST_CASE("a winter is the darker half of the year where the rig stands, whole days only, and two are compared by the day") {
  struct Case { bool southern; std::vector<std::string> days, winters; };
  for (const Case& c : {Case{false, {"2025-09-30", "2025-10-01", "2026-03-31", "2026-04-01", "2026-10-01"}, {"2025/26", "2026/27"}},
                        Case{true, {"2026-03-31", "2026-04-01", "2026-07-01", "2026-09-30", "2026-10-01"}, {"2026"}}}) {
    CAPTURE(c.southern);
    Folder f;
    std::vector<Row> rows{about(c.southern ? R"({"timezone":"UTC","southern":true})" : R"({"timezone":"UTC"})")};
    for (const std::string& day : c.days) rows.push_back(sample(*utc_in(day + "T12:00:00Z"), 200, 100));
    std::vector<std::string> winters;
    for (const auto& w : account_of(recorded(f, rows)).winters) winters.push_back(w.label);
    CHECK(winters == c.winters);
  }

  Folder f;
  std::vector<Row> rows{about(R"({"timezone":"UTC","strings":[{"name":"fore","rated_w":400}]})")};
  for (int day = 0; day < 61; ++day)
    for (int m = 0; m < 360; ++m) {
      // one October and, but for a day, the next: as much snow a day, and a film
      const Utc t = *utc_in(day < 31 ? "2025-10-01T09:00:00Z" : "2026-10-01T09:00:00Z") + days{day % 31} + minutes{m};
      StringRow s = sample(t, 200, day < 31 ? 150 : 135, Cause::clear);
      s.verdict.split.cloud_w = day < 31 ? 0 : 15;
      s.verdict.split.snow_w = 50;
      rows.push_back(s);
    }
  const auto a = account_of(recorded(f, rows));
  REQUIRE(a.winters.size() == 2);
  CHECK(a.winters[0].days == 31);
  CHECK(a.winters[1].days == 30);
  CHECK(finding(a, "winters") == "Winter 2026/27 made 0.81 kWh a day over 30 days, 2025/26 0.90 kWh over 31 days. Snow cost 0.30 kWh a day against 0.30 kWh.");
  CHECK(finding(a, "film") == "Fore string made 10 % less in October 2026 than in October 2025 while the sky was clear: film on the glass?");
}

TEST_CASE("hills before sunrise and after sunset, and a bank that was cold by itself, are said as they are") {
  Folder f;
  std::vector<Row> rows;
  for (int m = 0; m < 360; ++m) {
    StringRow s = sample(start + hours{9} + minutes{m}, 200, 200, Cause::clear);
    s.verdict.split.cloud_w = 0;
    const bool low = m < 60 || m >= 270;
    (low ? s.verdict.split.shade_w : s.verdict.split.cold_w) = low || m < 120 ? 150 : 0;
    s.verdict.split.made_w = low || m < 120 ? 50 : 200;
    rows.push_back(s);
  }
  const auto a = account_of(recorded(f, rows));
  CHECK(finding(a, "shade") ==
        "Shade cost fore string 0.38 kWh, early and late in the day: most before 10:00 and after 13:30. What stands around takes it; a more open place "
        "would win it back.");
  CHECK(finding(a, "cold") == "The bank was too cold to take charge; 0.15 kWh of sun was lost to the cold on 1 day.");
}

TEST_CASE("days are taken whole, and the account says so: its energy, its bank and its alarms are of the same time") {
  Folder f;
  std::vector<Row> rows{about(R"({"timezone":"Europe/Oslo","strings":[{"name":"fore","rated_w":400}]})")};
  for (int d = 0; d < 3; ++d) day_rows(rows, d, &LossSplit::cloud_w, Cause::cloud, 0, 24, 0.8, 6, 0.4);
  rows.push_back(alarm(start + days{1} + hours{2}, "raised"));
  const auto path = recorded(f, rows);
  review::Options o;
  o.from = start + days{1} + hours{12};
  o.to = start + days{1} + hours{13};
  const auto hour = account_of(path, o);
  o.from = start + days{1} - hours{1};     // midnight in Oslo
  o.to = start + days{2} - hours{1};
  const auto day = account_of(path, o);
  REQUIRE(hour.days.size() == 1);
  CHECK(hour.widened);
  CHECK_FALSE(day.widened);
  CHECK(*hour.days[0].bank.soc_low == *day.days[0].bank.soc_low);
  CHECK(hour.days[0].alarms == 1);
  CHECK(hour.all.parts == day.all.parts);
  CHECK(review::text(hour).find("\n2026-01-16, whole days, local time Europe/Oslo. All") != std::string::npos);
  CHECK(review::text(day).find("\n2026-01-16, local time Europe/Oslo. All") != std::string::npos);
}

TEST_CASE("a loss that nobody had takes no column, a long name breaks none, and a night alone is no day of the mean") {
  Folder f;
  std::vector<Row> rows{about(R"({"timezone":"UTC","strings":[{"name":"fore","rated_w":400}]})")};
  day_rows(rows, 0, &LossSplit::snow_w, Cause::snow, 0, 24, 0.5, 6, 0.4);
  StringRow other = sample(start + hours{12}, 100, 100);
  other.string = "the_long_row_above_the_door";
  rows.push_back(other);
  BankRow night;
  night.when = stamp(start + days{1} + hours{1});
  night.soc = 0.4;
  rows.push_back(night);
  const auto a = account_of(recorded(f, rows));
  CHECK(a.days.size() == 2);
  CHECK(a.days_of_light() == 1);
  CHECK(a.months[0].days == 1);
  const std::string text = review::text(a);
  CHECK(text.find("\n2026-01-15      0.30    0.60    0.30") != std::string::npos);
  CHECK(text.find("\ntotal                            made   clear    snow\n") != std::string::npos);
  CHECK(text.find("\nfore                             0.30    0.60    0.30\n") != std::string::npos);
  CHECK(text.find("\nthe_long_row_above_the_door      0.00    0.00       .\n") != std::string::npos);
  CHECK(text.find("film") == std::string::npos);
}

TEST_CASE("alarms are summed by name: how often, how long any of them stood, and how many messages they sent") {
  Folder f;
  std::vector<Row> rows{about(R"({"timezone":"UTC"})")};
  day_rows(rows, 0, &LossSplit::snow_w, Cause::snow, 0, 24, 0.5, 6, 0.4);
  const auto event = [&](double h, const char* subject, const char* what, const char* alarm = "snow") {
    rows.push_back(AlarmRow{stamp(start + minutes{static_cast<int>(h * 60)}), alarm, subject, what, "high", "x"});
  };
  event(9, "fore", "raised"), event(9.1, "rig", "notified"), event(10, "aft", "raised"), event(11, "fore", "cleared"), event(12, "aft", "cleared");
  event(13, "fore", "raised"), event(13.5, "fore", "suppressed"), event(14, "fore", "unsuppressed"), event(14.5, "fore", "cleared"), event(15, "rig", "notified");
  event(20, "bank", "raised", "bank_cold");
  const auto a = account_of(recorded(f, rows));
  const auto& snow = a.alarm_sums.at("snow");
  CHECK(snow.raised == 3);
  CHECK(snow.messages == 2);
  CHECK(std::abs(snow.stood_h - 4.0) < 1e-9);
  CHECK(std::abs(a.alarm_sums.at("bank_cold").stood_h - 4.0) < 1e-9);
  CHECK(review::text(a).find("\nbank cold                  1    4.0 h\nsnow                       3    4.0 h         2\n") != std::string::npos);
}

TEST_CASE("an upside-down period, an unknown zone and an empty journal are no surprise") {
  Folder f;
  const auto path = recorded(f, {about(R"({"timezone":"Nowhere/AtAll"})"), sample(start, 100, 50)});
  auto reader = journal::Reader::open(path);
  REQUIRE(reader);
  review::Options o;
  o.from = start + hours{1};
  o.to = start;
  const auto r = review::account(*reader, o);
  REQUIRE_FALSE(r);
  CHECK(r.fault().text() == "the period is empty: from 2026-01-15T01:00:00Z is not before to 2026-01-15T00:00:00Z");
  CHECK(account_of(path).zone == "UTC");
  CHECK(review::text(account_of(path)).find("2026-01-15, times in UTC, for the rig's zone 'Nowhere/AtAll' is not known here. All") != std::string::npos);
  o.from = start + days{400};
  o.to = start + days{500};
  const auto none = account_of(path, o);
  CHECK(none.days.empty());
  CHECK(review::text(none).find("Nothing was recorded in this period.") != std::string::npos);
  CHECK(review::html(none).find("Nothing was recorded in this period.") != std::string::npos);
}

TEST_CASE("energies are said with the digits they deserve") {
  CHECK(review::energy_words(0.412) == "0.41 kWh");
  CHECK(review::energy_words(14.24) == "14.2 kWh");
  CHECK(review::energy_words(312.4) == "312 kWh");
}
