// What the review says mattered: true, in the right order, and with the right advice.
#include <doctest/doctest.h>

#include <cmath>
#include <utility>

#include "journal/folder.h"
#include "journal/helpers.h"
#include "review/account.h"

using namespace fw;
using namespace fw::testing;

namespace {

struct Told {
  Folder folder;
  std::vector<Row> rows;
  std::size_t written = 0;

  explicit Told(const std::string& about = R"({"rig":"demo","timezone":"UTC","strings":[{"name":"fore","rated_w":400}]})") {
    rows.push_back(SnapshotRow{stamp(start), "rig", about});
  }
  /// Nine to three o'clock of a day, 100 W of clear sky: what is made of it, and where the rest goes.
  void light(int day, double made_w, double LossSplit::*part, Cause cause, const std::string& string = "fore", const std::string& reason = "",
             double from_h = 9, double to_h = 15) {
    for (int m = 9 * 60; m < 15 * 60; ++m) {
      const bool then = m >= from_h * 60 && m < to_h * 60;
      StringRow s = sample(start + days{day} + minutes{m}, 100, then ? made_w : 100, then ? cause : Cause::clear);
      s.string = string;
      s.verdict.split.cloud_w = 0;
      s.verdict.split.*part = 100 - s.verdict.split.made_w;
      if (then) s.verdict.reason = reason;
      rows.push_back(s);
    }
  }
  void bank(int day, double cell_c, double soc, double current_a = -1, int from_m = 0, int to_m = 1440) {
    for (int m = from_m; m < to_m; ++m) {
      BankRow b;
      b.when = stamp(start + days{day} + minutes{m});
      b.cell_min_c = cell_c;
      b.soc = soc;
      b.current_a = current_a;
      rows.push_back(b);
    }
  }
  review::Account account() {
    const std::string path = folder / "demo.journal";
    journal::Options o;
    o.bulk = true;
    auto j = opened(path, o);
    REQUIRE(j);
    for (std::size_t from = std::exchange(written, rows.size()); from < rows.size(); from += 400) {
      const auto to = std::min(from + 400, rows.size());
      REQUIRE(j->write({rows.begin() + static_cast<std::ptrdiff_t>(from), rows.begin() + static_cast<std::ptrdiff_t>(to)}, at(start)));
      REQUIRE(j->flush(at(start)));
    }
    auto reader = journal::Reader::open(path);
    REQUIRE(reader);
    auto a = review::account(*reader, {});
    REQUIRE(a);
    return std::move(a).value();
  }
  std::string finding(const std::string& kind) {
    std::string found;
    for (const auto& f : account().findings)
      if (f.kind == kind) found += f.text + '\n';
    return found;
  }
};

}  // namespace

TEST_CASE("a bank that was charged right up to its limit was not harmed") {
  // the last minute of charge and the first reading of the limit lie in the same five minutes
  Told t;
  t.bank(0, 0.05, 0.5, 26, 600, 727);
  t.bank(0, -0.05, 0.5, 26, 727, 728);
  t.bank(0, 0.05, 0.5, 26, 728, 730);
  t.bank(0, -0.05, 0.5, 26, 730, 731);
  t.bank(0, -0.3, 0.5, -0.2, 731, 800);
  t.bank(0, -8, 0.5, -0.2, 800, 900);
  const auto a = t.account();
  CHECK(t.finding("bank_cold") == "The bank was under 5 °C for 5.0 h, -8 °C at the coldest; it was charged for 10 min at or just under 0 °C, never for long below.\n");
  CHECK(a.bank.charged_below_limit_h == 0);

  Told harmed;
  harmed.bank(0, -2, 0.5, 26, 600, 630);
  CHECK(harmed.finding("bank_cold") ==
        "The bank was under 5 °C for 30 min, -2 °C at the coldest; it was charged for 30 min at or under 0 °C. That harms the cells: find out what charged it.\n");
}

TEST_CASE("charge held back with room in a bank as cold as its limit is told with the cold, what is held back warm with its reason") {
  Told t;
  t.light(0, 10, &LossSplit::curtailed_w, Cause::curtailed, "fore", "bank refuses charge");
  t.bank(0, -14, 0.6);
  CHECK(t.finding("cold") == "The bank was too cold to take charge; probably 0.54 kWh on 1 day, when charge was held back with cells down to -14 °C.\n");
  CHECK(t.finding("held_back").empty());
  t.light(1, 20, &LossSplit::cold_w, Cause::curtailed);
  t.bank(1, -3, 0.6);
  CHECK(t.finding("cold") ==
        "The bank was too cold to take charge; 0.48 kWh of sun was lost to the cold on 1 day; probably another 0.54 kWh on 1 day, when charge was held back with "
        "cells down to -14 °C.\n");

  struct Case { const char *reason, *says; };
  for (const Case& c : {Case{"bank refuses charge", "The battery itself refused it: ask its own guard why."},
                        Case{"bank full", "The controllers took it for full: look at their settings, and at the reading of its charge."},
                        Case{"", "Look at what the battery or the controllers were waiting for."}}) {
    CAPTURE(c.reason);
    Told warm;
    warm.light(0, 10, &LossSplit::curtailed_w, Cause::curtailed, "fore", c.reason);
    warm.bank(0, 12, 0.46);
    CHECK(warm.finding("held_back") ==
          std::string("Charging was held back on 1 day with room in the bank (at most 46 %): 0.54 kWh not taken. ") + c.says + '\n');
  }
}

TEST_CASE("clearing would not have paid on a day when the bank got full all the same, nor below what the owner wants for a ladder") {
  Told t;
  t.light(0, 0, &LossSplit::snow_w, Cause::snow);
  t.bank(0, 12, 0.5);
  t.light(1, 0, &LossSplit::snow_w, Cause::snow);
  t.light(1, 50, &LossSplit::curtailed_w, Cause::curtailed, "aft");
  t.bank(1, 12, 1.0);
  CHECK(t.finding("snow") == "Snow cost 1.2 kWh on 2 days; 0.60 kWh of it on 1 day bright enough for clearing to pay; on 1 more the bank got full all the same.\n");

  Told full;
  full.light(0, 0, &LossSplit::snow_w, Cause::snow);
  full.light(0, 50, &LossSplit::curtailed_w, Cause::curtailed, "aft");
  full.bank(0, 12, 1.0);
  CHECK(full.finding("snow") == "Snow cost 0.60 kWh on 1 day; on 1 day bright enough the bank got full all the same.\n");

  Told choosy(R"({"timezone":"UTC","min_gain_kwh":0.8})");
  choosy.light(0, 0, &LossSplit::snow_w, Cause::snow);
  choosy.bank(0, 12, 0.5);
  CHECK(choosy.finding("snow") == "Snow cost 0.60 kWh on 1 day; no day was bright enough for clearing to pay.\n");
}

TEST_CASE("what was advised for days with snow stands beside what came of it") {
  Told t;
  for (int day = 0; day < 3; ++day) t.light(day, 0, &LossSplit::snow_w, Cause::snow);
  t.light(3, 90, &LossSplit::cloud_w, Cause::cloud);
  const auto advise = [&](int day, double kwh, const char* outcome) {
    t.rows.push_back(AdviceRow{stamp(start + days{day} + hours{8}), "clearing", "Clearing today looks worth it.", kwh, start + days{day} + hours{10}, {}, outcome});
  };
  advise(0, 1.2, ""), advise(0, 1.4, "");
  advise(1, 0.3, "");                      // not worth the ladder
  advise(2, 1.2, "withdrawn: the glass is free");
  advise(2, 0.9, "");
  advise(3, 1.2, "");                      // the snow that was forecast did not come
  CHECK(t.finding("clearings") == "Clearing was advised for 2 days with snow on the glass.\n");
  t.rows.push_back(NoteRow{stamp(start + days{2} + hours{12}), "panels_cleared", "fore", "swept"});
  CHECK(t.finding("clearings") == "Fore string was cleared on 17 January at 12:00; it brought next to nothing that day. Clearing was advised for 2 days with snow on the glass.\n");
}

TEST_CASE("a film that was booked is told with its cost, also where there is no other month to compare with") {
  Told t;
  t.light(0, 75, &LossSplit::soiling_w, Cause::soiling);
  CHECK(t.finding("film") == "Film on the glass cost fore string 0.15 kWh.\n");
  t.light(31, 100, &LossSplit::soiling_w, Cause::clear);
  t.light(62, 80, &LossSplit::soiling_w, Cause::soiling);
  CHECK(t.finding("film") == "Fore string made 20 % less in March than in February while the sky was clear; film on the glass cost it 0.27 kWh.\n");
}

TEST_CASE("cleaning looks worth it where a film takes from a bank with room, and still does") {
  for (const bool full : {false, true}) {
    CAPTURE(full);
    Told t;
    for (int day = 0; day < 7; ++day) {
      t.light(day, 70, &LossSplit::soiling_w, Cause::soiling);
      t.bank(day, 12, full ? 1.0 : 0.5);
      if (full) t.light(day, 50, &LossSplit::curtailed_w, Cause::curtailed, "aft");
    }
    CHECK(t.finding("film") == std::string("Film on the glass cost fore string 1.3 kWh.") +
                                   (full ? "\n" : " In the last week alone 1.3 kWh: cleaning looks worth it, mind the ladder.\n"));
    for (int day = 7; day < 14; ++day) t.light(day, 100, &LossSplit::soiling_w, Cause::clear);   // rain
    CHECK(t.finding("film") == "Film on the glass cost fore string 1.3 kWh.\n");
  }
}

TEST_CASE("a hill that stands in the low sun of winter makes no film") {
  Told t;
  t.light(0, 100, &LossSplit::shade_w, Cause::clear);
  t.light(31, 80, &LossSplit::shade_w, Cause::clear);
  CHECK(t.finding("film").empty());
}

TEST_CASE("strings shaded at the same hours share a sentence, and little shade is passed over") {
  Told t;
  for (const char* string : {"aft", "fore", "side"}) t.light(0, string[0] == 'a' ? 40 : 50, &LossSplit::shade_w, Cause::shade, string, "", 13, 15);
  t.light(0, 95, &LossSplit::shade_w, Cause::shade, "roof", "", 9, 10);
  CHECK(t.finding("shade") ==
        "Shade cost aft string 0.12 kWh, fore string 0.10 kWh and side string 0.10 kWh, most of it between 13:00 and 15:00. Turning or moving the rig a little may "
        "win it back.\n");

  t.light(0, 40, &LossSplit::shade_w, Cause::shade, "west", "", 13, 15);
  CHECK(t.finding("shade").starts_with("Shade cost 4 strings 0.44 kWh, most of it between 13:00 and 15:00."));

  Told wide;
  wide.light(0, 50, &LossSplit::shade_w, Cause::shade, "fore", "", 9, 15);
  CHECK(wide.finding("shade") == "Shade cost fore string 0.30 kWh, through much of the day. What stands around takes it; a more open place would win it back.\n");
}

TEST_CASE("a string that lost half of itself is not said to be out, and both say when") {
  Told t;
  t.light(0, 50, &LossSplit::outage_w, Cause::outage, "fore", "half lost");
  t.light(2, 50, &LossSplit::outage_w, Cause::outage, "fore", "half lost", 9, 12);
  t.light(1, 0, &LossSplit::outage_w, Cause::outage, "aft", "disconnected");
  CHECK(t.finding("outage") ==
        "Aft string was out for 6.0 h of daylight, on 16 January: 0.60 kWh lost.\n"
        "Fore string made half of what it should for 9.0 h of daylight, between 15 January and 17 January: 0.45 kWh lost. A plug, fuse or branch may be loose: have it "
        "looked at by someone qualified.\n");
}

TEST_CASE("missing telemetry is told with its string and its day") {
  Told t;
  t.light(0, 100, &LossSplit::cloud_w, Cause::clear);
  t.light(1, 100, &LossSplit::cloud_w, Cause::clear);
  t.light(1, 100, &LossSplit::cloud_w, Cause::clear, "aft");
  const auto before = t.rows.size();
  t.light(2, 0, &LossSplit::no_data_w, Cause::stale, "aft");
  for (std::size_t i = before; i < t.rows.size(); ++i) std::get<StringRow>(t.rows[i]).verdict.measured_w.reset();
  CHECK(t.finding("no_data") ==
        "Telemetry was there for 75.0 % of the daylight; for 0.60 kWh of clear sky nobody knows what became of it: aft string, mostly on 17 January.\n");
}

TEST_CASE("a bank long short of charge comes before any energy, a short dip does not") {
  Told t;
  t.light(0, 0, &LossSplit::snow_w, Cause::snow);
  t.bank(0, 12, 0.19, -1, 0, 30);
  t.bank(0, 12, 0.3, -1, 30, 1440);
  CHECK(t.account().findings.front().kind == "snow");
  t.bank(1, 12, 0.18, -1, 0, 600);
  t.bank(2, 12, 0.15, -1, 0, 30);
  const auto a = t.account();
  CHECK(a.findings.front().text == "The bank was under its reserve of 20 % for 11 h on 3 days, 15 % at the lowest (17 January).");
}

TEST_CASE("what it was worth is said in the digits of its money") {
  struct Case { const char *price, *says; };
  for (const Case& c : {Case{R"("price_per_kwh":0.3,"currency":"EUR")", "0.18 EUR elsewhere"}, Case{R"("price_per_kwh":900,"currency":"ct")", "540 ct elsewhere"},
                        Case{R"("price_per_kwh":0.0001,"currency":"gold")", "0.000060 gold elsewhere"}, Case{R"("price_per_kwh":0)", "0.00 elsewhere"}}) {
    CAPTURE(c.price);
    Told t(std::string(R"({"timezone":"UTC",)") + c.price + "}");
    t.light(0, 100, &LossSplit::cloud_w, Cause::clear);
    CHECK(t.finding("worth") == std::string("What the roof made would have cost ") + c.says + ".\n");
  }
}

TEST_CASE("glass cleared again and again in a snowfall brings each hour's gain once") {
  Told t;
  t.light(0, 100, &LossSplit::cloud_w, Cause::clear);
  for (int m = 0; m < 360; ++m) {
    auto& v = std::get<StringRow>(t.rows[static_cast<std::size_t>(1 + m)]).verdict;
    const bool covered = m % 120 >= 60;     // an hour free, an hour under new snow
    v.measured_w = v.split.made_w = covered ? 0 : 100;
    v.split.snow_w = covered ? 100 : 0;
    v.cause = covered ? Cause::snow : Cause::clear;
  }
  for (const int h : {11, 13}) t.rows.push_back(NoteRow{stamp(start + hours{h}), "panels_cleared", h == 11 ? "fore" : "", "swept"});
  const auto a = t.account();
  REQUIRE(a.days[0].clearings.size() == 2);
  for (const auto& c : a.days[0].clearings) CHECK(std::abs(*c.gain_kwh - 0.1) < 0.005);
}

TEST_CASE("hours without a believed cell temperature or clock are said") {
  Told t;
  t.bank(0, -3, 0.5, -1, 0, 300);
  const auto before = t.rows.size();
  t.bank(0, 0, 0.5, -1, 300, 480);
  for (std::size_t i = before; i < t.rows.size(); ++i) {
    auto& b = std::get<BankRow>(t.rows[i]);
    b.cell_min_c.reset();
    b.when.trusted = false;
  }
  CHECK(t.finding("bank_cold") == "The bank was under 5 °C for 5.0 h, -3 °C at the coldest, never charged at or under 0 °C. For 3.0 h more nobody knows how cold it was.\n");
  CHECK(t.finding("clock") ==
        "For 3.0 h the board's clock was not to be believed: strings were not judged, and what stands there may lie on another day.\n");
}

TEST_CASE("a journal of a bank alone has no tables of energy") {
  Told t(R"({"timezone":"UTC"})");
  t.bank(0, 12, 0.5);
  const std::string text = review::text(t.account());
  CHECK(text.find("Yields") == std::string::npos);
  CHECK(text.find("\nday             cells    charge  alarms\n2026-01-15      12 °C   50-50 %\n") != std::string::npos);
}
