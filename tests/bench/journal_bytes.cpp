// What the journal costs a card: a 180-day winter of a two-string rig with one sample row a string and
// bank a minute, as telemetry every 10 s gives. Prints bytes written a day (the process's write_bytes as
// the kernel counts them, so run it on a real disk, not a memory file system), the size of the file, and
// its size for a year at the same rate.
//   journal_bytes [DAYS [FOLDER]]
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>

#include "bench/write_bytes.h"
#include "journal/journal.h"
#include "journal/winter.h"

int main(int argc, char** argv) {
  using namespace fw;
  const int days_run = argc > 1 ? std::atoi(argv[1]) : 180;
  const std::filesystem::path folder = argc > 2 ? argv[2] : std::filesystem::temp_directory_path();
  const std::string path = (folder / "journal_bytes.journal").string();
  for (const char* part : {"", "-wal", "-shm"}) std::filesystem::remove(path + part);

  testing::Winter winter(*utc_in("2025-10-15T00:00:00Z"));
  auto journal = journal::Journal::open(path, {}, winter.turn());
  if (!journal) return std::fprintf(stderr, "%s\n", journal.fault().text().c_str()), 2;
  const long long before = bench::write_bytes();
  const auto began = std::chrono::steady_clock::now();
  long long worst_us = 0, half = 0;
  std::vector<Row> about{SnapshotRow{{winter.now(), {}, true}, "rig", journal::about_json(testing::winter_about())}};
  if (!(*journal)->write(std::move(about), winter.turn())) return 1;
  for (int m = 0; m < days_run * 1440; ++m) {
    auto rows = winter.minute();
    const auto t = std::chrono::steady_clock::now();
    if (!(*journal)->write(std::move(rows), winter.turn())) return 1;
    (*journal)->maintain(winter.turn());
    worst_us = std::max<long long>(worst_us, std::chrono::duration_cast<std::chrono::microseconds>(std::chrono::steady_clock::now() - t).count());
    if (m == days_run * 720) half = bench::write_bytes();
  }
  if (!(*journal)->flush(winter.turn())) return 1;
  const long long written = bench::write_bytes() - before;
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
  journal->reset();
  const double size = static_cast<double>(std::filesystem::file_size(path));
  std::printf("days                     %d\n", days_run);
  std::printf("written a day            %.2f MB (second half %.2f MB)\n", static_cast<double>(written) / 1e6 / days_run,
              static_cast<double>(bench::write_bytes() - half) / 1e6 / (days_run / 2.0));
  std::printf("file at the end          %.1f MB\n", size / 1e6);
  std::printf("worst write + upkeep     %.1f ms\n", static_cast<double>(worst_us) / 1e3);
  std::printf("run time                 %.1f s\n", seconds);
}
