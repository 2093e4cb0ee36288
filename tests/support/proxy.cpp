#include "support/proxy.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>

namespace fw::test {
namespace {
sockaddr_in loopback(int port) {
  sockaddr_in a{};
  a.sin_family = AF_INET;
  a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  a.sin_port = htons(static_cast<std::uint16_t>(port));
  return a;
}
struct Pair { int inner = -1, outer = -1; bool swallowed = false; };
}  // namespace

Proxy::Proxy(int target_port) : target_(target_port) {
  listener_ = socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in a = loopback(0);
  socklen_t size = sizeof a;
  bind(listener_, reinterpret_cast<sockaddr*>(&a), sizeof a);
  listen(listener_, 16);
  getsockname(listener_, reinterpret_cast<sockaddr*>(&a), &size);
  port_ = ntohs(a.sin_port);
  thread_ = std::thread([this] { run(); });
}

Proxy::~Proxy() {
  stop_ = true;
  thread_.join();
  close(listener_);
}

void Proxy::run() {
  std::vector<Pair> pairs;
  const auto drop = [&](std::size_t i) {
    close(pairs[i].inner);
    if (pairs[i].outer >= 0) close(pairs[i].outer);
    pairs.erase(pairs.begin() + static_cast<std::ptrdiff_t>(i));
  };
  while (!stop_) {
    if (cut_.exchange(false))
      while (!pairs.empty()) drop(pairs.size() - 1);
    std::vector<pollfd> waits{{listener_, POLLIN, 0}};
    for (const Pair& p : pairs) {
      // What was swallowed leaves a gap no later byte may follow: such a pair stays silent for good.
      const bool silent = p.swallowed || hole_;
      waits.push_back({silent ? -1 : p.inner, POLLIN, 0});
      waits.push_back({silent ? -1 : p.outer, POLLIN, 0});
    }
    const int crawl = crawl_;
    constexpr int turns_per_s = 20;
    if (crawl > 0) std::this_thread::sleep_for(std::chrono::milliseconds{1000 / turns_per_s});
    poll(waits.data(), waits.size(), 20);
    const std::size_t known = pairs.size();
    if (hole_)
      for (Pair& p : pairs) p.swallowed = true;
    else
      for (std::size_t i = known; i-- > 0;) {
        char buffer[65536];
        bool ended = false;
        for (int side = 0; side < 2 && !ended; ++side) {
          if (!waits[1 + 2 * i + static_cast<std::size_t>(side)].revents) continue;
          const int from = side == 0 ? pairs[i].inner : pairs[i].outer;
          const int to = side == 0 ? pairs[i].outer : pairs[i].inner;
          const std::size_t most = crawl > 0 ? static_cast<std::size_t>(std::max(1, crawl / turns_per_s)) : sizeof buffer;
          const ssize_t n = read(from, buffer, most);
          ended = n <= 0 || send(to, buffer, static_cast<std::size_t>(n), MSG_NOSIGNAL) != n;
        }
        if (ended) drop(i);
      }
    if (waits[0].revents) {
      Pair p;
      p.inner = accept(listener_, nullptr, nullptr);
      ++connections_;
      p.swallowed = hole_;
      if (!p.swallowed) {
        p.outer = socket(AF_INET, SOCK_STREAM, 0);
        const sockaddr_in a = loopback(target_);
        if (connect(p.outer, reinterpret_cast<const sockaddr*>(&a), sizeof a) != 0) {
          close(p.inner);
          close(p.outer);
          continue;
        }
      }
      pairs.push_back(p);
    }
  }
  while (!pairs.empty()) drop(pairs.size() - 1);
}

}  // namespace fw::test
