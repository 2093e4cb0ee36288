#include "conversation.h"

#include <csignal>
#include <iostream>

namespace fw {
namespace {
volatile std::sig_atomic_t seen = 0;  // the one thing a signal handler may touch
constexpr Span look = 100ms;          // how soon a signal ends a wait
constexpr std::size_t most_waiting = 100'000;
}  // namespace

void stop_on_signals() {
  struct sigaction action {};
  action.sa_handler = [](int number) { seen = number; };
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
}

int signal_seen() { return seen; }

Conversation::Conversation(mqtt::Settings settings) {
  auto sink = [this](mqtt::Event e) {
    std::lock_guard lock{mutex_};
    if (auto* m = std::get_if<mqtt::Arrived>(&e)) {
      if (messages_.size() < most_waiting) messages_.push_back({line_.now(), std::move(m->topic), std::move(m->payload), m->retain});
    } else if (auto* c = std::get_if<mqtt::Connection>(&e)) {
      up_ = c->up;
      why_ = c->why;
      if (talk) std::cerr << (c->up ? "connected\n" : "not connected: " + c->why + "\n");
    } else if (auto* d = std::get_if<mqtt::Delivered>(&e)) {
      confirmed_.insert(d->token);
    } else if (auto* r = std::get_if<mqtt::Refused>(&e)) {
      std::cerr << r->what << "\n";
    }
    changed_.notify_all();
  };
  client_ = std::make_unique<mqtt::Client>(std::move(settings), std::move(sink), &steady_time);
}

bool Conversation::up(Span limit) {
  const Span until = steady_time() + limit;
  std::unique_lock lock{mutex_};
  while (!up_ && !seen && steady_time() < until) changed_.wait_for(lock, look);
  return up_;
}

std::string Conversation::why() const {
  std::lock_guard lock{mutex_};
  return why_.empty() ? "the broker did not answer in time" : why_;
}

bool Conversation::delivered(mqtt::Outgoing message, Span limit) {
  message.qos = 1;
  if (message.token.empty()) message.token = message.topic + "\n" + message.payload;
  const std::string token = message.token;
  client_->publish(std::move(message));
  const Span until = steady_time() + limit;
  std::unique_lock lock{mutex_};
  while (!confirmed_.contains(token) && !seen && steady_time() < until) changed_.wait_for(lock, look);
  return confirmed_.contains(token);
}

bool Conversation::listen(Span limit, const std::function<bool(const Message&)>& take) {
  const Span until = steady_time() + limit;
  for (;;) {
    std::deque<Message> batch;
    {
      std::unique_lock lock{mutex_};
      if (messages_.empty()) changed_.wait_for(lock, std::min(look, std::max<Span>(until - steady_time(), 0ms)));
      batch.swap(messages_);
    }
    for (const Message& m : batch)
      if (!take(m)) return true;
    if (seen) return false;
    if (steady_time() >= until) return true;
  }
}

}  // namespace fw
