// Scores the diagnosis on labelled feeds.
//   score [OPTION...] [FOLDER...] [--generated PICK]... [--write FOLDER PICK]
// PICK: development, held-out, a family (ordinary, outages, soiling, shade, thin_snow, quiet) or family:seed.
// Options: --no-forecast --no-irradiance --no-stage --no-voltage --perturb --brief --account --minutes FILE
// --sensor open|roof: gives every rig a light sensor made of the truth, past all shade or where the first string lies.
// Without folders or picks: every folder practice-* under FW_PRACTICE_DIR.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include "roof/described.h"
#include "score/labelled.h"
#include "score/ledger.h"
#include "score/play.h"
#include "score/tally.h"
#include "units/text.h"

using namespace fw;

namespace {
constexpr double sensor_reads_low = 0.95;   // dust, and a scale of its own
}

int main(int argc, char** argv) {
  score::PracticeOptions options;
  std::vector<std::string> folders;
  std::vector<score::Pick> picks;
  std::string minutes_file, write_to, sensor;
  bool brief = false, account = false;
  for (int i = 1; i < argc; ++i) {
    const std::string a = argv[i];
    if (a == "--no-forecast") options.no_forecast = true;
    else if (a == "--no-irradiance") options.no_irradiance = true;
    else if (a == "--no-stage") options.no_stage = true;
    else if (a == "--no-voltage") options.no_voltage = true;
    else if (a == "--perturb") options.perturb = true;
    else if (a == "--brief") brief = true;
    else if (a == "--account") account = true;
    else if (a == "--sensor") {
      sensor = i + 1 < argc ? argv[++i] : "";
      if (sensor != "open" && sensor != "roof") {
        std::fprintf(stderr, "score: --sensor open or --sensor roof, not '%s'\n", sensor.c_str());
        return 2;
      }
    }
    else if (a == "--minutes" && i + 1 < argc) minutes_file = argv[++i];
    else if (a == "--write" && i + 1 < argc) write_to = argv[++i];
    else if (const auto some = score::picks_in(a == "--generated" && i + 1 < argc ? argv[++i] : a); !some.empty())
      picks.insert(picks.end(), some.begin(), some.end());
    else folders.push_back(a);
  }
  if (!write_to.empty()) {
    for (const score::Pick& p : picks) {
      const auto feed = score::generate(p.family, p.seed);
      const std::string folder = picks.size() == 1 ? write_to : write_to + "/" + feed.name;
      if (const auto done = score::write_folder(feed, folder); !done) {
        std::fprintf(stderr, "score: %s\n", done.fault().text().c_str());
        return 2;
      }
    }
    return 0;
  }
  if (folders.empty() && picks.empty())
    if (const char* dir = std::getenv("FW_PRACTICE_DIR"))
      for (const auto& e : std::filesystem::directory_iterator(dir))
        if (e.path().filename().string().starts_with("practice-")) folders.push_back(e.path().string());
  std::sort(folders.begin(), folders.end());
  if (folders.empty() && picks.empty()) {
    std::puts("score: no labelled feeds given; name folders or --generated PICK, or set FW_PRACTICE_DIR");
    return 0;
  }
  std::FILE* dump = minutes_file.empty() ? nullptr : std::fopen(minutes_file.c_str(), "w");
  score::Tally total;
  for (std::size_t i = 0; i < folders.size() + picks.size(); ++i) {
    auto labelled = i < folders.size() ? score::labelled_folder(folders[i], options)
                                       : score::labelled_generated(score::generate(picks[i - folders.size()].family, picks[i - folders.size()].seed), options);
    if (!labelled) {
      std::fprintf(stderr, "score: %s\n", labelled.fault().text().c_str());
      return 2;
    }
    const rig::Rig* rig = &labelled->rig;
    const score::Truth* truth = &labelled->truth;
    feed::Reader* reader = &labelled->reader;
    const std::string short_name = labelled->name;
    const auto words = Words::in_zone(rig->site.timezone, false);
    if (!words) return 2;
    std::vector<std::string> names;
    for (const auto& s : rig->strings) names.push_back(s.name);
    score::Scorer scorer(*truth, names);
    score::Ledger ledger(*truth, names, *words);
    diagnosis::Diagnosis diagnosis(*rig, *words);
    const sky::Site site = roof::site_of(rig->site, rig->site.latitude_deg, rig->site.longitude_deg);
    const auto give_sensor = [&](RigMinute& m) {
      const auto* t = truth->at(m.start, names.front());
      if (sensor.empty() || !t || t->clear_w < 5) return;
      const double share = t->available_w / t->clear_w * (sensor == "roof" ? t->shade : 1);
      m.irradiance_wm2 = sensor_reads_low * share * sky::clear_state(site, m.start + seconds{30}, m.air_c.value_or(5)).clear.ghi_wm2;
    };
    double judged_s = 0;
    long minutes_played = 0;
    const auto begin = std::chrono::steady_clock::now();
    const long messages = score::play(*reader, *rig, diagnosis, [&](const score::Played& p) {
      ++minutes_played;
      ledger.on_minute(p.minute.start, p.verdicts);
      scorer.on_minute(p.minute.start, p.verdicts, p.diagnosis.facts({p.minute.at, p.minute.start, true}));
      if (!dump) return;
      for (const Verdict& v : p.verdicts) {
        const auto* t = truth->at(v.utc, names[static_cast<std::size_t>(v.string)]);
        if (!t || v.sun_elevation_deg < 3) continue;
        std::string ev;
        for (const auto& e : v.evidence) ev += e + "; ";
        ev += " [" + p.diagnosis.explain(v.string) + "]";
        std::fprintf(dump, "%s,%s,%s,truth=%s,said=%s,%.2f,%s,el=%.1f,clear=%.0f/%.0f,avail=%.0f/%.0f,made=%.0f,snow=%.2f/%.2f,soil=%.3f,frost=%.2f,shade=%.2f,film=%.3f,scale=%.3f,lost=cloud %.1f snow %.1f soil %.1f shade %.1f full %.1f cold %.1f out %.1f none %.1f unknown %.1f,%s\n",
                     short_name.c_str(), iso_utc(v.utc).c_str(), names[static_cast<std::size_t>(v.string)].c_str(), t->cause.c_str(),
                     std::string(name(v.cause)).c_str(), v.confidence, v.reason.c_str(), v.sun_elevation_deg, v.clear_sky_w, t->clear_w,
                     v.expected_w, t->available_w, v.measured_w.value_or(-1), v.snow_cover.value_or(0), t->snow_loss, t->soiling, t->frost,
                     t->shade, v.soiling_loss.value_or(-1), p.diagnosis.calibration(v.string).scale(), v.split.cloud_w,
                     v.split.snow_w, v.split.soiling_w, v.split.shade_w, v.split.curtailed_w, v.split.cold_w, v.split.outage_w, v.split.no_data_w,
                     v.split.unexplained_w, ev.c_str());
      }
    }, give_sensor);
    judged_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
    const score::Tally tally = scorer.finish();
    tally.print(short_name, !brief);
    if (account) ledger.print();
    std::printf("  %ld messages, %ld minutes in %.2f s\n", messages, minutes_played, judged_s);
    for (const std::string& line : diagnosis.learned()) std::printf("  %s\n", line.c_str());
    total.add(tally);
  }
  if (dump) std::fclose(dump);
  total.print("all", true);
}
