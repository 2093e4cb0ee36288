#include "support/listener.h"

#include <atomic>

#include "support/process.h"

namespace fw::test {

Listener::Listener(int port, std::vector<std::string> filters, std::string id, bool clean) {
  static std::atomic<int> number{0};
  mqtt::Settings s;
  s.port = port;
  s.client_id = id.empty() ? "listener-" + std::to_string(++number) : std::move(id);
  s.clean_session = clean;
  s.filters = std::move(filters);
  s.max_payload_bytes = 1 << 20;
  client_ = std::make_unique<mqtt::Client>(
      std::move(s),
      [this](mqtt::Event e) {
        const auto at = steady_now();
        std::lock_guard lock{mutex_};
        if (auto* m = std::get_if<mqtt::Arrived>(&e)) heard_.push_back({at, std::move(m->topic), std::move(m->payload), m->retain});
        else events_.push_back(std::move(e));
      },
      &steady_now);
}

bool Listener::wait_up(std::chrono::milliseconds limit) const {
  return eventually([this] { return client_->connected() && client_->flush(std::chrono::milliseconds{100}); }, limit);
}

std::vector<Heard> Listener::all() const {
  std::lock_guard lock{mutex_};
  return heard_;
}

std::vector<Heard> Listener::on(const std::string& topic) const {
  std::lock_guard lock{mutex_};
  std::vector<Heard> result;
  for (const Heard& h : heard_)
    if (h.topic == topic) result.push_back(h);
  return result;
}

std::optional<Heard> Listener::last(const std::string& topic) const {
  const auto found = on(topic);
  return found.empty() ? std::nullopt : std::optional{found.back()};
}

std::vector<mqtt::Event> Listener::events() const {
  std::lock_guard lock{mutex_};
  return events_;
}

void Listener::publish(const std::string& topic, const std::string& payload, int qos, bool retain) {
  client_->publish({.topic = topic, .payload = payload, .qos = qos, .retain = retain});
}

void Listener::forget() {
  std::lock_guard lock{mutex_};
  heard_.clear();
}

}  // namespace fw::test
