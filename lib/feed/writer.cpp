#include "feed/writer.h"

#include <fcntl.h>
#include <unistd.h>
#include <zlib.h>

#include <cerrno>
#include <cstring>

#include "feed/line.h"

namespace fw::feed {

struct Writer::State {
  std::string name;
  int fd = -1;
  gzFile gz = nullptr;
  std::string pending;

  ~State() {
    if (gz)
      gzclose(gz);
    else if (fd > STDOUT_FILENO)
      ::close(fd);
  }

  Result<void> trouble() const { return Fault{name, std::string{"cannot be written: "} + std::strerror(errno ? errno : EIO)}; }

  Result<void> drain() {
    std::string_view rest = pending;
    while (!rest.empty()) {
      errno = 0;
      const auto n = gz ? gzwrite(gz, rest.data(), static_cast<unsigned>(rest.size())) : ::write(fd, rest.data(), rest.size());
      if (n < 0 && errno == EINTR) continue;
      if (n <= 0) return trouble();
      rest.remove_prefix(static_cast<std::size_t>(n));
    }
    pending.clear();
    return {};
  }
};

Writer::Writer(std::unique_ptr<State> state) : state_(std::move(state)) {}
Writer::Writer(Writer&&) noexcept = default;
Writer& Writer::operator=(Writer&&) noexcept = default;
Writer::~Writer() {
  if (state_) (void)state_->drain();
}

Result<Writer> Writer::create(const std::string& path) {
  auto state = std::make_unique<State>();
  state->name = path == "-" ? "standard output" : path;
  state->fd = path == "-" ? STDOUT_FILENO : ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
  if (state->fd < 0) return Fault{path, std::string{"cannot be created: "} + std::strerror(errno)};
  if (path.ends_with(".gz")) {
    state->gz = gzdopen(state->fd, "wb6");
    if (!state->gz) return Fault{path, "cannot be created: out of memory"};
  }
  return Writer{std::move(state)};
}

Result<void> Writer::write(const Message& m) {
  state_->pending += line_of(m);
  state_->pending += '\n';
  return state_->pending.size() >= (1u << 16) ? state_->drain() : Result<void>{};
}

Result<void> Writer::flush() {
  if (auto done = state_->drain(); !done) return done;
  if (state_->gz && gzflush(state_->gz, Z_SYNC_FLUSH) != Z_OK) return state_->trouble();
  return {};
}

Result<void> Writer::close() {
  auto done = state_->drain();
  errno = 0;
  if (state_->gz) {
    const int code = gzclose(state_->gz);
    state_->gz = nullptr;
    state_->fd = -1;
    if (code != Z_OK && done) return state_->trouble();
  } else if (state_->fd > STDOUT_FILENO) {
    const int code = ::close(state_->fd);
    state_->fd = -1;
    if (code != 0 && done) return state_->trouble();
  }
  return done;
}

}  // namespace fw::feed
