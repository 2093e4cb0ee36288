#pragma once
// A TCP relay on loopback that can be told to misbehave: swallow everything without closing, crawl, or cut.
#include <atomic>
#include <thread>
#include <vector>

namespace fw::test {

class Proxy {
 public:
  explicit Proxy(int target_port);
  ~Proxy();
  Proxy(const Proxy&) = delete;
  Proxy& operator=(const Proxy&) = delete;

  int port() const { return port_; }
  /// Everything that arrives is dropped, new connections are accepted and never answered.
  void black_hole(bool on) { hole_ = on; }
  /// About so many bytes a second each way on each connection; 0: as fast as it goes.
  void crawl(int bytes_per_s) { crawl_ = bytes_per_s; }
  /// Closes every connection of now.
  void cut() { cut_ = true; }
  int connections() const { return connections_; }

 private:
  void run();
  int target_;
  int listener_ = -1;
  int port_ = 0;
  std::atomic<bool> stop_{false}, hole_{false}, cut_{false};
  std::atomic<int> connections_{0}, crawl_{0};
  std::thread thread_;
};

}  // namespace fw::test
