// What a rig that runs costs a card: a feed on stdin goes through the whole core, and its rows, hourly snapshots
// included, into a journal that syncs as live. Prints bytes written a day (the process's write_bytes as the kernel
// counts them, so run it on a real disk, not a memory file system) and the size of the file.
//   bench_winter_feed DAYS 10 | bench_journal_live CONFIG FOLDER
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "bench/write_bytes.h"
#include "config/load.h"
#include "feed/reader.h"
#include "journal/journal.h"
#include "support/drive.h"

int main(int argc, char** argv) {
  using namespace fw;
  if (argc != 3) return std::fprintf(stderr, "usage: bench_journal_live CONFIG FOLDER <FEED\n"), 2;
  auto rig = config::load_file(argv[1]);
  auto reader = feed::Reader::open("-");
  if (!rig.rig || !reader) return std::fprintf(stderr, "cannot read the config or the feed\n"), 2;
  const auto words = Words::in_zone(rig.rig->site.timezone, false);
  const std::string path = (std::filesystem::path(argv[2]) / "journal_live.journal").string();
  for (const char* part : {"", "-wal", "-shm"}) std::filesystem::remove(path + part);

  std::unique_ptr<journal::Journal> journal;
  long long before = 0;
  Elapsed first{}, maintained{};
  testing::Drive drive{*rig.rig, *words};
  drive.over(
      *reader,
      [&] {
        auto opened = journal::Journal::open(path, {}, drive.core->now());
        if (!opened) {
          std::fprintf(stderr, "%s\n", opened.fault().text().c_str());
          std::exit(2);
        }
        journal = std::move(*opened);
        before = bench::write_bytes();
        first = maintained = drive.core->now().at;
      },
      [&](std::vector<Effect>& effects) {
        std::vector<Row> rows;
        for (Effect& e : effects)
          if (auto* s = std::get_if<Store>(&e)) rows.push_back(std::move(s->row));
        const Now now = drive.core->now();
        if (!rows.empty()) (void)journal->write(std::move(rows), now);
        if (now.at - maintained < std::chrono::seconds{60}) return;
        maintained = now.at;
        journal->maintain(now);
      });
  if (!drive.core) return 2;
  const double days = hours_of(drive.core->now().at - first) / 24;
  const double written = static_cast<double>(bench::write_bytes() - before);
  journal.reset();
  std::printf("days           %.1f\n", days);
  std::printf("written a day  %.2f MB\n", written / 1e6 / days);
  std::printf("file           %.2f MB\n", static_cast<double>(std::filesystem::file_size(path)) / 1e6);
}
