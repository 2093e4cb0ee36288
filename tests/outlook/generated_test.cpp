// The outlook on made-up winters whose truth is known, held against somebody who knew the future.
#include <doctest/doctest.h>

#include <cmath>
#include <cstdlib>

#include "outlook/oracle/generated.h"
#include "outlook/oracle/measure.h"

using namespace fw;

namespace {
oracle::Marks live(unsigned seed, int days, bool chatty) {
  const oracle::Generated g = oracle::generate(seed, days);
  const auto words = Words::in_zone(g.rig.site.timezone, false);
  outlook::Outlook product(g.rig, *words);
  std::vector<roof::Calibration> learned;
  for (const auto& s : g.rig.strings) learned.emplace_back(roof::string_model(s));
  std::vector<const roof::Calibration*> calibrations;
  for (const auto& c : learned) calibrations.push_back(&c);
  const sky::Site site = roof::site_of(g.rig.site, g.rig.site.latitude_deg, g.rig.site.longitude_deg);
  oracle::Watcher watcher(g.world, *words, g.rig.advice.min_gain_kwh, chatty);
  const Forecast* forecast = nullptr;
  std::size_t next = 0;
  for (Utc t = g.world.start; g.world.index(t) < g.world.steps.size(); t += minutes{1}) {
    const auto& truth = g.world.steps[g.world.index(t)];
    RigMinute m;
    m.start = t;
    m.at = Elapsed{t.time_since_epoch()} + minutes{1};
    while (next < g.forecasts.size() && g.forecasts[next].received <= m.at) forecast = &g.forecasts[next++];
    m.forecast = forecast;
    m.soc = truth.soc;
    m.load_w = truth.load_w;
    m.air_c = truth.air_c;
    m.cell_min_c = 15;
    m.latitude_deg = g.rig.site.latitude_deg;
    m.longitude_deg = g.rig.site.longitude_deg;
    std::vector<Verdict> verdicts;
    for (std::size_t k = 0; k < truth.strings.size(); ++k) {
      const auto& q = truth.strings[k];
      Verdict v;
      v.confidence = 0.95;
      v.clear_sky_w = q.clear_w;
      v.expected_w = q.bare_w;
      v.measured_w = q.actual_w;
      if (q.clear_w < 0.03 * g.rig.strings[k].rated_w()) v.cause = Cause::dark;
      else if (q.snow_loss > 0.1) v.cause = Cause::snow, v.snow_cover = q.snow_loss;
      else if (truth.curtailed) v.cause = Cause::curtailed;
      else v.cause = q.bare_w < 0.8 * q.clear_w ? Cause::cloud : Cause::clear;
      verdicts.push_back(v);
      m.strings.push_back({});
      m.strings.back().power_w = q.actual_w;
      if (v.cause == Cause::clear && q.bare_w > 0.95 * q.clear_w && t.time_since_epoch() / minutes{1} % 5 == 0) {
        const sky::State sky = sky::clear_state(site, t, truth.air_c);
        learned[k].learn(static_cast<std::int32_t>(t.time_since_epoch() / hours{24}), sky,
                         roof::expected(learned[k].paper(), sky, {truth.air_c, 1}), q.actual_w);
      }
    }
    product.on_minute(m, verdicts, calibrations);
    watcher.on_minute(t, product);
    product.take_effects();
  }
  return watcher.finish();
}
}  // namespace

TEST_CASE("advice and outlook hold against somebody who knew the future") {
  oracle::Marks all;
  for (unsigned seed : {11u, 12u, 13u, 14u, 15u, 16u, 17u, 18u}) all.add(live(seed, 12, std::getenv("FW_CHATTY") != nullptr));
  all.print("eight made-up winters of twelve days");
  CHECK(all.mornings >= 15);
  CHECK(all.agreed >= 0.9 * all.mornings);
  std::vector<double> gain;
  for (double e : all.gain_error) gain.push_back(std::abs(e));
  CHECK(oracle::median(gain) <= 0.25);
  CHECK(all.won_kwh >= 0.9 * all.stake_kwh);
  CHECK(oracle::median(all.soc_error) <= 0.08);
  CHECK(all.soc_inside >= 0.70 * static_cast<double>(all.soc_error.size()));
  CHECK(all.soc_inside <= 0.90 * static_cast<double>(all.soc_error.size()));
  std::vector<double> curtailed;
  for (double e : all.curtailed_error) curtailed.push_back(std::abs(e));
  CHECK(oracle::median(curtailed) <= 0.25);
}
