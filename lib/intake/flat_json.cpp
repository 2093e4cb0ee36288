#include "intake/flat_json.h"

#include <array>
#include <charconv>
#include <cmath>

namespace fw::intake {

namespace {

/// What numbers and bare words are made of.
constexpr auto of_a_word = [] {
  std::array<bool, 256> all{};
  for (int c = 0; c < 256; ++c)
    all[static_cast<std::size_t>(c)] = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '-' || c == '+' || c == '.' || c == '_';
  return all;
}();

}  // namespace

JsonPointer::JsonPointer(std::string_view text) {
  while (!text.empty() && text.front() == '/') {
    text.remove_prefix(1);
    const std::size_t end = std::min(text.find('/'), text.size());
    Token token;
    for (std::size_t i = 0; i < end; ++i) {
      if (text[i] == '~' && i + 1 < end && (text[i + 1] == '0' || text[i + 1] == '1'))
        token.key += text[++i] == '0' ? '~' : '/';
      else
        token.key += text[i];
    }
    const std::string& k = token.key;
    if (!k.empty() && k.size() <= 9 && k.find_first_not_of("0123456789") == std::string::npos && (k.size() == 1 || k[0] != '0'))
      std::from_chars(k.data(), k.data() + k.size(), token.index);
    tokens_.push_back(std::move(token));
    text.remove_prefix(end);
  }
}

bool FlatJson::parse(std::string_view text) {
  text_ = text;
  at_ = 0;
  nodes_.clear();
  unescaped_.clear();
  blanks();
  if (!value(0)) return false;
  blanks();
  return at_ == text_.size();
}

const JsonNode* FlatJson::find(const JsonPointer& pointer, std::uint32_t from) const {
  if (from >= nodes_.size()) return nullptr;
  std::uint32_t node = from;
  for (const JsonPointer::Token& token : pointer.tokens()) {
    const JsonNode& parent = nodes_[node];
    std::uint32_t found = 0;
    if (parent.kind == JsonNode::Kind::object) {
      for (std::uint32_t i = node + 1; i < parent.next; i = nodes_[i].next)
        if (nodes_[i].key == token.key) found = i;
    } else if (parent.kind == JsonNode::Kind::array && token.index >= 0) {
      std::int64_t n = 0;
      for (std::uint32_t i = node + 1; i < parent.next && found == 0; i = nodes_[i].next)
        if (n++ == token.index) found = i;
    }
    if (found == 0) return nullptr;
    node = found;
  }
  return &nodes_[node];
}

bool FlatJson::value(int depth) {
  if (depth > deepest) return false;
  const std::size_t self = nodes_.size();
  nodes_.emplace_back();
  const auto done = [&] {
    nodes_[self].next = static_cast<std::uint32_t>(nodes_.size());
    return true;
  };
  const char c = here();
  if (c == '"') {
    std::string_view text;
    if (!quoted(text)) return false;
    nodes_[self].kind = JsonNode::Kind::text;
    nodes_[self].text = text;
    return done();
  }
  if (c == '{' || c == '[') {
    const bool object = c == '{';
    const char close = object ? '}' : ']';
    nodes_[self].kind = object ? JsonNode::Kind::object : JsonNode::Kind::array;
    ++at_;
    blanks();
    if (here() == close) {
      ++at_;
      return done();
    }
    for (;;) {
      std::string_view key;
      if (object) {
        if (here() != '"' || !quoted(key)) return false;
        blanks();
        if (here() != ':') return false;
        ++at_;
        blanks();
      }
      const std::size_t child = nodes_.size();
      if (!value(depth + 1)) return false;
      nodes_[child].key = key;
      blanks();
      if (here() == ',') {
        ++at_;
        blanks();
        continue;
      }
      if (here() != close) return false;
      ++at_;
      return done();
    }
  }
  const std::size_t start = at_;
  while (at_ < text_.size() && of_a_word[static_cast<unsigned char>(text_[at_])]) ++at_;
  if (at_ == start) return false;
  JsonNode& n = nodes_[self];
  n.text = text_.substr(start, at_ - start);
  if (n.text == "null") {
    n.kind = JsonNode::Kind::null;
  } else if (n.text == "true" || n.text == "false") {
    n.kind = JsonNode::Kind::boolean;
    n.flag = n.text == "true";
  } else {
    std::string_view digits = n.text;
    if (digits.front() == '+' && digits.size() > 1 && digits[1] != '-') digits.remove_prefix(1);
    const auto [end, ec] = std::from_chars(digits.data(), digits.data() + digits.size(), n.number);
    const bool number = ec == std::errc{} && end == digits.data() + digits.size() && std::isfinite(n.number);
    n.kind = number ? JsonNode::Kind::number : JsonNode::Kind::word;
    if (!number) n.number = 0;
  }
  return done();
}

bool FlatJson::quoted(std::string_view& out) {
  const std::size_t start = ++at_;
  bool escaped = false;
  const char *at = text_.data() + start, *const end = text_.data() + text_.size();
  for (; at < end && *at != '"'; ++at) {
    if (static_cast<unsigned char>(*at) < 0x20) return false;
    if (*at == '\\') {
      escaped = true;
      if (++at == end) return false;
    }
  }
  if (at >= end) return false;
  out = text_.substr(start, static_cast<std::size_t>(at - text_.data()) - start);
  at_ = start + out.size() + 1;
  if (!escaped) return true;
  std::string plain;
  if (!unescape(out, plain)) return false;
  unescaped_.push_back(std::move(plain));
  out = unescaped_.back();
  return true;
}

namespace {

void append_utf8(std::string& out, std::uint32_t c) {
  if (c < 0x80) {
    out += static_cast<char>(c);
  } else if (c < 0x800) {
    out += static_cast<char>(0xC0 | (c >> 6));
    out += static_cast<char>(0x80 | (c & 0x3F));
  } else if (c < 0x10000) {
    out += static_cast<char>(0xE0 | (c >> 12));
    out += static_cast<char>(0x80 | ((c >> 6) & 0x3F));
    out += static_cast<char>(0x80 | (c & 0x3F));
  } else {
    out += static_cast<char>(0xF0 | (c >> 18));
    out += static_cast<char>(0x80 | ((c >> 12) & 0x3F));
    out += static_cast<char>(0x80 | ((c >> 6) & 0x3F));
    out += static_cast<char>(0x80 | (c & 0x3F));
  }
}

bool hex4(std::string_view s, std::uint32_t& out) {
  if (s.size() < 4) return false;
  const auto [end, ec] = std::from_chars(s.data(), s.data() + 4, out, 16);
  return ec == std::errc{} && end == s.data() + 4;
}

}  // namespace

bool FlatJson::unescape(std::string_view raw, std::string& out) const {
  for (std::size_t i = 0; i < raw.size(); ++i) {
    if (raw[i] != '\\') {
      out += raw[i];
      continue;
    }
    switch (raw[++i]) {
      case '"': out += '"'; break;
      case '\\': out += '\\'; break;
      case '/': out += '/'; break;
      case 'b': out += '\b'; break;
      case 'f': out += '\f'; break;
      case 'n': out += '\n'; break;
      case 'r': out += '\r'; break;
      case 't': out += '\t'; break;
      case 'u': {
        std::uint32_t c = 0;
        if (!hex4(raw.substr(i + 1), c)) return false;
        i += 4;
        if (c >= 0xD800 && c < 0xDC00) {
          std::uint32_t low = 0;
          if (raw.substr(i + 1, 2) != "\\u" || !hex4(raw.substr(i + 3), low) || low < 0xDC00 || low > 0xDFFF) return false;
          c = 0x10000 + ((c - 0xD800) << 10) + (low - 0xDC00);
          i += 6;
        } else if (c >= 0xDC00 && c <= 0xDFFF) {
          return false;
        }
        append_utf8(out, c);
        break;
      }
      default: return false;
    }
  }
  return true;
}

}  // namespace fw::intake
