#include "clocks.h"

#include <sys/timex.h>
#include <time.h>

#include <filesystem>

namespace fw {
namespace {
Span read(clockid_t id) {
  timespec t{};
  clock_gettime(id, &t);
  return Span{static_cast<Span::rep>(t.tv_sec) * 1000 + t.tv_nsec / 1'000'000};
}
}  // namespace

Span steady_time() { return read(CLOCK_BOOTTIME); }
Utc wall_time() { return Utc{read(CLOCK_REALTIME)}; }

bool believable(const ClockEvidence& e) {
  using namespace std::chrono;
  if (e.wall < sys_days{2025y / 1 / 1} || e.wall >= sys_days{2100y / 1 / 1}) return false;
  if (e.synchronised) return true;
  if (e.not_before && e.wall < *e.not_before) return false;
  return !e.board_without_clock;
}

ClockEvidence clock_evidence(std::optional<Utc> not_before) {
  timex t{};
  ClockEvidence e;
  e.wall = wall_time();
  e.synchronised = adjtimex(&t) >= 0 && !(t.status & STA_UNSYNC);
  std::error_code none;
  const std::filesystem::path clocks{"/sys/class/rtc"};
  e.board_without_clock = std::filesystem::is_directory(clocks, none) && std::filesystem::is_empty(clocks, none);
  e.not_before = not_before;
  return e;
}

}  // namespace fw
