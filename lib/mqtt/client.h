#pragma once
// One connection to an MQTT broker that survives everything by itself: an absent broker, a restart, a
// refused certificate, a silent link. It has its own thread (names are resolved there too); what
// happens is handed to a sink on that thread, which must only stamp, copy and post.
//
//   mqtt::Library library;                               // once, in main
//   mqtt::Client client(settings, sink, steady_clock);
//   client.publish({.topic = "a", .payload = "1", .qos = 1, .retain = true});
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "units/time.h"

namespace fw::mqtt {

/// Holds the underlying library's process-wide state, and has SIGPIPE ignored. Make one before the first Client,
/// on one thread.
class Library {
 public:
  Library();
  ~Library();
  Library(const Library&) = delete;
  Library& operator=(const Library&) = delete;
};

struct Outgoing {
  std::string topic, payload;
  int qos = 0;
  bool retain = false;
  std::optional<int> expires_s = {};  ///< MQTT 5 only, else ignored
  std::string token = {};             ///< not empty: Delivered{token} follows when the broker confirms (QoS 1)
};

struct Settings {
  std::string host = "127.0.0.1";
  int port = 1883;
  bool tls = false;
  std::string ca_file, cert_file, key_file;
  std::string user, password;
  std::string client_id;
  int protocol = 4;                       ///< 4: MQTT 3.1.1, 5: MQTT 5
  bool clean_session = true;
  int keep_alive_s = 15;                  ///< a dead link has the will out within 1.5 times this + 2 s; 8 at least
  std::size_t max_payload_bytes = 64 * 1024;
  std::vector<std::string> filters;       ///< subscribed at QoS 1 at every connection
  std::optional<Outgoing> will;
  /// Without pulse() for this long the socket is dropped without DISCONNECT, so that the will goes out.
  std::optional<Span> pulse_limit;
};

struct Arrived { std::string topic, payload; bool retain = false; };
/// A change, not a try: up, or down with the reason in words (a new reason during one outage is a change).
struct Connection { bool up = false; std::string why; };
struct Delivered { std::string token; };
/// Another client uses our id. certain: the broker said so. over: it no longer does.
struct Contested { bool certain = false, over = false; };
/// The broker will not do something we asked ("subscription to x refused").
struct Refused { std::string what; };
/// A message larger than max_payload_bytes was dropped.
struct Oversize { std::string topic; std::size_t bytes = 0; };
using Event = std::variant<Arrived, Connection, Delivered, Contested, Refused, Oversize>;

class Client {
 public:
  using Sink = std::function<void(Event)>;
  using Clock = std::function<Span()>;    ///< steady, any origin; callable from any thread

  /// The thread starts at once. sink and clock must stay callable until close() returned, and after it
  /// do nothing harmful: a thread stuck in a name look-up at close() is left behind.
  Client(Settings settings, Sink sink, Clock clock);
  ~Client();
  Client(const Client&) = delete;
  Client& operator=(const Client&) = delete;

  /// Sends in order. While the broker is away: the last retained state of each topic is kept and sent
  /// again at the next connection (as it is after every reconnection, until an empty one is confirmed);
  /// all else is dropped, so that nothing late is ever sent.
  void publish(Outgoing message);
  /// The owner is alive.
  void pulse();
  /// Waits until every QoS 1 message so far is confirmed; false when `limit` passed or the broker is away.
  bool flush(Span limit);
  bool connected() const;
  /// Stop taking from the socket while the owner is behind; the broker keeps what is QoS 1.
  void hold(bool on);
  /// Says goodbye (no will is sent) and ends the thread. A second call is harmless.
  void close();

 private:
  struct State;
  std::shared_ptr<State> state_;
};

/// True when `filter` is a well-formed MQTT topic filter / `topic` a well-formed topic name.
bool valid_filter(const std::string& filter);
bool valid_topic(const std::string& topic);

}  // namespace fw::mqtt
