// From a cell temperature published by one client to the new current limit heard by it: through a real broker, the
// daemon and the broker again. First one reading a time, then the same steps inside a stream of readings.
// The config steps its limit by half degrees, so every reading is a command.
//   bench_reaction_wire PORT [READINGS_PER_S [PAUSE_MS [STEPS]]]   (0: one a time; 150 ms between steps; 54)
#include <mosquitto.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <thread>
#include <vector>

using Clock = std::chrono::steady_clock;
using std::chrono::milliseconds;

namespace {
std::atomic<bool> subscribed{false}, permitted{false};
std::atomic<int> limit_tenths{-1};
std::atomic<Clock::time_point> heard{};

void publish(mosquitto* m, const char* topic, const std::string& text) {
  mosquitto_publish(m, nullptr, topic, static_cast<int>(text.size()), text.data(), 0, false);
}
std::string number(double c) {
  char text[32];
  std::snprintf(text, sizeof text, "%.2f", c);
  return text;
}
}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) return std::fprintf(stderr, "usage: bench_reaction_wire PORT [READINGS_PER_S [PAUSE_MS [STEPS]]]\n"), 2;
  const int per_s = argc > 2 ? std::atoi(argv[2]) : 0;
  const milliseconds between{argc > 3 ? std::atoi(argv[3]) : 150};
  const int steps = argc > 4 ? std::min(std::atoi(argv[4]), 54) : 54;
  mosquitto_lib_init();
  mosquitto* m = mosquitto_new(nullptr, true, nullptr);
  mosquitto_connect_callback_set(m, [](mosquitto* c, void*, int) {
    mosquitto_subscribe(c, nullptr, "bench/limit", 0);
    mosquitto_subscribe(c, nullptr, "bench/set", 0);
  });
  mosquitto_subscribe_callback_set(m, [](mosquitto*, void*, int, int, const int*) { subscribed = true; });
  mosquitto_message_callback_set(m, [](mosquitto*, void*, const mosquitto_message* x) {
    const std::string text(static_cast<const char*>(x->payload), static_cast<std::size_t>(x->payloadlen));
    if (std::strcmp(x->topic, "bench/set") == 0) {
      permitted = text == "on";
      return;
    }
    const int tenths = static_cast<int>(std::atof(text.c_str()) * 10 + 0.5);
    if (tenths < limit_tenths.load()) heard = Clock::now();
    limit_tenths = tenths;
  });
  mosquitto_int_option(m, MOSQ_OPT_TCP_NODELAY, 1);
  if (mosquitto_connect(m, "127.0.0.1", std::atoi(argv[1]), 15) != MOSQ_ERR_SUCCESS) return std::fprintf(stderr, "no broker\n"), 1;
  mosquitto_loop_start(m);
  for (int i = 0; i < 500 && !subscribed; ++i) std::this_thread::sleep_for(milliseconds{10});
  for (int i = 0; i < 100 && !permitted; ++i) {
    publish(m, "bench/cell", number(30.2 + 0.01 * (i % 2)));
    std::this_thread::sleep_for(milliseconds{100});
  }
  if (!permitted) return std::fprintf(stderr, "no permit came\n"), 1;

  std::atomic<bool> over{false};
  std::atomic<double> now_c{30.2};
  std::atomic<long> streamed{0};
  std::thread stream([&] {
    if (per_s <= 0) return;
    auto at = Clock::now();
    for (long i = 0; !over; ++i) {
      publish(m, "bench/cell", number(now_c.load()));
      ++streamed;
      std::this_thread::sleep_until(at += std::chrono::microseconds{1'000'000 / per_s});
    }
  });
  const auto begun = Clock::now();
  std::vector<double> ms;
  int lost = 0;
  for (int step = 0; step < steps; ++step) {
    std::this_thread::sleep_for(between);
    const double c = 29.75 - 0.5 * step;
    heard = Clock::time_point{};
    const auto sent = Clock::now();
    now_c = c;
    publish(m, "bench/cell", number(c));
    while (heard.load() == Clock::time_point{} && Clock::now() - sent < milliseconds{5000}) std::this_thread::sleep_for(std::chrono::microseconds{50});
    if (heard.load() == Clock::time_point{}) ++lost;
    else ms.push_back(std::chrono::duration<double, std::milli>(heard.load() - sent).count());
  }
  const double seconds = std::chrono::duration<double>(Clock::now() - begun).count();
  over = true;
  stream.join();
  mosquitto_disconnect(m);
  mosquitto_loop_stop(m, true);
  if (ms.empty()) return std::fprintf(stderr, "no command was heard\n"), 1;
  std::sort(ms.begin(), ms.end());
  std::printf("%.2f %.2f %.2f %zu %d %.0f\n", ms[ms.size() / 2], ms[ms.size() * 95 / 100], ms.back(), ms.size(), lost, static_cast<double>(streamed) / seconds);
}
