// The generated labelled feeds: that they are what they claim to be, and how the diagnosis does on a small fixed
// sample. All of them with FW_LONG=1. Floors stand below what is measured, so that a fall is seen.
#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <map>
#include <sstream>

#include "score/generated/electric.h"
#include "score/generated/label.h"
#include "score/generated/light.h"
#include "score/generated/world.h"
#include "score/labelled.h"
#include "score/play.h"
#include "score/tally.h"

using namespace fw;

namespace {

score::Tally played(const score::Pick& pick, int days) {
  auto labelled = score::labelled_generated(score::generate(pick.family, pick.seed, days), {});
  REQUIRE_MESSAGE(labelled, "a generated feed is not readable");
  const auto words = Words::in_zone(labelled->rig.site.timezone, false);
  REQUIRE(words);
  std::vector<std::string> names;
  for (const auto& s : labelled->rig.strings) names.push_back(s.name);
  score::Scorer scorer(labelled->truth, names);
  diagnosis::Diagnosis diagnosis(labelled->rig, *words);
  score::play(labelled->reader, labelled->rig, diagnosis, [&](const score::Played& p) {
    scorer.on_minute(p.minute.start, p.verdicts, p.diagnosis.facts({p.minute.at, p.minute.start, true}));
  });
  return scorer.finish();
}

double lenient(const score::Tally& t, const char* cause) {
  const auto at = t.lenient.find(cause);
  return at == t.lenient.end() ? 0 : at->second.f1();
}
long count_of(const score::Tally& t, const char* cause) {
  const auto at = t.lenient.find(cause);
  return at == t.lenient.end() ? 0 : at->second.true_of;
}
double per_30_days(const score::Tally& t, const char* alarm) {
  const auto at = t.false_alarms.find(alarm);
  return at == t.false_alarms.end() || t.days <= 0 ? 0 : 30.0 * static_cast<double>(at->second) / t.days;
}

std::map<std::string, long> rows_by_cause(score::Family family, std::uint64_t seed) {
  const score::World world = score::world_of(score::scene_of(family, seed));
  std::istringstream rows(score::truth_csv(world)), events(score::truth_events_csv(world));
  std::map<std::string, long> n;
  for (const auto& [at, row] : score::truth_in(rows, events).rows)
    if (row.counted()) ++n[row.cause];
  return n;
}

}  // namespace

TEST_CASE("the generated world's sun and clear sky stand where tables have them") {
  // 15 January 2026 18:00 UTC at 45 N 93 W: apparent elevation 23.8, azimuth 174.5 (almanac, to a tenth).
  const auto sun = score::sun_at(1768500000, 45, -93);
  CHECK(std::abs(sun.elevation_deg - 23.8) < 0.2);
  CHECK(std::abs(sun.azimuth_deg - 174.5) < 0.3);
  // A clean winter sky with the sun at 24 degrees: some 370 to 410 W/m2 on the flat, a tenth to a quarter of it diffuse.
  const auto light = score::clear_light(sun, 260, {0.06, 0.5, 0.32}, 0.2);
  const double flat = light.beam * std::sin(sun.elevation_deg * 0.0174533) + light.diffuse;
  CHECK(flat > 350);
  CHECK(flat < 425);
  CHECK(light.diffuse / flat > 0.08);
  CHECK(light.diffuse / flat < 0.25);
}

TEST_CASE("a generated string loses by its parts as bypassed modules do") {
  score::Cells c;
  c.series = 2;
  const auto even = [](double g) { return std::vector<std::vector<double>>(1, std::vector<double>(6, g)); };
  const auto full = score::working_point(c, even(400), 5);
  CHECK(full.power_w > 180);
  CHECK(full.open_volts > full.volts * 1.1);
  auto part = even(400);
  part[0][0] = part[0][1] = part[0][2] = 8;   // one of two modules covered
  const auto half = score::working_point(c, part, 5);
  CHECK(half.power_w > 0.42 * full.power_w);
  CHECK(half.power_w < 0.52 * full.power_w);
  CHECK(half.volts < 0.55 * full.volts);
  auto patch = even(8);
  patch[0][5] = 400;
  CHECK(score::working_point(c, patch, 5).power_w < 0.2 * full.power_w);
  CHECK(score::throttled_volts(full, 0.3) > full.volts * 1.05);
  CHECK(score::throttled_volts(full, 0.3) < full.open_volts);
}

TEST_CASE("the same seed gives the same bytes, another seed another rig") {
  const auto a = score::generate(score::Family::ordinary, 3, 1), b = score::generate(score::Family::ordinary, 3, 1);
  CHECK(a.feed == b.feed);
  CHECK(a.truth_csv == b.truth_csv);
  CHECK(a.site_json == b.site_json);
  CHECK(score::generate(score::Family::ordinary, 4, 1).site_json != a.site_json);
}

TEST_CASE("every family is rich in what it is named for") {
  std::map<std::string, long> soiling, shade, outages, snow, quiet;
  const bool all = std::getenv("FW_LONG");
  for (const std::uint64_t seed : score::development_seeds) {
    if (!all && seed > 1) break;
    for (const auto& [cause, n] : rows_by_cause(score::Family::soiling, seed)) soiling[cause] += n;
    for (const auto& [cause, n] : rows_by_cause(score::Family::shade, seed)) shade[cause] += n;
    for (const auto& [cause, n] : rows_by_cause(score::Family::outages, seed)) outages[cause] += n;
    for (const auto& [cause, n] : rows_by_cause(score::Family::thin_snow, seed)) snow[cause] += n;
    for (const auto& [cause, n] : rows_by_cause(score::Family::quiet, seed)) quiet[cause] += n;
  }
  std::printf("rows: soiling %ld, shade %ld, outage %ld, thin snow %ld\n", soiling["soiling"], shade["shade"], outages["outage"], snow["snow"]);
  CHECK(soiling["soiling"] > 150);
  CHECK(shade["shade"] > 150);
  CHECK(outages["outage"] > 150);
  CHECK(snow["snow"] > 100);
  CHECK(quiet["snow"] + quiet["soiling"] + quiet["outage"] == 0);
}

TEST_CASE("the diagnosis on a fixed sample of generated feeds stays above its floors") {
  score::Tally outages, quiet;
  outages = played({score::Family::outages, 6}, 8);
  quiet = played({score::Family::quiet, 4}, 0);
  std::printf("sample: %ld intervals; outage F1 %.3f (N %ld); quiet: clear F1 %.3f (N %ld), %.1f false snow alarms per 30 days in %.1f days\n",
              outages.intervals + quiet.intervals, lenient(outages, "outage"), count_of(outages, "outage"), lenient(quiet, "clear"),
              count_of(quiet, "clear"), per_30_days(quiet, "snow"), quiet.days);
  CHECK(count_of(outages, "outage") > 150);
  CHECK(lenient(outages, "outage") > 0.90);
  CHECK(lenient(quiet, "clear") > 0.90);
  CHECK(lenient(quiet, "curtailed") > 0.85);
  for (const char* alarm : {"snow", "soiling", "outage", "shade", "controller", "over_voltage", "stale"}) {
    CAPTURE(std::string(alarm));
    CHECK(per_30_days(quiet, alarm) == 0);
  }
}

TEST_CASE("the diagnosis on all generated feeds stays above its floors") {
  if (!std::getenv("FW_LONG")) return;
  for (const char* which : {"development", "held-out"}) {
    CAPTURE(which);
    score::Tally all;
    for (const score::Pick& pick : score::picks_in(which)) all.add(played(pick, 0));
    all.print(which, true);
    CHECK(all.days > 400);
    CHECK(lenient(all, "clear") > 0.90);
    CHECK(lenient(all, "cloud") > 0.75);
    CHECK(lenient(all, "snow") > 0.60);
    CHECK(lenient(all, "curtailed") > 0.85);
    CHECK(lenient(all, "outage") > 0.70);
    CHECK(lenient(all, "soiling") > 0.50);
    CHECK(lenient(all, "shade") > 0.35);
    CHECK(per_30_days(all, "snow") < 8);
  }
}
