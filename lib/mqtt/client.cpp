#include "mqtt/client.h"

#include <fcntl.h>
#include <mosquitto.h>
#include <mqtt_protocol.h>
#include <netdb.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <csignal>
#include <condition_variable>
#include <cstring>
#include <deque>
#include <map>
#include <mutex>
#include <random>
#include <set>
#include <thread>

#include "mqtt/backoff.h"
#include "mqtt/tls.h"

namespace fw::mqtt {
namespace {

constexpr Span connect_limit = 5s;     // TCP, per address
constexpr Span accept_limit = 10s;     // TLS and CONNACK
constexpr Span goodbye_limit = 200ms;
constexpr Span beat = 1s;              // how often keep-alive and pulse are looked at
constexpr int packets_a_turn = 64;
constexpr const char* fell_silent = "the broker fell silent";
constexpr const char* closed_by_broker = "the broker closed the connection";

struct MosquittoDeleter { void operator()(mosquitto* m) const { mosquitto_destroy(m); } };
struct PropertyDeleter { void operator()(mosquitto_property* p) const { mosquitto_property_free_all(&p); } };
using Handle = std::unique_ptr<mosquitto, MosquittoDeleter>;
using Properties = std::unique_ptr<mosquitto_property, PropertyDeleter>;

class WakeUp {
 public:
  WakeUp() : fd_(eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK)) {}
  ~WakeUp() { if (fd_ >= 0) ::close(fd_); }
  WakeUp(const WakeUp&) = delete;
  WakeUp& operator=(const WakeUp&) = delete;
  int fd() const { return fd_; }
  void ring() { eventfd_write(fd_, 1); }
  void hush() { eventfd_t n; eventfd_read(fd_, &n); }

 private:
  int fd_;
};

std::string words_for_errno(int e) {
  char buffer[128];
  return strerror_r(e, buffer, sizeof buffer);
}

/// The numeric addresses of a host, in the resolver's order; the reason in words when there are none.
std::vector<std::string> addresses_of(const std::string& host, std::string& why) {
  addrinfo hints{};
  hints.ai_family = AF_UNSPEC;
  hints.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  const int rc = getaddrinfo(host.c_str(), nullptr, &hints, &found);
  if (rc != 0) {
    why = "the name " + host + " was not found (" + gai_strerror(rc) + ")";
    return {};
  }
  std::unique_ptr<addrinfo, decltype(&freeaddrinfo)> keep{found, &freeaddrinfo};
  std::vector<std::string> result;
  for (const addrinfo* a = found; a; a = a->ai_next) {
    char text[NI_MAXHOST];
    if (getnameinfo(a->ai_addr, a->ai_addrlen, text, sizeof text, nullptr, 0, NI_NUMERICHOST) == 0) result.emplace_back(text);
  }
  if (result.empty()) why = "the name " + host + " has no address";
  return result;
}

}  // namespace

Library::Library() {
  std::signal(SIGPIPE, SIG_IGN);  // TLS writes to a closed socket would end the process
  mosquitto_lib_init();
}
Library::~Library() { mosquitto_lib_cleanup(); }

bool valid_filter(const std::string& filter) {
  return !filter.empty() && mosquitto_sub_topic_check2(filter.data(), filter.size()) == MOSQ_ERR_SUCCESS &&
         mosquitto_validate_utf8(filter.data(), static_cast<int>(filter.size())) == MOSQ_ERR_SUCCESS;
}

bool valid_topic(const std::string& topic) {
  return !topic.empty() && mosquitto_pub_topic_check2(topic.data(), topic.size()) == MOSQ_ERR_SUCCESS &&
         mosquitto_validate_utf8(topic.data(), static_cast<int>(topic.size())) == MOSQ_ERR_SUCCESS;
}

// Everything the thread and the owner share. What only the thread uses needs no lock; the rest is
// behind `mutex` or atomic. It outlives whichever of the two ends last.
struct Client::State {
  State(Settings s, Sink k, Clock c) : settings(std::move(s)), sink(std::move(k)), clock(std::move(c)), chance(std::random_device{}()) {
    // Brokers look at keep-alives only every few seconds (Mosquitto 2.0: five). Announcing three seconds
    // less keeps the will within 1.5 x keep_alive_s + 2 s all the same.
    settings.keep_alive_s = std::max(settings.keep_alive_s - 3, 5);
    last_pulse = clock();
  }

  Settings settings;
  Sink sink;
  Clock clock;
  WakeUp wake;
  std::atomic<bool> stopping{false}, up{false}, held{false};
  std::atomic<Span> last_pulse;

  std::mutex mutex;
  std::condition_variable changed;       // confirmed or ended
  std::deque<Outgoing> queue;
  std::map<std::string, Outgoing> kept;  // last retained QoS 1 state per topic
  std::size_t pending = 0;               // taken on this connection and not yet sent (QoS 0) or confirmed (QoS 1)
  bool ended = false;
  std::thread thread;

  // -- the thread's own --
  std::mt19937 chance;
  Backoff backoff;
  Handle handle;
  std::unique_ptr<Tls> tls;
  struct InFlight { std::string token, topic; bool cleared = false; };
  std::map<int, InFlight> in_flight;
  int connack = -1;                      // CONNACK code, -1 before
  int disconnect_code = 0;               // MQTT 5 reason given by the broker
  std::string tls_reason;                // last TLS line of the library's log
  std::optional<Span> up_since;
  bool reported_up = false, reported_any = false, reported_contested = false;
  std::set<std::string> reasons_said;
  std::set<std::string> refusals_said;

  void tell(Event e) { if (!stopping || std::holds_alternative<Delivered>(e)) sink(std::move(e)); }

  bool pulse_missing() const { return settings.pulse_limit && clock() - last_pulse.load() > *settings.pulse_limit; }

  std::string broker_name() const {
    const bool v6 = settings.host.find(':') != std::string::npos;
    return (v6 ? "[" + settings.host + "]" : settings.host) + ":" + std::to_string(settings.port);
  }

  void run();
  std::string attempt(const std::string& address);   // empty: the broker accepted us
  std::string serve();                               // why the connection ended
  Result<void> prepare();
  std::string turn(Span longest);                    // one poll; not empty: the connection is over
  void send_queued();
  void send(Outgoing message);
  void accepted();
  void over();
  void say_down(const std::string& why);
  void rest(Span pause);
  void goodbye();

  static State& of(void* object) { return *static_cast<State*>(object); }
  static void on_connect(mosquitto*, void* object, int code, int, const mosquitto_property*) { of(object).connack = code; }
  static void on_disconnect(mosquitto*, void* object, int code, const mosquitto_property*) {
    if (code >= 0x80) of(object).disconnect_code = code;  // a second call without a reason may follow
  }
  static void on_log(mosquitto*, void* object, int, const char* line);
  static void on_publish(mosquitto*, void* object, int id, int reason, const mosquitto_property*);
  static void on_subscribe(mosquitto*, void* object, int id, int count, const int* granted);
  static void on_message(mosquitto*, void* object, const mosquitto_message* m, const mosquitto_property*);
};

void Client::State::on_log(mosquitto*, void* object, int, const char* line) {
  if (std::strstr(line, "OpenSSL Error") == nullptr) return;
  const char* reason = std::strrchr(line, ':');  // the last part is the words
  of(object).tls_reason = reason ? reason + 1 : line;
}

void Client::State::on_publish(mosquitto*, void* object, int id, int reason, const mosquitto_property*) {
  State& s = of(object);
  const auto it = s.in_flight.find(id);
  if (it == s.in_flight.end()) return;  // QoS 0
  const InFlight message = std::move(it->second);
  s.in_flight.erase(it);
  {
    std::lock_guard lock{s.mutex};
    --s.pending;
    if (message.cleared && reason < 0x80) {
      const auto kept = s.kept.find(message.topic);
      if (kept != s.kept.end() && kept->second.payload.empty()) s.kept.erase(kept);
    }
  }
  s.changed.notify_all();
  if (reason >= 0x80) {
    if (s.refusals_said.size() < 100 && s.refusals_said.insert(message.topic).second)
      s.tell(Refused{"the broker refused what was sent to " + message.topic + " (" + mosquitto_reason_string(reason) + ")"});
  } else if (!message.token.empty()) {
    s.tell(Delivered{message.token});
  }
}

void Client::State::on_subscribe(mosquitto*, void* object, int, int count, const int* granted) {
  State& s = of(object);
  for (int i = 0; i < count; ++i) {
    if (granted[i] < 0x80) continue;
    const std::string filter = static_cast<std::size_t>(i) < s.settings.filters.size() ? s.settings.filters[static_cast<std::size_t>(i)] : "";
    if (s.refusals_said.insert("subscribe " + filter).second) s.tell(Refused{"the broker refused the subscription to " + filter});
  }
}

void Client::State::on_message(mosquitto*, void* object, const mosquitto_message* m, const mosquitto_property*) {
  State& s = of(object);
  const auto bytes = static_cast<std::size_t>(m->payloadlen);
  if (bytes > s.settings.max_payload_bytes) {
    s.tell(Oversize{m->topic, bytes});
    return;
  }
  s.tell(Arrived{m->topic, std::string(static_cast<const char*>(m->payload), bytes), m->retain});
  errno = 0;  // turn() reads "no more" from errno
}

Result<void> Client::State::prepare() {
  handle.reset();
  tls.reset();
  in_flight.clear();
  connack = -1;
  disconnect_code = 0;
  tls_reason.clear();
  // A new instance each time: nothing unsent survives inside the library, the certificate files are read
  // afresh, and what is to be sent again is decided here.
  handle.reset(mosquitto_new(settings.client_id.c_str(), settings.clean_session, this));
  if (!handle) return Fault{"", "no memory for a connection"};
  mosquitto* m = handle.get();
  const bool v5 = settings.protocol == 5;
  mosquitto_int_option(m, MOSQ_OPT_PROTOCOL_VERSION, v5 ? MQTT_PROTOCOL_V5 : MQTT_PROTOCOL_V311);
  mosquitto_int_option(m, MOSQ_OPT_TCP_NODELAY, 1);
  mosquitto_max_inflight_messages_set(m, 0);
  mosquitto_connect_v5_callback_set(m, &on_connect);
  mosquitto_disconnect_v5_callback_set(m, &on_disconnect);
  mosquitto_publish_v5_callback_set(m, &on_publish);
  mosquitto_subscribe_callback_set(m, &on_subscribe);
  mosquitto_message_v5_callback_set(m, &on_message);
  mosquitto_log_callback_set(m, &on_log);
  if (!settings.user.empty()) mosquitto_username_pw_set(m, settings.user.c_str(), settings.password.empty() ? nullptr : settings.password.c_str());
  if (settings.will) {
    const Outgoing& w = *settings.will;
    const int rc = mosquitto_will_set(m, w.topic.c_str(), static_cast<int>(w.payload.size()), w.payload.data(), w.qos, w.retain);
    if (rc != MOSQ_ERR_SUCCESS) return Fault{w.topic, std::string("cannot carry the will (") + mosquitto_strerror(rc) + ")"};
  }
  if (settings.tls) {
    auto made = Tls::make({settings.host, settings.ca_file, settings.cert_file, settings.key_file});
    if (!made) return made.fault();
    tls = std::move(*made);
    mosquitto_int_option(m, MOSQ_OPT_SSL_CTX_WITH_DEFAULTS, 0);
    mosquitto_void_option(m, MOSQ_OPT_SSL_CTX, tls->context());
  }
  return {};
}

std::string Client::State::attempt(const std::string& address) {
  if (auto ready = prepare(); !ready) return ready.fault().text();
  mosquitto* m = handle.get();
  if (settings.protocol == 5) {
    mosquitto_property* list = nullptr;
    if (!settings.clean_session) mosquitto_property_add_int32(&list, MQTT_PROP_SESSION_EXPIRY_INTERVAL, 7 * 24 * 3600);
    // Some room above the payload for topic and properties.
    mosquitto_property_add_int32(&list, MQTT_PROP_MAXIMUM_PACKET_SIZE, static_cast<std::uint32_t>(settings.max_payload_bytes + 70'000));
    const Properties owned{list};
    // The non-blocking connect takes no properties, but uses those of an earlier call. This one is
    // refused for its port before it touches the network.
    mosquitto_connect_bind_v5(m, address.c_str(), -1, settings.keep_alive_s, nullptr, list);
  }
  errno = 0;
  const int rc = mosquitto_connect_async(m, address.c_str(), settings.port, settings.keep_alive_s);
  if (rc != MOSQ_ERR_SUCCESS) {
    if (rc == MOSQ_ERR_ERRNO && errno) return "no answer from " + broker_name() + ": " + words_for_errno(errno);
    if (tls && !tls->refusal().empty()) return "the broker's certificate was not accepted: " + tls->refusal();
    return "no connection to " + broker_name() + ": " + mosquitto_strerror(rc);
  }
  const Span begun = clock();
  bool tcp = false;
  while (connack < 0) {
    if (stopping) return "stopped";
    const int fd = mosquitto_socket(m);
    if (!tcp && fd >= 0) {
      pollfd p{fd, POLLOUT, 0};
      pollfd both[2] = {p, {wake.fd(), POLLIN, 0}};
      poll(both, 2, 200);
      wake.hush();
      int error = 0;
      socklen_t size = sizeof error;
      if (both[0].revents && getsockopt(fd, SOL_SOCKET, SO_ERROR, &error, &size) == 0 && error)
        return "no answer from " + broker_name() + ": " + words_for_errno(error);
      tcp = both[0].revents & POLLOUT;
      if (!tcp) {
        if (clock() - begun > connect_limit) return "no answer from " + broker_name() + ": nothing came back";
        continue;
      }
      if (!settings.tls) {
        // Tells the library that the socket is connected, so that CONNECT leaves.
        if (const int w = mosquitto_loop_write(m, 1)) return "no connection to " + broker_name() + ": " + mosquitto_strerror(w);
      }
    }
    const std::string end = turn(200ms);
    if (connack > 0) break;
    if (!end.empty() && end != fell_silent) {
      if (tls && !tls->refusal().empty()) return "the broker's certificate was not accepted: " + tls->refusal();
      if (!tls_reason.empty()) return "TLS with " + broker_name() + " failed: " + tls_reason;
      return settings.tls ? "TLS with " + broker_name() + " failed: " + end : end;
    }
    if (end == fell_silent || clock() - begun > accept_limit) return broker_name() + " accepts connections and says nothing";
  }
  if (connack > 0) {
    const char* words = settings.protocol == 5 ? mosquitto_reason_string(connack) : mosquitto_connack_string(connack);
    std::string why = words ? words : "";
    while (!why.empty() && why.back() == '.') why.pop_back();
    return "the broker refused us: " + why;
  }
  return "";
}

std::string Client::State::turn(Span longest) {
  mosquitto* m = handle.get();
  const int fd = mosquitto_socket(m);
  if (fd < 0) return "connection lost";
  const bool read_now = !held;
  pollfd waits[2] = {{fd, static_cast<short>((read_now ? POLLIN : 0) | (mosquitto_want_write(m) ? POLLOUT : 0)), 0}, {wake.fd(), POLLIN, 0}};
  const int limit = static_cast<int>((read_now ? longest : std::min<Span>(longest, 20ms)).count());
  if (poll(waits, 2, limit) < 0 && errno != EINTR) return words_for_errno(errno);
  if (waits[1].revents) wake.hush();
  int rc = MOSQ_ERR_SUCCESS;
  if (waits[0].revents & POLLOUT) rc = mosquitto_loop_write(m, packets_a_turn);
  if (rc == MOSQ_ERR_SUCCESS && (waits[0].revents & (POLLIN | POLLERR | POLLHUP))) {
    // TLS may hold several packets the socket no longer shows: read until there is nothing.
    for (int i = 0; i < packets_a_turn && rc == MOSQ_ERR_SUCCESS && !held; ++i) {
      errno = 0;
      rc = mosquitto_loop_read(m, 1);
      if (errno == EAGAIN || mosquitto_socket(m) < 0) break;
    }
  }
  if (rc == MOSQ_ERR_SUCCESS && mosquitto_socket(m) >= 0) rc = mosquitto_loop_misc(m);
  if (rc == MOSQ_ERR_SUCCESS && mosquitto_socket(m) >= 0) return "";
  if (rc == MOSQ_ERR_KEEPALIVE) return fell_silent;
  if (disconnect_code >= 0x80) return std::string("the broker ended it: ") + mosquitto_reason_string(disconnect_code);
  if (rc == MOSQ_ERR_SUCCESS || rc == MOSQ_ERR_CONN_LOST) return closed_by_broker;
  return rc == MOSQ_ERR_ERRNO && errno ? words_for_errno(errno) : std::string(mosquitto_strerror(rc));
}

void Client::State::send(Outgoing message) {
  mosquitto_property* list = nullptr;
  if (message.expires_s && settings.protocol == 5)
    mosquitto_property_add_int32(&list, MQTT_PROP_MESSAGE_EXPIRY_INTERVAL, static_cast<std::uint32_t>(std::max(0, *message.expires_s)));
  const Properties owned{list};
  int id = 0;
  const int rc = mosquitto_publish_v5(handle.get(), &id, message.topic.c_str(), static_cast<int>(message.payload.size()),
                                      message.payload.data(), message.qos, message.retain, list);
  if (rc != MOSQ_ERR_SUCCESS || message.qos == 0) {
    {
      std::lock_guard lock{mutex};
      --pending;
    }
    changed.notify_all();
    if (rc != MOSQ_ERR_SUCCESS && rc != MOSQ_ERR_NO_CONN && rc != MOSQ_ERR_CONN_LOST && refusals_said.insert("send " + message.topic).second)
      tell(Refused{"not sent to " + message.topic + ": " + mosquitto_strerror(rc)});
    return;
  }
  in_flight[id] = {std::move(message.token), message.topic, message.retain && message.payload.empty()};
}

void Client::State::send_queued() {
  std::deque<Outgoing> batch;
  {
    std::lock_guard lock{mutex};
    batch.swap(queue);
  }
  for (Outgoing& message : batch) send(std::move(message));
}

void Client::State::accepted() {
  up_since = clock();
  std::vector<char*> filters;
  for (std::string& f : settings.filters) filters.push_back(f.data());
  if (!filters.empty()) mosquitto_subscribe_multiple(handle.get(), nullptr, static_cast<int>(filters.size()), filters.data(), 1, 0, nullptr);
  std::vector<Outgoing> state;
  {
    std::lock_guard lock{mutex};
    for (auto& [topic, message] : kept) state.push_back(message);
    pending = state.size();
    up = true;
  }
  for (Outgoing& message : state) send(std::move(message));
  reasons_said.clear();
  if (!reported_up) {
    reported_up = reported_any = true;
    tell(Connection{true, ""});
  }
}

void Client::State::over() {
  up = false;
  {
    std::lock_guard lock{mutex};
    queue.clear();
    pending = 0;
  }
  changed.notify_all();
  in_flight.clear();
  handle.reset();  // closes the socket without DISCONNECT
}

void Client::State::say_down(const std::string& why) {
  const bool change = reported_up || !reported_any;
  reported_up = false;
  reported_any = true;
  // A broker that refuses in the middle of TLS is heard as an alert or as a closed socket, as it happens: one reason.
  const std::string reason = why.substr(0, why.find(" failed: "));
  if (reasons_said.size() < 20 && (reasons_said.insert(reason).second || change)) tell(Connection{false, why});
}

std::string Client::State::serve() {
  for (;;) {
    if (stopping) return "stopped";
    if (pulse_missing()) return "the main loop has not run for some seconds; connection dropped";
    send_queued();
    const std::string end = turn(beat);
    if (!end.empty()) return end;
    backoff.holding(clock() - *up_since);
    if (reported_contested && !backoff.contested()) {
      reported_contested = false;
      tell(Contested{.over = true});
    }
  }
}

void Client::State::goodbye() {
  send_queued();
  mosquitto_disconnect(handle.get());
  const Span begun = clock();
  held = false;
  while (clock() - begun < goodbye_limit)
    if (!turn(50ms).empty()) break;  // the broker closes when it has read our DISCONNECT
}

void Client::State::rest(Span pause) {
  const Span until = clock() + pause;
  while (!stopping) {
    const Span left = until - clock();
    if (left <= Span::zero() && !pulse_missing()) return;
    pollfd p{wake.fd(), POLLIN, 0};
    poll(&p, 1, static_cast<int>(std::clamp<Span>(left, 10ms, 1s).count()));
    wake.hush();
  }
}

void Client::State::run() {
  std::uniform_real_distribution<double> draw{0, 1};
  while (!stopping) {
    std::string why;
    bool accepted_now = false;
    for (const std::string& address : addresses_of(settings.host, why)) {
      if (stopping) break;
      why = attempt(address);
      accepted_now = why.empty();
      if (accepted_now || connack > 0) break;
    }
    if (accepted_now && !stopping) {
      accepted();
      why = serve();
      if (stopping) { goodbye(); over(); break; }
      const bool taken_over = disconnect_code == MQTT_RC_SESSION_TAKEN_OVER;
      const bool by_broker = why == closed_by_broker;
      backoff.lost(clock() - *up_since, by_broker, taken_over);
      over();
      if (backoff.contested() && !reported_contested) {
        reported_contested = true;
        tell(Contested{.certain = taken_over});
      }
    } else {
      over();
      backoff.failed();
    }
    if (stopping) break;
    say_down(why);
    rest(backoff.pause(draw(chance)));
  }
  {
    std::lock_guard lock{mutex};
    ended = true;
  }
  changed.notify_all();
}

Client::Client(Settings settings, Sink sink, Clock clock)
    : state_(std::make_shared<State>(std::move(settings), std::move(sink), std::move(clock))) {
  state_->thread = std::thread([state = state_] { state->run(); });
}

Client::~Client() { close(); }

void Client::publish(Outgoing message) {
  {
    std::lock_guard lock{state_->mutex};
    if (message.retain && message.qos > 0) {
      Outgoing copy = message;
      copy.token.clear();
      state_->kept[message.topic] = std::move(copy);
    } else {
      state_->kept.erase(message.topic);
    }
    if (!state_->up) return;
    state_->queue.push_back(std::move(message));
    ++state_->pending;
  }
  state_->wake.ring();
}

void Client::pulse() { state_->last_pulse = state_->clock(); }

bool Client::flush(Span limit) {
  std::unique_lock lock{state_->mutex};
  State& s = *state_;
  return s.changed.wait_for(lock, limit, [&s] { return !s.up || s.pending == 0; }) && s.up;
}

bool Client::connected() const { return state_->up; }

void Client::hold(bool on) {
  if (state_->held.exchange(on) != on) state_->wake.ring();
}

void Client::close() {
  State& s = *state_;
  if (!s.thread.joinable()) return;
  s.stopping = true;
  s.wake.ring();
  bool ended;
  {
    std::unique_lock lock{s.mutex};
    ended = s.changed.wait_for(lock, goodbye_limit + 300ms, [&s] { return s.ended; });
  }
  if (ended) s.thread.join();
  else s.thread.detach();  // in a name look-up; the thread owns its share of the state
}

}  // namespace fw::mqtt
