#pragma once
// A subscriber that remembers what it read and when.
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "mqtt/client.h"

namespace fw::test {

struct Heard {
  std::chrono::milliseconds at{};
  std::string topic, payload;
  bool retain = false;
};

class Listener {
 public:
  Listener(int port, std::vector<std::string> filters, std::string id = "", bool clean = true);
  ~Listener() { client_.reset(); }

  bool wait_up(std::chrono::milliseconds limit = std::chrono::seconds{10}) const;
  std::vector<Heard> all() const;
  std::vector<Heard> on(const std::string& topic) const;
  std::optional<Heard> last(const std::string& topic) const;
  std::vector<mqtt::Event> events() const;  ///< all but messages
  void publish(const std::string& topic, const std::string& payload, int qos = 1, bool retain = false);
  bool flush(std::chrono::milliseconds limit = std::chrono::seconds{5}) { return client_->flush(limit); }
  void forget();

 private:
  mutable std::mutex mutex_;
  std::vector<Heard> heard_;
  std::vector<mqtt::Event> events_;
  std::unique_ptr<mqtt::Client> client_;
};

}  // namespace fw::test
