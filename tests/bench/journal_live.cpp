// What a rig that runs costs a card: a feed on stdin goes through the whole core, and its rows, hourly snapshots
// included, into a journal that syncs as live. Prints bytes written a day (the process's write_bytes as the kernel
// counts them, so run it on a real disk, not a memory file system) and the size of the file.
//   bench_winter_feed DAYS 10 | bench_journal_live CONFIG FOLDER
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <memory>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "config/load.h"
#include "core/core.h"
#include "feed/reader.h"
#include "journal/journal.h"

namespace {

long long write_bytes() {
  std::ifstream io("/proc/self/io");
  std::string key;
  long long value = 0;
  while (io >> key >> value)
    if (key == "write_bytes:") return value;
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  using namespace fw;
  if (argc != 3) return std::fprintf(stderr, "usage: bench_journal_live CONFIG FOLDER <FEED\n"), 2;
  auto rig = config::load_file(argv[1]);
  auto reader = feed::Reader::open("-");
  if (!rig.rig || !reader) return std::fprintf(stderr, "cannot read the config or the feed\n"), 2;
  const auto words = Words::in_zone(rig.rig->site.timezone, false);
  const std::string path = (std::filesystem::path(argv[2]) / "journal_live.journal").string();
  for (const char* part : {"", "-wal", "-shm"}) std::filesystem::remove(path + part);
  const std::string root = "firnwatt/" + rig.rig->name + "/";

  std::unique_ptr<core::Core> core;
  std::unique_ptr<journal::Journal> journal;
  long long before = 0;
  Elapsed first{}, maintained{};
  const auto settle = [&] {
    for (std::vector<Effect> effects = core->take_effects(); !effects.empty(); effects = core->take_effects()) {
      std::vector<Row> rows;
      std::vector<std::string> sent;
      for (Effect& e : effects) {
        if (auto* s = std::get_if<Store>(&e)) rows.push_back(std::move(s->row));
        else if (const auto* p = std::get_if<Publish>(&e); p && !p->notice_id.empty()) sent.push_back(p->notice_id);
      }
      if (!rows.empty()) (void)journal->write(std::move(rows), core->now());
      for (const std::string& id : sent) core->on_message({core->now().at, root + "sent", nlohmann::json{{"id", id}}.dump(), false});
    }
    if (core->now().at - maintained < std::chrono::seconds{60}) return;
    maintained = core->now().at;
    journal->maintain(core->now());
  };
  while (const auto m = reader->next()) {
    if (!core) {
      const Now start{m->at, utc_at(m->at, {}), true};
      auto opened = journal::Journal::open(path, {}, start);
      if (!opened) return std::fprintf(stderr, "%s\n", opened.fault().text().c_str()), 2;
      journal = std::move(*opened);
      before = write_bytes();
      core = std::make_unique<core::Core>(*rig.rig, *words, start);
      core->restore({});
      core->on_message({m->at, root + "broker", R"({"connected":true,"why":""})", false});
      first = maintained = m->at;
    }
    while (core->now().at < m->at) {
      const auto due = core->next_deadline();
      if (!due || *due >= m->at) break;
      core->advance_to(std::max(*due, core->now().at + Span{1}));
      settle();
    }
    core->on_message(*m);
    settle();
  }
  if (!core) return 2;
  const double days = hours_of(core->now().at - first) / 24;
  const double written = static_cast<double>(write_bytes() - before);
  journal.reset();
  std::printf("days           %.1f\n", days);
  std::printf("written a day  %.2f MB\n", written / 1e6 / days);
  std::printf("file           %.2f MB\n", static_cast<double>(std::filesystem::file_size(path)) / 1e6);
}
