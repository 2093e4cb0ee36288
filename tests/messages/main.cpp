// Shows what an owner would have had on the phone: messages per local day counted by priority, as a table, and
// with --text each message.
//   messages [--text] [--events] [FOLDER...]
// Without folders: every folder practice-* under FW_PRACTICE_DIR. Exit 1 when a day brings more than the day's
// count besides urgent ones.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "feed/reader.h"
#include "score/practice_rig.h"
#include "support/drive.h"
#include "units/text.h"

using namespace fw;

namespace {

struct Told { std::string day, clock, priority, alarm, subject, text; };

struct Played {
  std::vector<Told> told;
  std::vector<std::string> days;      ///< every local day of the feed
  std::vector<std::string> events;    ///< alarm rows, for --events
};

/// A broker that confirms everything at once, a phone that shows everything.
Played play(const rig::Rig& rig, const Words& words, feed::Reader& reader) {
  Played out;
  const std::string notices = "firnwatt/" + rig.name + "/notices";
  testing::Drive drive{rig, words};
  drive.over(reader, [] {}, [&](const std::vector<Effect>& effects) {
    const Utc now = drive.core->now().utc;
    const std::string day = words.local_date(now);
    if (std::find(out.days.rbegin(), out.days.rend(), day) == out.days.rend()) out.days.push_back(day);
    for (const Effect& e : effects) {
      if (const auto* s = std::get_if<Store>(&e))
        if (const auto* a = std::get_if<AlarmRow>(&s->row))
          out.events.push_back(words.date_clock(a->when.utc) + "  " + a->event + "  " + a->alarm + " (" + a->subject + ") " + a->priority + ": " + a->text);
      const auto* p = std::get_if<Publish>(&e);
      if (!p || p->topic != notices) continue;
      const auto j = nlohmann::json::parse(p->payload);
      out.told.push_back({day, words.clock(now), j["priority"], j["alarm"], j["subject"], j["text"]});
    }
  });
  return out;
}

}  // namespace

int main(int argc, char** argv) {
  std::vector<std::string> folders;
  bool text = false, events = false;
  for (int i = 1; i < argc; ++i) {
    const std::string a = argv[i];
    if (a == "--text") text = true;
    else if (a == "--events") events = true;
    else folders.push_back(a);
  }
  if (folders.empty())
    if (const char* dir = std::getenv("FW_PRACTICE_DIR"))
      for (const auto& e : std::filesystem::directory_iterator(dir))
        if (e.path().filename().string().starts_with("practice-")) folders.push_back(e.path().string());
  std::sort(folders.begin(), folders.end());
  if (folders.empty()) {
    std::puts("messages: no feeds given; name folders or set FW_PRACTICE_DIR");
    return 0;
  }
  bool too_many = false;
  std::printf("%-12s %-10s %6s %5s %4s\n", "feed", "day", "urgent", "high", "low");
  for (const std::string& folder : folders) {
    const auto rig = score::practice_rig(folder, {});
    auto reader = feed::Reader::open(folder + "/feed.jsonl.gz");
    if (!rig || !reader) {
      std::fprintf(stderr, "messages: %s\n", (!rig ? rig.fault() : reader.fault()).text().c_str());
      return 2;
    }
    const auto words = Words::in_zone(rig->site.timezone, false);
    if (!words) return 2;
    const Played p = play(*rig, *words, *reader);
    const std::string name = std::filesystem::path(folder).filename().string();
    int all = 0, quiet_days = 0;
    for (const std::string& day : p.days) {
      std::map<std::string, int> n;
      for (const Told& t : p.told)
        if (t.day == day) ++n[t.priority];
      const int usual = n["high"] + n["low"];
      all += usual + n["urgent"];
      quiet_days += usual + n["urgent"] == 0;
      too_many = too_many || usual > rig->phone.max_per_day;
      if (usual + n["urgent"] > 0) std::printf("%-12s %-10s %6d %5d %4d\n", name.c_str(), day.c_str(), n["urgent"], n["high"], n["low"]);
      if (text)
        for (const Told& t : p.told)
          if (t.day == day) std::printf("    %s %s %s (%s): %s\n", t.clock.c_str(), t.priority.c_str(), t.alarm.c_str(), t.subject.c_str(), t.text.c_str());
    }
    std::printf("%-12s %d days, %d without a message, %d messages\n", name.c_str(), static_cast<int>(p.days.size()), quiet_days, all);
    if (events)
      for (const std::string& e : p.events) std::puts(e.c_str());
    std::fflush(stdout);
  }
  return too_many ? 1 : 0;
}
