// From the start of the process to the moment at which another client hears it 'online' on its alive topic.
// That is said just after the subscriptions are sent, so it is an upper bound of start-up to first
// subscription. Prints the median and the worst of the runs; each run is ended with SIGTERM.
//   bench_startup PORT TOPIC RUNS COMMAND...
#include <mosquitto.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <thread>
#include <vector>

using Clock = std::chrono::steady_clock;

namespace {
std::atomic<bool> up{false};
std::atomic<Clock::time_point> heard{};
}  // namespace

int main(int argc, char** argv) {
  if (argc < 5) return std::fprintf(stderr, "usage: bench_startup PORT TOPIC RUNS COMMAND...\n"), 2;
  mosquitto_lib_init();
  mosquitto* m = mosquitto_new(nullptr, true, argv[2]);
  mosquitto_connect_callback_set(m, [](mosquitto* c, void* topic, int) { mosquitto_subscribe(c, nullptr, static_cast<const char*>(topic), 0); });
  mosquitto_subscribe_callback_set(m, [](mosquitto*, void*, int, int, const int*) { up = true; });
  mosquitto_message_callback_set(m, [](mosquitto*, void*, const mosquitto_message* x) {
    const std::string text(static_cast<const char*>(x->payload), static_cast<std::size_t>(x->payloadlen));
    if (!x->retain && text.find("online") != std::string::npos && heard.load() == Clock::time_point{}) heard = Clock::now();
  });
  if (mosquitto_connect(m, "127.0.0.1", std::atoi(argv[1]), 15) != MOSQ_ERR_SUCCESS) return std::fprintf(stderr, "no broker\n"), 1;
  mosquitto_loop_start(m);
  for (int i = 0; i < 500 && !up; ++i) std::this_thread::sleep_for(std::chrono::milliseconds{10});

  std::vector<double> ms;
  for (int run = 0; run < std::atoi(argv[3]); ++run) {
    heard = Clock::time_point{};
    const auto begun = Clock::now();
    const pid_t child = fork();
    if (child == 0) {
      if (!std::freopen("/dev/null", "w", stderr)) _exit(126);
      execv(argv[4], argv + 4);
      _exit(127);
    }
    for (int i = 0; i < 10'000 && heard.load() == Clock::time_point{}; ++i) std::this_thread::sleep_for(std::chrono::milliseconds{1});
    if (heard.load() == Clock::time_point{}) std::fprintf(stderr, "not heard within ten seconds\n");
    else ms.push_back(std::chrono::duration<double, std::milli>(heard.load() - begun).count());
    kill(child, SIGTERM);
    waitpid(child, nullptr, 0);
  }
  mosquitto_disconnect(m);
  mosquitto_loop_stop(m, true);
  if (ms.empty()) return 1;
  std::sort(ms.begin(), ms.end());
  std::printf("%.1f %.1f\n", ms[ms.size() / 2], ms.back());
  return 0;
}
