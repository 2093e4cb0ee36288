#include "feed/line.h"

#include <array>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <optional>
#include <utility>

#include "units/base64.h"
#include "units/json.h"
#include "units/text.h"

namespace fw::feed {

namespace {

constexpr int deepest = 200;

/// Neither the end of a string, nor an escape, nor a control character.
constexpr auto ordinary_in_text = [] {
  std::array<bool, 256> all{};
  for (std::size_t c = 0x20; c < all.size(); ++c) all[c] = c != '"' && c != '\\';
  return all;
}();

/// Walks JSON text without building anything; knows where each value begins and ends.
class Walk {
 public:
  explicit Walk(std::string_view text) : text_(text) {}

  void blanks() {
    while (at_ < text_.size() && (text_[at_] == ' ' || text_[at_] == '\t' || text_[at_] == '\n' || text_[at_] == '\r')) ++at_;
  }
  bool take(char c) {
    if (at_ >= text_.size() || text_[at_] != c) return false;
    ++at_;
    return true;
  }
  bool end() const { return at_ == text_.size(); }
  std::size_t at() const { return at_; }
  std::string_view slice(std::size_t from) const { return text_.substr(from, at_ - from); }
  char here() const { return at_ < text_.size() ? text_[at_] : '\0'; }

  /// Past a string, quotes included; `plain` turns false when it holds an escape.
  bool text(bool& plain) {
    if (!take('"')) return false;
    for (;;) {
      while (at_ < text_.size() && ordinary(text_[at_])) ++at_;
      if (at_ >= text_.size()) return false;
      const char c = text_[at_++];
      if (c == '"') return true;
      if (static_cast<unsigned char>(c) < 0x20) return false;
      if (c != '\\') continue;
      plain = false;
      const char e = here();
      ++at_;
      if (e == 'u') {
        for (int i = 0; i < 4; ++i) {
          const char h = here();
          if (!((h >= '0' && h <= '9') || (h >= 'a' && h <= 'f') || (h >= 'A' && h <= 'F'))) return false;
          ++at_;
        }
      } else if (std::string_view{"\"\\/bfnrt"}.find(e) == std::string_view::npos || e == '\0') {
        return false;
      }
    }
  }

  bool value(int depth = 0) {
    if (depth > deepest) return false;
    bool plain = true;
    const char c = here();
    if (c == '"') return text(plain);
    if (c == '{' || c == '[') {
      const char close = c == '{' ? '}' : ']';
      ++at_;
      blanks();
      if (take(close)) return true;
      for (;;) {
        if (c == '{') {
          if (!text(plain)) return false;
          blanks();
          if (!take(':')) return false;
          blanks();
        }
        if (!value(depth + 1)) return false;
        blanks();
        if (take(close)) return true;
        if (!take(',')) return false;
        blanks();
      }
    }
    if (c == '-' || (c >= '0' && c <= '9')) return number();
    return word("true") || word("false") || word("null");
  }

 private:
  static bool ordinary(char c) { return ordinary_in_text[static_cast<unsigned char>(c)]; }
  bool word(std::string_view w) {
    if (text_.substr(at_, w.size()) != w) return false;
    at_ += w.size();
    return true;
  }
  bool some_digits() {
    const std::size_t from = at_;
    while (at_ < text_.size() && text_[at_] >= '0' && text_[at_] <= '9') ++at_;
    return at_ > from;
  }
  bool number() {
    take('-');
    if (here() == '0')
      ++at_;
    else if (!some_digits())
      return false;
    if (take('.') && !some_digits()) return false;
    if (here() == 'e' || here() == 'E') {
      ++at_;
      if (here() == '+' || here() == '-') ++at_;
      if (!some_digits()) return false;
    }
    return true;
  }

  std::string_view text_;
  std::size_t at_ = 0;
};

/// The text of a JSON string, quotes included; nothing when an escape stands for no character.
std::optional<std::string> unquoted(std::string_view quoted, bool plain) {
  if (plain) return std::string{quoted.substr(1, quoted.size() - 2)};
  const auto j = json_in(quoted);
  if (!j.is_string()) return std::nullopt;
  return j.get<std::string>();
}

/// "2026-01-12T15:04:05Z", the form nearly every line has, without going through the general reader.
std::optional<Utc> common_time(std::string_view s) {
  if (s.size() != 20 || s[4] != '-' || s[7] != '-' || s[10] != 'T' || s[13] != ':' || s[16] != ':' || s[19] != 'Z') return std::nullopt;
  const auto two = [&](std::size_t i) { return (s[i] - '0') * 10 + (s[i + 1] - '0'); };
  for (const std::size_t i : {0, 1, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15, 17, 18})
    if (s[i] < '0' || s[i] > '9') return std::nullopt;
  const std::chrono::year_month_day day{std::chrono::year{two(0) * 100 + two(2)}, std::chrono::month{static_cast<unsigned>(two(5))},
                                        std::chrono::day{static_cast<unsigned>(two(8))}};
  if (!day.ok() || two(11) > 23 || two(14) > 59 || two(17) > 59) return std::nullopt;
  return Utc{std::chrono::sys_days{day}} + hours{two(11)} + minutes{two(14)} + seconds{two(17)};
}

Fault bad(std::string what) { return {"", std::move(what)}; }

void append_quoted(std::string& out, std::string_view utf8) {
  out += '"';
  for (const char c : utf8) {
    switch (c) {
      case '"': out += "\\\""; break;
      case '\\': out += "\\\\"; break;
      case '\n': out += "\\n"; break;
      case '\r': out += "\\r"; break;
      case '\t': out += "\\t"; break;
      default:
        if (static_cast<unsigned char>(c) < 0x20) {
          constexpr std::string_view hex = "0123456789abcdef";
          out += "\\u00";
          out += hex[static_cast<unsigned char>(c) >> 4];
          out += hex[c & 15];
        } else {
          out += c;
        }
    }
  }
  out += '"';
}

/// Every malformed byte becomes U+FFFD; everything else stays.
std::string repaired(std::string_view text) {
  std::string out;
  while (!text.empty()) {
    std::size_t n = 1;
    while (n < 4 && n < text.size() && !is_utf8(text.substr(0, n))) ++n;
    if (is_utf8(text.substr(0, n))) {
      out += text.substr(0, n);
      text.remove_prefix(n);
    } else {
      out += "\xEF\xBF\xBD";
      text.remove_prefix(1);
    }
  }
  return out;
}

/// JSON text that may stand in a line as it is: one line, no string (a string would be read as its text).
bool stands_as_json(std::string_view payload) {
  if (payload.empty() || payload.front() == '"' || payload.front() == ' ' || payload.back() == ' ') return false;
  if (payload.find_first_of("\r\n\t") != std::string_view::npos) return false;
  Walk walk{payload};
  return walk.value() && walk.end();
}

}  // namespace

Result<Message> line_in(std::string_view line) {
  Walk walk{line};
  walk.blanks();
  if (!walk.take('{')) return bad("not a JSON object");
  Message m;
  bool has_t = false, has_topic = false, has_payload = false;
  std::optional<std::string> bytes;
  walk.blanks();
  if (!walk.take('}')) {
    for (;;) {
      std::size_t from = walk.at();
      bool plain = true;
      if (!walk.text(plain)) return bad("not JSON at column " + std::to_string(walk.at() + 1));
      std::string_view key = walk.slice(from);
      std::optional<std::string> escaped;
      if (plain) key = key.substr(1, key.size() - 2);
      else if (!(escaped = unquoted(key, plain))) return bad("a key that is no text");
      else key = *escaped;
      walk.blanks();
      if (!walk.take(':')) return bad("not JSON at column " + std::to_string(walk.at() + 1));
      walk.blanks();
      from = walk.at();
      plain = true;
      const bool is_text = walk.here() == '"';
      if (!(is_text ? walk.text(plain) : walk.value())) return bad("not JSON at column " + std::to_string(walk.at() + 1));
      const std::string_view raw = walk.slice(from);
      if (key == "t") {
        if (!is_text) return bad("t is not a time in quotes");
        auto t = plain ? common_time(raw.substr(1, raw.size() - 2)) : std::nullopt;
        if (!t) {
          const auto text = unquoted(raw, plain);
          t = text ? utc_in(*text) : std::nullopt;
        }
        if (!t) return bad("t is not a time such as 2026-01-12T15:04:05Z: " + printable(raw, 40));
        m.at = elapsed_ms(ms_of(*t));
        has_t = true;
      } else if (key == "topic") {
        auto text = is_text ? unquoted(raw, plain) : std::nullopt;
        if (!text || text->empty()) return bad("topic is not a text");
        if (!is_utf8(*text)) return bad("topic is not UTF-8");
        m.topic = std::move(*text);
        has_topic = true;
      } else if (key == "payload") {
        if (is_text) {
          auto text = unquoted(raw, plain);
          if (!text) return bad("payload holds an escape that stands for no character");
          m.payload = std::move(*text);
        } else {
          m.payload = raw;
        }
        has_payload = true;
      } else if (key == "retain") {
        if (raw != "true" && raw != "false") return bad("retain is neither true nor false");
        m.retain = raw == "true";
      } else if (key == "base64") {
        const auto text = is_text ? unquoted(raw, plain) : std::nullopt;
        bytes = text ? base64_in(*text) : std::nullopt;
        if (!bytes) return bad("base64 cannot be read");
      }
      walk.blanks();
      if (walk.take('}')) break;
      if (!walk.take(',')) return bad("not JSON at column " + std::to_string(walk.at() + 1));
      walk.blanks();
    }
  }
  walk.blanks();
  if (!walk.end()) return bad("something follows the object at column " + std::to_string(walk.at() + 1));
  if (!has_t) return bad("t is missing");
  if (!has_topic) return bad("topic is missing");
  if (!has_payload && !bytes) return bad("payload is missing");
  if (bytes) m.payload = std::move(*bytes);
  return m;
}

std::string line_of(const Message& m) {
  std::string out = "{\"t\":\"" + iso_utc(utc_ms(ms_of(m.at))) + "\",\"topic\":";
  append_quoted(out, is_utf8(m.topic) ? m.topic : repaired(m.topic));
  out += ",\"payload\":";
  const bool utf8 = is_utf8(m.payload);
  if (utf8 && stands_as_json(m.payload))
    out += m.payload;
  else
    append_quoted(out, utf8 ? m.payload : repaired(m.payload));
  if (!utf8) out += ",\"base64\":\"" + base64_of(m.payload) + "\"";
  if (m.retain) out += ",\"retain\":true";
  out += '}';
  return out;
}

}  // namespace fw::feed
