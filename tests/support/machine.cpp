// A machine that is slow or odd, for a program started with LD_PRELOAD=libfw_test_machine.so and
// FW_TEST_MACHINE=FILE. FILE holds three numbers, to be written over in place while the program runs: how many
// milliseconds a sync takes longer, how many a write to the journal, and by how many seconds the wall clock is off.
// What keeps the clock says that it does.
#include <dlfcn.h>
#include <fcntl.h>
#include <sys/mman.h>
#include <sys/timex.h>
#include <time.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>

namespace {

struct Machine {
  unsigned sync_ms = 0, write_ms = 0;
  long clock_s = 0;
};

Machine machine() {
  static const char* const text = [] {
    const char* path = std::getenv("FW_TEST_MACHINE");
    const int fd = path ? open(path, O_RDONLY) : -1;
    void* at = fd < 0 ? MAP_FAILED : mmap(nullptr, 4096, PROT_READ, MAP_SHARED, fd, 0);
    if (fd >= 0) close(fd);
    return at == MAP_FAILED ? "" : static_cast<const char*>(at);
  }();
  Machine m;
  std::sscanf(text, "%u %u %ld", &m.sync_ms, &m.write_ms, &m.clock_s);
  return m;
}

template <class F>
F* real(F*, const char* name) {
  return reinterpret_cast<F*>(dlsym(RTLD_NEXT, name));
}

}  // namespace

#pragma GCC visibility push(default)
extern "C" {

int fsync(int fd) {
  static const auto go_on = real(&fsync, "fsync");
  usleep(machine().sync_ms * 1000);
  return go_on(fd);
}

int fdatasync(int fd) {
  static const auto go_on = real(&fdatasync, "fdatasync");
  usleep(machine().sync_ms * 1000);
  return go_on(fd);
}

ssize_t pwrite64(int fd, const void* from, size_t n, off64_t at) {
  static const auto go_on = real(&pwrite64, "pwrite64");
  usleep(machine().write_ms * 1000);
  return go_on(fd, from, n, at);
}

int clock_gettime(clockid_t id, timespec* t) noexcept {
  static const auto go_on = real(&clock_gettime, "clock_gettime");
  const int code = go_on(id, t);
  if (code == 0 && id == CLOCK_REALTIME) t->tv_sec += machine().clock_s;
  return code;
}

int adjtimex(timex* t) noexcept {
  t->status = 0;
  return TIME_OK;
}

}  // extern "C"
#pragma GCC visibility pop
