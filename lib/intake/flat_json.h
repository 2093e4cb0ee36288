#pragma once
// A payload as a flat row of nodes in document order: one pass, no tree, buffers reused from message to
// message. Reads everything JSON (RFC 8259) and, because senders do it, bare words in a value's place
// (nan, Infinity, offline) and numbers with a leading '+' or zeros. A number no double can hold is a word.
#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <vector>

namespace fw::intake {

struct JsonNode {
  enum class Kind : std::uint8_t { null, boolean, number, text, word, array, object };
  Kind kind = Kind::null;
  bool flag = false;
  double number = 0;
  std::string_view key;      ///< inside an object
  std::string_view text;     ///< text: without quotes and escapes; number and word: as written
  std::uint32_t next = 0;    ///< the node after this one and all it holds
};

/// RFC 6901, split once.
class JsonPointer {
 public:
  JsonPointer() = default;
  explicit JsonPointer(std::string_view text);
  bool whole() const { return tokens_.empty(); }

  struct Token {
    std::string key;
    std::int64_t index = -1;   ///< when the token can be one
  };
  const std::vector<Token>& tokens() const { return tokens_; }

 private:
  std::vector<Token> tokens_;
};

class FlatJson {
 public:
  static constexpr int deepest = 64;

  /// False when the text is not JSON (as widened above) or nested deeper than `deepest`. The text must outlive the nodes.
  bool parse(std::string_view text);

  /// The node a pointer leads to, below `from` (an index; 0 is the root), or null. Of a repeated key the last counts.
  const JsonNode* find(const JsonPointer& pointer, std::uint32_t from = 0) const;
  const std::vector<JsonNode>& nodes() const { return nodes_; }
  std::uint32_t index_of(const JsonNode* n) const { return static_cast<std::uint32_t>(n - nodes_.data()); }

 private:
  bool value(int depth);
  bool quoted(std::string_view& out);
  bool unescape(std::string_view raw, std::string& out) const;
  void blanks() {
    while (at_ < text_.size() && (text_[at_] == ' ' || text_[at_] == '\n' || text_[at_] == '\r' || text_[at_] == '\t')) ++at_;
  }
  char here() const { return at_ < text_.size() ? text_[at_] : '\0'; }

  std::string_view text_;
  std::size_t at_ = 0;
  std::vector<JsonNode> nodes_;
  std::deque<std::string> unescaped_;
};

}  // namespace fw::intake
