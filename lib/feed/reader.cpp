#include "feed/reader.h"

#include <unistd.h>
#include <zlib.h>

#include <cerrno>
#include <cstring>
#include <string_view>

#include "feed/line.h"

namespace fw::feed {

namespace {
struct Close {
  void operator()(gzFile_s* f) const { gzclose(f); }
};
}  // namespace

struct Reader::State {
  std::unique_ptr<gzFile_s, Close> file;   ///< null: everything is in `buffer` already
  std::string name;
  std::string buffer;
  std::size_t at = 0;                      ///< start of the next line in the buffer
  bool ended = false;
  bool overlong = false;                   ///< skipping the rest of a line beyond the limit
  std::uint64_t lines = 0, bad = 0;
  std::vector<Fault> faults;
  std::optional<Fault> damage;

  void complain(std::string what) {
    ++bad;
    if (faults.size() < kept_faults) faults.push_back({name + ":" + std::to_string(lines), std::move(what)});
  }

  bool fill() {
    if (ended || !file) {
      ended = true;
      return false;
    }
    buffer.erase(0, at);
    at = 0;
    constexpr std::size_t chunk = 1u << 16;
    const std::size_t old = buffer.size();
    buffer.resize(old + chunk);
    const int n = gzread(file.get(), buffer.data() + old, chunk);
    buffer.resize(old + static_cast<std::size_t>(n > 0 ? n : 0));
    if (n > 0) return true;
    ended = true;
    int code = Z_OK;
    const char* text = gzerror(file.get(), &code);
    if (n < 0 || (code != Z_OK && code != Z_STREAM_END)) {
      const std::string why = code == Z_ERRNO ? std::strerror(errno) : code == Z_BUF_ERROR ? "the compressed data ends early" : text;
      damage = Fault{name + ":" + std::to_string(lines), "the file breaks off: " + why};
    }
    return false;
  }

  /// The next line without its end; false at the end of the feed.
  bool line(std::string_view& out) {
    std::size_t from = at;
    for (;;) {
      const std::size_t newline = buffer.find('\n', from);
      if (newline != std::string::npos) {
        out = std::string_view{buffer}.substr(at, newline - at);
        at = newline + 1;
        ++lines;
        return true;
      }
      if (buffer.size() - at > longest_line) {
        overlong = true;
        buffer.clear();
        at = 0;
      }
      const std::size_t seen = buffer.size() - at;
      if (!fill()) {
        if (at >= buffer.size() && !overlong) return false;
        out = std::string_view{buffer}.substr(at);
        at = buffer.size();
        ++lines;
        return true;
      }
      from = at + seen;
    }
  }
};

Reader::Reader(std::unique_ptr<State> state) : state_(std::move(state)) {}
Reader::Reader(Reader&&) noexcept = default;
Reader& Reader::operator=(Reader&&) noexcept = default;
Reader::~Reader() = default;

Result<Reader> Reader::open(const std::string& path) {
  auto state = std::make_unique<State>();
  state->name = path == "-" ? "standard input" : path;
  errno = 0;
  if (path == "-") {
    const int copy = dup(STDIN_FILENO);
    state->file.reset(copy < 0 ? nullptr : gzdopen(copy, "rb"));
    if (!state->file && copy >= 0) close(copy);
  } else {
    state->file.reset(gzopen(path.c_str(), "rb"));
  }
  if (!state->file) return Fault{state->name, std::string{"cannot be opened: "} + (errno ? std::strerror(errno) : "out of memory")};
  gzbuffer(state->file.get(), 1u << 17);
  // A folder opens, and fails at the first read.
  if (!state->fill() && state->damage && state->buffer.empty() && errno == EISDIR) return Fault{state->name, "is a folder, not a feed file"};
  return Reader{std::move(state)};
}

Reader Reader::over(std::string text, std::string name) {
  auto state = std::make_unique<State>();
  state->name = std::move(name);
  state->buffer = std::move(text);
  return Reader{std::move(state)};
}

std::optional<Message> Reader::next() {
  std::string_view line;
  while (state_->line(line)) {
    if (state_->overlong) {
      state_->overlong = false;
      state_->complain("line longer than " + std::to_string(longest_line >> 20) + " MiB");
      continue;
    }
    if (line.find_first_not_of(" \t\r") == std::string_view::npos) continue;
    auto m = line_in(line);
    if (m) return std::move(*m);
    state_->complain(m.fault().what);
  }
  return std::nullopt;
}

std::uint64_t Reader::lines() const { return state_->lines; }
std::uint64_t Reader::bad() const { return state_->bad; }
const std::vector<Fault>& Reader::faults() const { return state_->faults; }
const std::optional<Fault>& Reader::damage() const { return state_->damage; }

}  // namespace fw::feed
