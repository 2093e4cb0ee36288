#include "system_notify.h"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>

#include "units/text.h"

namespace fw {

void notify_system(const std::string& state) {
  const char* path = std::getenv("NOTIFY_SOCKET");
  sockaddr_un a{};
  a.sun_family = AF_UNIX;
  if (!path || (path[0] != '/' && path[0] != '@') || std::strlen(path) >= sizeof a.sun_path) return;
  const std::size_t length = std::strlen(path);
  std::memcpy(a.sun_path, path, length);
  if (path[0] == '@') a.sun_path[0] = '\0';  // abstract name
  const int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  if (fd < 0) return;
  sendto(fd, state.data(), state.size(), MSG_NOSIGNAL | MSG_DONTWAIT, reinterpret_cast<const sockaddr*>(&a),
         static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + length));
  close(fd);
}

std::optional<Span> watchdog_beat() {
  const char* us = std::getenv("WATCHDOG_USEC");
  const char* pid = std::getenv("WATCHDOG_PID");
  if (!us) return std::nullopt;
  if (pid && number_in(pid) != static_cast<double>(getpid())) return std::nullopt;
  const auto value = number_in(us);
  if (!value || *value < 2000) return std::nullopt;
  return std::max<Span>(Span{static_cast<Span::rep>(*value / 2000)}, 1ms);
}

}  // namespace fw
