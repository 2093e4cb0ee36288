// The review of a 180-day journal of a two-string rig (minutes for the last 60 days, five minutes before):
// wall and processor seconds for text, JSON and HTML, each with opening and reading, and the size.
//   review_winter [DAYS]
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <string>

#include "journal/journal.h"
#include "../journal/winter.h"
#include "review/account.h"

int main(int argc, char** argv) {
  using namespace fw;
  const int days_run = argc > 1 ? std::atoi(argv[1]) : 180;
  const std::string path = (std::filesystem::temp_directory_path() / "review_winter.journal").string();
  for (const char* part : {"", "-wal", "-shm"}) std::filesystem::remove(path + part);
  {
    journal::Options o;
    o.bulk = true;
    o.batch = hours{6};
    testing::Winter winter(*utc_in("2025-10-15T00:00:00Z"));
    auto j = journal::Journal::open(path, o, winter.turn());
    if (!j) return 2;
    if (!(*j)->write({SnapshotRow{{winter.now(), {}, true}, "rig", journal::about_json(testing::winter_about())}}, winter.turn())) return 1;
    for (int m = 0; m < days_run * 1440; ++m) {
      auto rows = winter.minute();
      if (!(*j)->write(std::move(rows), winter.turn())) return 1;
      if (m % 60 == 0) (*j)->maintain(winter.turn());
    }
    if (!(*j)->flush(winter.turn())) return 1;
  }
  std::printf("journal of %d days  %.1f MB\n", days_run, static_cast<double>(std::filesystem::file_size(path)) / 1e6);
  struct Form {
    const char* name;
    std::string (*print)(const review::Account&);
  };
  for (const Form& f : {Form{"text", review::text}, {"json", review::json}, {"html", review::html}}) {
    double best = 1e9, cpu = 1e9;
    std::size_t size = 0;
    for (int n = 0; n < 3; ++n) {
      const auto began = std::chrono::steady_clock::now();
      const std::clock_t cpu_began = std::clock();
      auto reader = journal::Reader::open(path);
      if (!reader) return 1;
      auto a = review::account(*reader, {});
      if (!a) return 1;
      size = f.print(*a).size();
      cpu = std::min(cpu, static_cast<double>(std::clock() - cpu_began) / CLOCKS_PER_SEC);
      best = std::min(best, std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count());
    }
    std::printf("%s  %.2f s (processor %.2f s)  %zu bytes\n", f.name, best, cpu, size);
  }
  std::filesystem::remove(path);
}
