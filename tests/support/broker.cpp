#include "support/broker.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <signal.h>
#include <sys/socket.h>
#include <unistd.h>

#include <stdexcept>

namespace fw::test {
namespace {
constexpr const char* program = "/usr/sbin/mosquitto";  // not on a plain user's PATH

bool accepts(int port) {
  const int fd = socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in a{};
  a.sin_family = AF_INET;
  a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  a.sin_port = htons(static_cast<std::uint16_t>(port));
  const bool ok = connect(fd, reinterpret_cast<sockaddr*>(&a), sizeof a) == 0;
  close(fd);
  return ok;
}
}  // namespace

int free_port() {
  const int fd = socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in a{};
  a.sin_family = AF_INET;
  a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof a;
  bind(fd, reinterpret_cast<sockaddr*>(&a), sizeof a);
  getsockname(fd, reinterpret_cast<sockaddr*>(&a), &size);
  close(fd);
  return ntohs(a.sin_port);
}

bool Broker::available() { return access(program, X_OK) == 0; }

Broker::Broker(Options options) : options_(std::move(options)) {
  if (options_.port == 0) options_.port = free_port();
  std::string text = "listener " + std::to_string(options_.port) + " 127.0.0.1\n" + options_.listener_lines + options_.lines +
                     "set_tcp_nodelay true\nlog_type all\nlog_dest file " + dir_.file("log") + "\nmax_queued_messages 0\n";
  if (geteuid() == 0) text += "user root\n";
  if (options_.persistence)
    text += "persistence true\npersistence_location " + dir_.path() + "/\nautosave_on_changes true\nautosave_interval 1\n";
  dir_.write("conf", text);
}

void Broker::start() {
  process_ = std::make_unique<Process>(std::vector<std::string>{program, "-c", dir_.file("conf")}, dir_.file("out"), dir_.file("err"));
  if (!eventually([this] { return accepts(options_.port) || !process_->running(); }) || !process_->running())
    throw std::runtime_error("the test broker did not start: " + read_file(dir_.file("err")) + log());
}

void Broker::kill() { process_.reset(); }

void Broker::stop() {
  if (!process_) return;
  process_->signal(SIGTERM);
  process_->wait(std::chrono::seconds{3});
  process_.reset();
}

void Broker::freeze(bool on) { process_->signal(on ? SIGSTOP : SIGCONT); }

}  // namespace fw::test
