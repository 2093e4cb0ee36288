// Publishes a feed's messages over and over to a broker on loopback, as fast as it takes them or at a rate.
// At QoS 1 nothing is given up: what was not confirmed before a broker went away is sent again when it is
// back, and the program ends when all is confirmed.
//   bench_flood PORT FEED COUNT QOS [RATE [numbered]]
// RATE in messages a second, 0: as fast as possible. numbered: only object payloads are sent, each with a
// running "n", so that a receiver can tell which ones it has.
#include <mosquitto.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <thread>
#include <vector>

#include "feed/reader.h"

using namespace fw;

int main(int argc, char** argv) {
  if (argc < 5) return std::fprintf(stderr, "usage: bench_flood PORT FEED COUNT QOS [RATE [numbered]]\n"), 2;
  const int port = std::atoi(argv[1]), qos = std::atoi(argv[4]);
  const long count = std::atol(argv[3]), rate = argc > 5 ? std::atol(argv[5]) : 0;
  const bool numbered = argc > 6;
  auto reader = feed::Reader::open(argv[2]);
  if (!reader) return std::fprintf(stderr, "%s\n", reader.fault().text().c_str()), 2;
  std::vector<Message> messages;
  while (messages.size() < 100'000) {
    auto m = reader->next();
    if (!m) break;
    if (!numbered || m->payload.starts_with('{')) messages.push_back(std::move(*m));
  }
  if (messages.empty()) return std::fprintf(stderr, "nothing to send\n"), 2;

  mosquitto_lib_init();
  static std::atomic<long> confirmed{0};
  static std::atomic<bool> up{false};
  const std::string id = "flood-" + std::to_string(getpid());
  mosquitto* m = mosquitto_new(id.c_str(), false, nullptr);
  mosquitto_max_inflight_messages_set(m, qos ? 1000 : 0);
  mosquitto_reconnect_delay_set(m, 1, 1, false);
  mosquitto_connect_callback_set(m, [](mosquitto*, void*, int code) { up = code == 0; });
  mosquitto_disconnect_callback_set(m, [](mosquitto*, void*, int) { up = false; });
  mosquitto_publish_callback_set(m, [](mosquitto*, void*, int) { ++confirmed; });
  if (mosquitto_connect_async(m, "127.0.0.1", port, 15) != MOSQ_ERR_SUCCESS) return std::fprintf(stderr, "no broker\n"), 1;
  mosquitto_loop_start(m);
  const auto wait = std::chrono::milliseconds{5};
  for (int i = 0; i < 2000 && !up; ++i) std::this_thread::sleep_for(wait);
  if (!up) return std::fprintf(stderr, "no broker\n"), 1;

  const auto begun = std::chrono::steady_clock::now();
  for (long i = 0; i < count; ++i) {
    const Message& next = messages[static_cast<std::size_t>(i) % messages.size()];
    const std::string payload = numbered ? "{\"n\":" + std::to_string(i) + "," + next.payload.substr(1) : next.payload;
    if (rate > 0) std::this_thread::sleep_until(begun + std::chrono::microseconds{1'000'000LL * i / rate});
    // Never more than this ahead of what was taken: the queue shall stand at the broker, not here.
    while (i - confirmed > 20'000) std::this_thread::sleep_for(wait);
    const int rc = mosquitto_publish(m, nullptr, next.topic.c_str(), static_cast<int>(payload.size()), payload.data(), qos, false);
    if (rc != MOSQ_ERR_SUCCESS && !(qos && (rc == MOSQ_ERR_NO_CONN || rc == MOSQ_ERR_CONN_LOST))) return std::fprintf(stderr, "%s\n", mosquitto_strerror(rc)), 1;
  }
  for (int i = 0; i < 24'000 && confirmed < count; ++i) std::this_thread::sleep_for(wait);
  const double took = std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
  std::printf("%ld sent, %ld confirmed, %.2f s\n", count, confirmed.load(), took);
  mosquitto_disconnect(m);
  mosquitto_loop_stop(m, false);
  return confirmed >= count ? 0 : 1;
}
