// Sends a feed through a real broker in compressed time: before each instant a tick on the rig's tick
// topic, at the end of each simulated minute a wait for the daemon's echo (tock). Everything at QoS 1,
// so that nothing is dropped and two runs give the same result.
// Usage: fw_player HOST:PORT RIG FEED
#include <unistd.h>

#include <chrono>
#include <condition_variable>
#include <iostream>
#include <mutex>
#include <string>

#include "feed/reader.h"
#include "mqtt/client.h"
#include "units/text.h"

namespace {

using namespace fw;

Span steady() { return std::chrono::duration_cast<Span>(std::chrono::steady_clock::now().time_since_epoch()); }

class Player {
 public:
  Player(const std::string& host, int port, const std::string& rig) : root_("firnwatt/" + rig + "/") {
    mqtt::Settings s;
    s.host = host;
    s.port = port;
    s.client_id = "player-" + std::to_string(getpid());
    s.filters = {root_ + "tock"};
    client_ = std::make_unique<mqtt::Client>(
        s,
        [this](mqtt::Event e) {
          const auto* m = std::get_if<mqtt::Arrived>(&e);
          if (!m || m->retain) return;
          std::lock_guard lock{mutex_};
          ++echoes_;
          heard_.notify_all();
        },
        &steady);
  }

  bool ready(Span limit) {
    for (const Span until = steady() + limit; steady() < until; usleep(20'000))
      if (client_->connected() && client_->flush(1s)) return true;
    return false;
  }

  void send(const Message& m) { client_->publish({.topic = m.topic, .payload = m.payload, .qos = 1, .retain = m.retain}); }

  /// Moves the rig's clock. The first tick is repeated until the daemon is there.
  bool tick(Elapsed t) {
    if (last_ && t <= *last_) return true;
    const bool first = !last_;
    const bool minute = first || floor_to(t, 1min) != floor_to(*last_, 1min);
    last_ = t;
    const std::uint64_t before = echoes();
    const std::string payload = "{\"t\":\"" + iso_utc(utc_at(t, {})) + "\"}";
    client_->publish({.topic = root_ + "tick", .payload = payload, .qos = 1});
    if (!minute) return true;
    const Span until = steady() + (first ? 20s : 30s);
    while (!echo_since(before, first ? 250ms : 30s)) {
      if (steady() >= until) return false;
      if (first) client_->publish({.topic = root_ + "tick", .payload = payload, .qos = 1});
    }
    return true;
  }

  bool finish() {
    if (!last_) return false;
    return tick(floor_to(*last_, 1min) + 1min) && client_->flush(5s);
  }

 private:
  std::uint64_t echoes() {
    std::lock_guard lock{mutex_};
    return echoes_;
  }
  bool echo_since(std::uint64_t before, Span limit) {
    std::unique_lock lock{mutex_};
    return heard_.wait_for(lock, limit, [&] { return echoes_ > before; });
  }

  std::string root_;
  std::mutex mutex_;
  std::condition_variable heard_;
  std::uint64_t echoes_ = 0;
  std::optional<Elapsed> last_;
  std::unique_ptr<mqtt::Client> client_;
};

}  // namespace

int main(int argc, char** argv) {
  const std::string where = argc == 4 ? argv[1] : "";
  const auto colon = where.rfind(':');
  const auto port = colon == std::string::npos ? std::nullopt : number_in(where.substr(colon + 1));
  if (!port) {
    std::cerr << "usage: fw_player HOST:PORT RIG FEED\n";
    return 2;
  }
  auto reader = feed::Reader::open(argv[3]);
  if (!reader) {
    std::cerr << reader.fault().text() << "\n";
    return 2;
  }
  mqtt::Library library;
  Player player(where.substr(0, colon), static_cast<int>(*port), argv[2]);
  if (!player.ready(10s)) {
    std::cerr << "the broker did not answer\n";
    return 1;
  }
  while (auto m = reader->next()) {
    if (!player.tick(m->at)) {
      std::cerr << "the daemon did not echo " << iso_utc(utc_at(m->at, {})) << "\n";
      return 1;
    }
    player.send(*m);
  }
  if (!player.finish()) {
    std::cerr << "the daemon did not echo the last minute\n";
    return 1;
  }
  return 0;
}
