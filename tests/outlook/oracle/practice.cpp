// Plays labelled feeds through the whole chain and holds the outlook against the truth beside them.
//   outlook_practice [-v] [--truth] FOLDER...
// --truth: verdicts made from the truth in place of the diagnosis, so that only the outlook is measured.
#include <cstdio>
#include <cstring>
#include <fstream>
#include <map>
#include <sstream>

#include "outlook/oracle/measure.h"
#include "score/play.h"
#include "score/practice_rig.h"
#include "score/truth.h"
#include "units/text.h"

using namespace fw;

namespace {
oracle::World world_of(const std::string& folder, const rig::Rig& rig) {
  oracle::World w;
  w.name = folder;
  w.capacity_wh = rig.bank.capacity_wh();
  const auto truth = score::truth_of(folder);
  if (!truth) return w;
  w.start = truth->rows.begin()->first.first;
  const Utc last = truth->rows.rbegin()->first.first;
  const auto n = static_cast<std::size_t>((last - w.start) / oracle::truth_step) + 1;
  w.steps.resize(n);
  for (auto& s : w.steps) s.strings.resize(rig.strings.size());
  // What an outage leaves of a string, seen where no snow hides it: what is dead nobody can clear.
  std::vector<double> alive(rig.strings.size(), 0.0);
  std::vector<std::pair<std::size_t, std::size_t>> out;
  for (const auto& [key, row] : truth->rows)
    for (std::size_t k = 0; k < rig.strings.size(); ++k)
      if (rig.strings[k].name == key.second) {
        auto& s = w.steps[w.index(key.first)];
        const double bare = row.available_w * row.shade * (1 - row.soiling) * (1 - row.frost);
        s.strings[k] = {row.clear_w, bare, row.snow_loss, row.actual_w};
        if (row.cause == "curtailed") s.curtailed = true;
        if (row.cause != "outage") continue;
        out.push_back({w.index(key.first), k});
        if (row.snow_loss < 0.9 && bare > 0.1 * rig.strings[k].rated_w()) alive[k] = std::max(alive[k], row.actual_w / (bare * (1 - row.snow_loss)));
      }
  for (const auto& [step, k] : out) w.steps[step].strings[k].bare_w *= std::min(1.0, alive[k]);
  std::ifstream bank(folder + "/truth_bank.csv");
  std::string line;
  std::getline(bank, line);
  while (std::getline(bank, line)) {
    std::stringstream cells(line);
    std::string f[7];
    for (auto& c : f) std::getline(cells, c, ',');
    const auto t = utc_in(f[0]);
    if (!t || w.index(*t) >= n) continue;
    auto& s = w.steps[w.index(*t)];
    s.soc = number_in(f[2]).value_or(0);
    s.may_charge = f[3] == "1";
    s.air_c = number_in(f[4]).value_or(0);
    s.load_w = number_in(f[6]).value_or(0);
  }
  for (const auto& e : truth->events) {
    if (e.kind == "snowfall_start") w.snowfalls.push_back({e.at, e.at});
    if (e.kind == "snowfall_end" && !w.snowfalls.empty()) w.snowfalls.back().second = e.at;
    if (e.kind == "cleared_by_hand")
      for (std::size_t k = 0; k < rig.strings.size(); ++k)
        if (rig.strings[k].name == e.string) w.cleared.push_back({e.at, static_cast<int>(k)});
  }
  oracle::judge_ice(w, rig);
  return w;
}

// What a perfect diagnosis would have said.
Verdict true_verdict(Verdict v, const oracle::StringTruth& q, double rated_w) {
  v.confidence = 1;
  v.snow_cover.reset();
  v.snow_cm.reset();
  v.soiling_loss.reset();
  v.clear_sky_w = q.clear_w;
  v.expected_w = q.bare_w;
  if (q.clear_w < 0.03 * rated_w) {
    v.cause = Cause::dark;
  } else if (q.snow_loss > 0.1) {
    v.cause = Cause::snow;
    v.snow_cover = q.snow_loss;
  } else if (q.actual_w < 0.85 * q.bare_w) {
    v.cause = Cause::curtailed;
  } else {
    v.cause = q.bare_w < 0.8 * q.clear_w ? Cause::cloud : Cause::clear;
  }
  return v;
}
}  // namespace

int main(int argc, char** argv) {
  bool chatty = false, from_truth = false;
  oracle::Marks all;
  for (int a = 1; a < argc; ++a) {
    if (!std::strcmp(argv[a], "-v")) {
      chatty = true;
      continue;
    }
    if (!std::strcmp(argv[a], "--truth")) {
      from_truth = true;
      continue;
    }
    const std::string folder = argv[a];
    auto rig = score::practice_rig(folder, {});
    if (!rig) {
      std::printf("%s\n", rig.fault().text().c_str());
      continue;
    }
    const auto words = Words::in_zone(rig->site.timezone, false);
    auto reader = feed::Reader::open(folder + "/feed.jsonl.gz");
    if (!words || !reader) continue;
    const oracle::World world = world_of(folder, *rig);
    diagnosis::Diagnosis diagnosis(*rig, *words);
    outlook::Outlook product(*rig, *words);
    oracle::Watcher watcher(world, *words, rig->advice.min_gain_kwh, chatty);
    score::play(*reader, *rig, diagnosis, [&](const score::Played& p) {
      std::vector<const roof::Calibration*> calibrations;
      for (std::size_t s = 0; s < rig->strings.size(); ++s) calibrations.push_back(&p.diagnosis.calibration(static_cast<int>(s)));
      auto verdicts = p.verdicts;
      const std::size_t at = world.index(p.minute.start);
      if (from_truth && at < world.steps.size())
        for (std::size_t s = 0; s < rig->strings.size(); ++s) verdicts[s] = true_verdict(verdicts[s], world.steps[at].strings[s], rig->strings[s].rated_w());
      product.on_minute(p.minute, verdicts, calibrations);
      for (const auto& e : product.take_effects())
        if (const auto* store = std::get_if<Store>(&e); store && chatty)
          if (const auto* row = std::get_if<AdviceRow>(&store->row))
            std::printf("      %s [%s] %s%s%s\n", words->date_clock(row->when.utc).c_str(), row->kind.c_str(), row->text.c_str(),
                        row->outcome.empty() ? "" : " => ", row->outcome.c_str());
      if (chatty && words->minute_of_day(p.minute.start) % 60 == 30) {
        const std::size_t i = world.index(p.minute.start);
        if (i < world.steps.size())
          for (std::size_t s = 0; s < rig->strings.size(); ++s) {
            const auto& q = world.steps[i].strings[s];
            if (q.clear_w > 0.1 * rig->strings[s].rated_w() && (q.snow_loss > 0.05 || p.verdicts[s].cause == Cause::snow))
              std::printf("        %s %s true loss %.2f, verdict %s %.2f cover %.2f\n", words->date_clock(p.minute.start).c_str(), rig->strings[s].name.c_str(), q.snow_loss,
                          std::string(name(p.verdicts[s].cause)).c_str(), p.verdicts[s].confidence, p.verdicts[s].snow_cover.value_or(-1));
          }
      }
      watcher.on_minute(p.minute.start, product);
    });
    const auto marks = watcher.finish();
    marks.print(folder.substr(folder.find_last_of('/') + 1).c_str());
    std::fflush(stdout);
    all.add(marks);
  }
  all.print("all");
}
