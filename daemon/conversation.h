#pragma once
// A short conversation with the broker, for the commands that are not the daemon: publish, wait, read.
#include <condition_variable>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "clocks.h"
#include "mqtt/client.h"
#include "units/message.h"

namespace fw {

/// How long a command waits for its broker.
inline constexpr Span patience = std::chrono::seconds{10};

class Conversation {
 public:
  explicit Conversation(mqtt::Settings settings);
  ~Conversation() { client_.reset(); }

  /// Connected within `limit`? Otherwise the reason is in why().
  bool up(Span limit);
  std::string why() const;
  void publish(mqtt::Outgoing message) { client_->publish(std::move(message)); }
  /// Publishes at QoS 1 and waits until the broker confirms.
  bool delivered(mqtt::Outgoing message, Span limit);

  /// Hands every message to `take` until the time is up, `take` says false, or a signal came (see stop_on_signals()).
  /// Returns false when it was ended by a signal.
  bool listen(Span limit, const std::function<bool(const Message&)>& take);
  /// Said on stderr whenever the connection comes or goes.
  bool talk = false;

 private:
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Message> messages_;
  std::set<std::string> confirmed_;
  bool up_ = false;
  std::string why_;
  ElapsedLine line_;
  std::unique_ptr<mqtt::Client> client_;
};

/// From now on SIGINT and SIGTERM only raise a flag, which ends waits in a Conversation.
void stop_on_signals();
/// The signal that came, or 0.
int signal_seen();

}  // namespace fw
