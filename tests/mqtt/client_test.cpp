#include "mqtt/client.h"

#include <doctest/doctest.h>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <atomic>
#include <functional>
#include <mutex>
#include <thread>

#include "support/broker.h"
#include "support/certificates.h"
#include "support/listener.h"
#include "support/proxy.h"

using namespace fw;
using namespace fw::test;
using mqtt::Client;

namespace {

#define NEEDS_BROKER()                                          \
  if (!Broker::available()) {                                   \
    MESSAGE("skipped: mosquitto is not installed");             \
    return;                                                     \
  }

/// A client and what it told.
struct Watched {
  explicit Watched(mqtt::Settings s) {
    if (s.client_id.empty()) s.client_id = "under-test";
    client = std::make_unique<Client>(
        std::move(s),
        [this](mqtt::Event e) {
          std::lock_guard lock{mutex};
          events.push_back(std::move(e));
        },
        &steady_now);
  }
  ~Watched() { client.reset(); }

  template <class T>
  std::vector<T> told() {
    std::lock_guard lock{mutex};
    std::vector<T> result;
    for (const auto& e : events)
      if (const T* t = std::get_if<T>(&e)) result.push_back(*t);
    return result;
  }
  bool up(Span limit = 10s) { return eventually([&] { return client->connected(); }, limit); }
  bool down(Span limit = 10s) { return eventually([&] { return !client->connected(); }, limit); }
  std::string last_reason() {
    const auto c = told<mqtt::Connection>();
    return c.empty() ? "" : c.back().why;
  }

  std::mutex mutex;
  std::vector<mqtt::Event> events;
  std::unique_ptr<Client> client;
};

mqtt::Settings settings_for(int port) {
  mqtt::Settings s;
  s.port = port;
  s.keep_alive_s = 8;
  return s;
}

/// Accepts one connection after the other and does with each what the test wants.
class RawServer {
 public:
  explicit RawServer(std::function<void(int)> talk) {
    listener_ = socket(AF_INET, SOCK_STREAM, 0);
    sockaddr_in a{};
    a.sin_family = AF_INET;
    a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof a;
    bind(listener_, reinterpret_cast<sockaddr*>(&a), sizeof a);
    listen(listener_, 4);
    getsockname(listener_, reinterpret_cast<sockaddr*>(&a), &size);
    port_ = ntohs(a.sin_port);
    thread_ = std::thread([this, talk = std::move(talk)] {
      for (int fd; (fd = accept(listener_, nullptr, nullptr)) >= 0; close(fd)) talk(fd);
    });
  }
  ~RawServer() {
    shutdown(listener_, SHUT_RDWR);
    thread_.join();
    close(listener_);
  }
  int port() const { return port_; }

 private:
  int listener_ = -1, port_ = 0;
  std::thread thread_;
};

mqtt::Library library;  // once in this program

}  // namespace

TEST_CASE("a broker absent at start is said once, and the client is there when it comes") {
  NEEDS_BROKER();
  Broker broker;
  mqtt::Settings s = settings_for(broker.port());
  s.filters = {"in/#"};
  Watched w{s};
  REQUIRE(eventually([&] { return !w.told<mqtt::Connection>().empty(); }));
  pause_for(2500ms);  // several tries
  REQUIRE(w.told<mqtt::Connection>().size() == 1);
  CHECK(w.last_reason() == "no answer from 127.0.0.1:" + std::to_string(broker.port()) + ": Connection refused");
  broker.start();
  REQUIRE(w.up(15s));
  Listener other(broker.port(), {});
  REQUIRE(other.wait_up());
  other.publish("in/a", "1");
  CHECK(eventually([&] { return w.told<mqtt::Arrived>().size() == 1; }));
  CHECK(w.told<mqtt::Connection>().size() == 2);
}

TEST_CASE("after a broker restart subscriptions are renewed and retained state is there again") {
  NEEDS_BROKER();
  for (const int protocol : {4, 5}) {
    CAPTURE(protocol);
    Broker broker;
    broker.start();
    mqtt::Settings s = settings_for(broker.port());
    s.protocol = protocol;
    s.filters = {"in/#"};
    Watched w{s};
    REQUIRE(w.up());
    w.client->publish({.topic = "out/state", .payload = "standing", .qos = 1, .retain = true});
    w.client->publish({.topic = "out/over", .payload = "standing", .qos = 1, .retain = true});
    w.client->publish({.topic = "out/over", .payload = "", .qos = 1, .retain = true});
    w.client->publish({.topic = "out/yes", .payload = "yes", .qos = 0});
    REQUIRE(w.client->flush(2s));
    broker.kill();
    REQUIRE(w.down());
    w.client->publish({.topic = "out/late", .payload = "must not be sent later", .qos = 1});
    w.client->publish({.topic = "out/meanwhile", .payload = "kept", .qos = 1, .retain = true});
    broker.start();
    REQUIRE(w.up(15s));
    Listener other(broker.port(), {"out/#"});
    REQUIRE(other.wait_up());
    CHECK(eventually([&] { return other.on("out/state").size() == 1 && other.on("out/meanwhile").size() == 1; }));
    CHECK(other.on("out/over").empty());
    CHECK(other.on("out/yes").empty());
    CHECK(other.on("out/late").empty());
    other.publish("in/a", "1");
    CHECK(eventually([&] { return w.told<mqtt::Arrived>().size() == 1; }));
    CHECK(w.told<mqtt::Connection>().size() == 3);  // up, down, up: a line per change
  }
}

TEST_CASE("delivery is reported by token when the broker confirms") {
  NEEDS_BROKER();
  Broker broker;
  broker.start();
  for (const int protocol : {4, 5}) {
    CAPTURE(protocol);
    mqtt::Settings s = settings_for(broker.port());
    s.protocol = protocol;
    Watched w{s};
    REQUIRE(w.up());
    for (int i = 0; i < 50; ++i) w.client->publish({.topic = "n", .payload = std::to_string(i), .qos = 1, .token = "t" + std::to_string(i)});
    CHECK(w.client->flush(2s));
    CHECK(eventually([&] { return w.told<mqtt::Delivered>().size() == 50; }));
  }
}

TEST_CASE("a clean close is quick and sends no will") {
  NEEDS_BROKER();
  Broker broker;
  broker.start();
  Listener other(broker.port(), {"off"});
  REQUIRE(other.wait_up());
  mqtt::Settings s = settings_for(broker.port());
  s.will = mqtt::Outgoing{.topic = "off", .payload = "no", .qos = 1, .retain = true};
  {
    Watched w{s};
    REQUIRE(w.up());
    const auto begun = steady_now();
    w.client->close();
    CHECK(steady_now() - begun < 500ms);
  }
  pause_for(300ms);
  CHECK(other.on("off").empty());
}

TEST_CASE("an owner that hangs loses its socket, so that the will goes out, and is back when it runs again") {
  NEEDS_BROKER();
  Broker broker;
  broker.start();
  Listener other(broker.port(), {"off"});
  REQUIRE(other.wait_up());
  mqtt::Settings s = settings_for(broker.port());
  s.will = mqtt::Outgoing{.topic = "off", .payload = "no", .qos = 1, .retain = true};
  s.pulse_limit = 1s;
  Watched w{s};
  REQUIRE(w.up());
  const auto begun = steady_now();
  REQUIRE(eventually([&] { return other.last("off").has_value(); }, 5s));
  CHECK(other.last("off")->payload == "no");
  CHECK(other.last("off")->at - begun < 3s);
  pause_for(1500ms);
  CHECK_FALSE(w.client->connected());  // and it stays away while the owner hangs
  std::atomic<bool> stop{false};
  std::thread owner([&] { while (!stop) { w.client->pulse(); pause_for(100ms); } });
  CHECK(w.up(5s));
  stop = true;
  owner.join();
}

TEST_CASE("a link that swallows everything is noticed within three keep-alives, the will is out, and it recovers within 30 s") {
  NEEDS_BROKER();
  Broker broker;
  broker.start();
  Proxy link(broker.port());
  Listener other(broker.port(), {"off"});
  REQUIRE(other.wait_up());
  mqtt::Settings s = settings_for(link.port());
  s.will = mqtt::Outgoing{.topic = "off", .payload = "no", .qos = 1, .retain = true};
  Watched w{s};
  REQUIRE(w.up());
  link.black_hole(true);
  const auto begun = steady_now();
  CHECK(eventually([&] { return other.last("off").has_value(); }, 14s));  // 1.5 x 8 s + 2 s
  CHECK(w.down(15s));
  CHECK(steady_now() - begun <= 15s);
  CHECK(w.last_reason() == "the broker fell silent");
  CHECK(eventually([&] { return w.last_reason() == "127.0.0.1:" + std::to_string(link.port()) + " accepts connections and says nothing"; }, 15s));
  link.black_hole(false);
  CHECK(w.up(30s));
}

TEST_CASE("a second client with our id is noticed once, and we step back") {
  NEEDS_BROKER();
  for (const int protocol : {4, 5}) {
    CAPTURE(protocol);
    Broker broker;
    broker.start();
    Proxy link(broker.port());
    mqtt::Settings s = settings_for(link.port());
    s.protocol = protocol;
    Watched w{s};
    REQUIRE(w.up());
    std::atomic<bool> stop{false};
    std::thread rival([&] {
      while (!stop) {
        Process p({"mosquitto_sub", "-p", std::to_string(broker.port()), "-i", "under-test", "-t", "x"});
        p.wait(700ms);  // it is thrown out and comes again
      }
    });
    CHECK(eventually([&] { return w.told<mqtt::Contested>().size() == 1; }, 20s));
    pause_for(4s);
    CHECK(w.told<mqtt::Contested>().size() == 1);
    CHECK_FALSE(w.told<mqtt::Contested>()[0].certain);  // Mosquitto 2.0 closes without a reason
    const int before = link.connections();
    pause_for(6s);
    CHECK(link.connections() - before <= 2);
    stop = true;
    rival.join();
  }
}

TEST_CASE("an MQTT 5 broker that says 'session taken over' is believed at once") {
  RawServer server([](int fd) {
    char buffer[512];
    CHECK(read(fd, buffer, sizeof buffer) > 0);                 // CONNECT
    const unsigned char connack[] = {0x20, 3, 0, 0, 0};
    const unsigned char disconnect[] = {0xE0, 2, 0x8E, 0};
    CHECK(write(fd, connack, sizeof connack) == sizeof connack);
    pause_for(100ms);
    CHECK(write(fd, disconnect, sizeof disconnect) == sizeof disconnect);
    pause_for(100ms);
  });
  mqtt::Settings s = settings_for(server.port());
  s.protocol = 5;
  Watched w{s};
  CHECK(eventually([&] { return w.told<mqtt::Contested>().size() == 1; }));
  CHECK(w.told<mqtt::Contested>().at(0).certain);
}

TEST_CASE("messages beyond the limit are counted, not taken") {
  NEEDS_BROKER();
  Broker broker;
  broker.start();
  mqtt::Settings s = settings_for(broker.port());
  s.filters = {"in/#"};
  s.max_payload_bytes = 1000;
  Watched w{s};
  REQUIRE(w.up());
  REQUIRE(w.client->flush(1s));
  Listener other(broker.port(), {});
  REQUIRE(other.wait_up());
  pause_for(200ms);
  other.publish("in/big", std::string(1001, 'x'));
  other.publish("in/ok", std::string(1000, 'x'));
  CHECK(eventually([&] { return w.told<mqtt::Arrived>().size() == 1 && w.told<mqtt::Oversize>().size() == 1; }));
}

TEST_CASE("a persistent session keeps what was sent to us while we were away") {
  NEEDS_BROKER();
  Broker broker;
  broker.start();
  for (const int protocol : {4, 5}) {
    CAPTURE(protocol);
    mqtt::Settings s = settings_for(broker.port());
    s.protocol = protocol;
    s.clean_session = false;
    s.client_id = "persistent-" + std::to_string(protocol);
    s.filters = {"in/#"};
    {
      Watched w{s};
      REQUIRE(w.up());
      pause_for(200ms);
    }
    Listener other(broker.port(), {});
    REQUIRE(other.wait_up());
    other.publish("in/while-away", "1");
    REQUIRE(other.flush());
    Watched w{s};
    CHECK(eventually([&] { return w.told<mqtt::Arrived>().size() == 1; }));
  }
}

TEST_CASE("held back, a flood waits at the broker and nothing at QoS 1 is lost") {
  NEEDS_BROKER();
  Broker broker;
  broker.start();
  mqtt::Settings s = settings_for(broker.port());
  s.filters = {"in/#"};
  Watched w{s};
  REQUIRE(w.up());
  REQUIRE(w.client->flush(1s));
  pause_for(200ms);
  w.client->hold(true);
  Listener other(broker.port(), {});
  REQUIRE(other.wait_up());
  for (int i = 0; i < 2000; ++i) other.publish("in/x", std::to_string(i));
  REQUIRE(other.flush());
  CHECK(w.told<mqtt::Arrived>().empty());
  w.client->hold(false);
  CHECK(eventually([&] { return w.told<mqtt::Arrived>().size() == 2000; }));
  const auto got = w.told<mqtt::Arrived>();
  for (std::size_t i = 0; i < got.size(); ++i)
    if (got[i].payload != std::to_string(i)) { FAIL("out of order at " << i); }
}

TEST_CASE("TLS: a good broker is believed, each bad one refused with its reason, never without TLS") {
  NEEDS_BROKER();
  const Certificates ours, foreign;
  const auto good = ours.make("broker");
  const auto expired = ours.make("expired", -20, -10);
  const auto early = ours.make("early", 5, 10);
  const auto client_pair = ours.make("client");
  struct Row { const char* name; Certificates::Pair server; std::string ca; bool client_certificate; std::string reason; };
  const Row rows[] = {
      {"good", good, ours.ca(), true, ""},
      {"expired", expired, ours.ca(), true, "the broker's certificate was not accepted: certificate has expired"},
      {"not yet valid", early, ours.ca(), true, "the broker's certificate was not accepted: certificate is not yet valid"},
      {"wrong authority", good, foreign.ca(), true, "the broker's certificate was not accepted: self-signed certificate in certificate chain"},
      {"no client certificate", good, ours.ca(), false, "TLS with 127.0.0.1:"},
      {"no such file", good, "/nonexistent/ca.pem", true, "/nonexistent/ca.pem: could not be read as certificate authorities (PEM)"},
  };
  for (const int protocol : {4, 5})
    for (const Row& row : rows) {
      CAPTURE(row.name);
      CAPTURE(protocol);
      Broker::Options o;
      o.listener_lines = "cafile " + ours.ca() + "\ncertfile " + row.server.cert + "\nkeyfile " + row.server.key + "\nrequire_certificate true\n";
      Broker broker(o);
      broker.start();
      mqtt::Settings s = settings_for(broker.port());
      s.protocol = protocol;
      s.tls = true;
      s.ca_file = row.ca;
      if (row.client_certificate) {
        s.cert_file = client_pair.cert;
        s.key_file = client_pair.key;
      }
      s.filters = {"in/#"};
      Watched w{s};
      if (row.reason.empty()) {
        REQUIRE(w.up());
        w.client->publish({.topic = "in/echo", .payload = "through TLS", .qos = 1, .token = "t"});
        CHECK(eventually([&] { return w.told<mqtt::Arrived>().size() == 1; }));
        CHECK(eventually([&] { return w.told<mqtt::Delivered>().size() == 1; }));
      } else {
        REQUIRE(eventually([&] { return !w.told<mqtt::Connection>().empty(); }));
        // Under TLS 1.3 a missing client certificate is refused after the client's side of the handshake is done: whether the alert or
        // the closed socket is seen first is a race inside the library, so either may be said, each once.
        const bool late_refusal = !row.client_certificate;
        const bool closed = late_refusal && w.last_reason().starts_with("no answer from 127.0.0.1");
        CHECK((closed || w.last_reason().substr(0, row.reason.size()) == row.reason));
        pause_for(1200ms);
        CHECK(w.told<mqtt::Connection>().size() <= (late_refusal ? 2u : 1u));
        CHECK_FALSE(w.client->connected());
      }
    }
}

TEST_CASE("a wrong password is said in words and tried again") {
  NEEDS_BROKER();
  const TempDir dir;
  REQUIRE(run({"mosquitto_passwd", "-b", "-c", dir.file("passwd"), "rig", "right"}).code == 0);
  Broker::Options o;
  o.lines = "allow_anonymous false\npassword_file " + dir.file("passwd") + "\n";
  Broker broker(o);
  broker.start();
  struct Row { int protocol; const char* reason; };
  for (const Row row : {Row{4, "the broker refused us: Connection Refused: not authorised"}, Row{5, "the broker refused us: Not authorized"}}) {
    CAPTURE(row.protocol);
    mqtt::Settings s = settings_for(broker.port());
    s.protocol = row.protocol;
    s.user = "rig";
    s.password = "wrong";
    Watched w{s};
    REQUIRE(eventually([&] { return !w.told<mqtt::Connection>().empty(); }));
    CHECK(w.last_reason() == row.reason);
    s.password = "right";
    s.client_id = "right";
    Watched right{s};
    CHECK(right.up());
  }
}

TEST_CASE("a name that does not exist is said in words, and closing does not wait for it") {
  mqtt::Settings s = settings_for(1883);
  s.host = "no-such-host.invalid";
  Watched w{s};
  pause_for(100ms);
  const auto begun = steady_now();
  w.client->close();
  CHECK(steady_now() - begun < 1s);
}

TEST_CASE("localhost is reached whichever of its addresses the broker listens on") {
  NEEDS_BROKER();
  Broker broker;
  broker.start();
  mqtt::Settings s = settings_for(broker.port());
  s.host = "localhost";
  Watched w{s};
  CHECK(w.up());
}

TEST_CASE("filters and topics are checked for form") {
  struct Row { const char* text; bool filter, topic; };
  for (const Row& r : {Row{"a/b", true, true}, Row{"a/+/b", true, false}, Row{"a/#", true, false}, Row{"a/#/b", false, false},
                       Row{"a+", false, false}, Row{"", false, false}, Row{"\xff", false, false}}) {
    CAPTURE(r.text);
    CHECK(mqtt::valid_filter(r.text) == r.filter);
    CHECK(mqtt::valid_topic(r.text) == r.topic);
  }
}
