#include "intake/propose.h"

#include <algorithm>
#include <array>
#include <set>

#include "intake/flat_json.h"
#include "intake/guess.h"
#include "intake/starter.h"
#include "units/text.h"
#include "words/words.h"

namespace fw::intake {

namespace {

constexpr std::size_t most_fields = 2000;
constexpr std::size_t most_words = 12;
constexpr std::size_t short_array = 8;   ///< longer arrays are not taken apart
constexpr std::size_t forecast_rows = 12;

std::string escaped(std::string_view key) {
  std::string out;
  for (const char c : key) out += c == '~' ? "~0" : c == '/' ? "~1" : std::string(1, c);
  return out;
}

std::string pause(Span s) { return s < minutes{2} ? std::to_string((s + Span{999}) / seconds{1}) + " s" : Words::span(s); }

struct Seen {
  Field field;
  std::optional<Elapsed> last_live;
};

}  // namespace

struct Listener::State {
  std::map<std::pair<std::string, std::string>, Seen> fields;
  std::uint64_t unread = 0;
  FlatJson json;

  Seen* slot(const std::string& topic, const std::string& pointer) {
    const auto key = std::pair{topic, pointer};
    const auto found = fields.find(key);
    if (found != fields.end()) return &found->second;
    if (fields.size() >= most_fields) {
      ++unread;
      return nullptr;
    }
    Seen fresh;
    fresh.field.topic = topic;
    fresh.field.pointer = pointer;
    fresh.field.only_retained = true;
    return &fields.emplace(key, std::move(fresh)).first->second;
  }

  void heard(Seen& s, const Message& m) {
    if (m.retain) return;
    Field& f = s.field;
    f.only_retained = false;
    ++f.messages;
    if (s.last_live) f.longest_silence = std::max(f.longest_silence.value_or(Span{0}), m.at - *s.last_live);
    s.last_live = m.at;
  }

  void leaf(const Message& m, const std::string& pointer, const JsonNode& n) {
    Seen* s = slot(m.topic, pointer);
    if (!s) return;
    heard(*s, m);
    Field& f = s->field;
    using Kind = JsonNode::Kind;
    std::string text = n.kind == Kind::boolean ? (n.flag ? "true" : "false") : n.kind == Kind::null ? "null" : std::string{n.text};
    f.last = printable(text, 60);
    const auto number = n.kind == Kind::number ? std::optional{n.number} : n.kind == Kind::text ? number_in(n.text) : std::nullopt;
    if (m.retain && f.messages > 0) return;
    if (number) {
      f.low = std::min(f.low.value_or(*number), *number);
      f.high = std::max(f.high.value_or(*number), *number);
    } else if (n.kind != Kind::null && !text.empty() && text.size() <= 40) {
      const std::string w = printable(text, 40);
      const auto at = std::lower_bound(f.words.begin(), f.words.end(), w);
      if ((at == f.words.end() || *at != w) && f.words.size() < most_words) f.words.insert(at, w);
    }
  }

  /// A long array: an hour a row, or one of several columns.
  void array(const Message& m, const std::string& pointer, const JsonNode& n, std::size_t elements) {
    Seen* s = slot(m.topic, pointer);
    if (!s) return;
    heard(*s, m);
    Field& f = s->field;
    f.elements = elements;
    f.last = "array of " + std::to_string(elements);
    f.columns.clear();
    f.guess = {};
    const auto& nodes = json.nodes();
    const std::uint32_t first = json.index_of(&n) + 1;
    if (elements < forecast_rows) return;
    if (nodes[first].kind == JsonNode::Kind::object) {
      for (std::uint32_t i = first + 1; i < nodes[first].next; i = nodes[i].next) f.columns.push_back("/" + escaped(nodes[i].key));
      f.guess.kind = Guess::Kind::forecast_rows;
      f.guess.why = "rows of hours, a forecast?";
    } else {
      f.guess.kind = Guess::Kind::forecast_columns;
      f.guess.why = "a column of hours, a forecast?";
    }
  }

  void walk(const Message& m, std::uint32_t i, const std::string& pointer) {
    const auto& nodes = json.nodes();
    const JsonNode n = nodes[i];
    if (n.kind == JsonNode::Kind::object) {
      for (std::uint32_t k = i + 1; k < n.next; k = nodes[k].next) walk(m, k, pointer + "/" + escaped(nodes[k].key));
    } else if (n.kind == JsonNode::Kind::array) {
      std::size_t count = 0;
      for (std::uint32_t k = i + 1; k < n.next; k = nodes[k].next) ++count;
      if (count > short_array) {
        array(m, pointer, nodes[i], count);
        return;
      }
      std::size_t index = 0;
      for (std::uint32_t k = i + 1; k < n.next; k = nodes[k].next) walk(m, k, pointer + "/" + std::to_string(index++));
    } else {
      leaf(m, pointer, n);
    }
  }
};

Listener::Listener() : state_(std::make_unique<State>()) {}
Listener::Listener(Listener&&) noexcept = default;
Listener& Listener::operator=(Listener&&) noexcept = default;
Listener::~Listener() = default;

void Listener::take(const Message& m) {
  if (m.topic.empty() || m.topic.front() == '$') return;
  if (m.payload.size() > 256 * 1024) {
    ++state_->unread;
    return;
  }
  if (state_->json.parse(m.payload)) {
    state_->walk(m, 0, "");
    return;
  }
  if (m.payload.empty() || m.payload.size() > 60 || !is_utf8(m.payload) || m.payload.front() == '{' || m.payload.front() == '[') {
    ++state_->unread;
    return;
  }
  JsonNode bare;
  bare.kind = JsonNode::Kind::text;
  bare.text = m.payload;
  state_->leaf(m, "", bare);
}

std::vector<Field> Listener::fields() const {
  std::vector<Field> out;
  for (const auto& [key, seen] : state_->fields) {
    out.push_back(seen.field);
    out.back().guess = guess(out.back());
  }
  guess_by_company(out);
  return out;
}

std::uint64_t Listener::unread() const { return state_->unread; }

Span proposed_max_age(Span longest_silence) {
  const Span three = 3 * std::clamp<Span>(longest_silence, Span{0}, hours{1});
  const Span whole = (three + minutes{1} - Span{1}) / minutes{1} * Span{minutes{1}};
  return std::clamp<Span>(whole, minutes{1}, minutes{15});
}

std::vector<std::string> Listener::table() const {
  std::vector<std::array<std::string, 4>> rows{{"topic and field", "last value", "every", "looks like"}};
  for (const Field& f : fields()) {
    std::string guess_text = "?";
    switch (f.guess.kind) {
      case Guess::Kind::channel:
        guess_text = f.guess.why + (f.guess.thing.empty() ? "" : " (" + f.guess.thing + ")") +
                     (f.guess.unit.empty() ? "" : ", " + (f.guess.factor != 1 ? "times " + significant(f.guess.factor) + " " : "") + f.guess.unit);
        break;
      case Guess::Kind::time: guess_text = "the sender's time, " + f.guess.time_form; break;
      case Guess::Kind::forecast_rows: case Guess::Kind::forecast_columns: guess_text = f.guess.why; break;
      case Guess::Kind::none: break;
    }
    const std::string every = f.only_retained ? "kept by the broker" : f.longest_silence ? "up to " + pause(*f.longest_silence) : "once";
    rows.push_back({printable(f.topic, 80) + (f.pointer.empty() ? "" : " " + printable(f.pointer, 60)), printable(f.last, 24), every, guess_text});
  }
  std::array<std::size_t, 3> width{};
  for (const auto& r : rows)
    for (std::size_t i = 0; i < width.size(); ++i) width[i] = std::max(width[i], r[i].size());
  std::vector<std::string> out;
  for (const auto& r : rows) {
    std::string line;
    for (std::size_t i = 0; i < width.size(); ++i) line += r[i] + std::string(width[i] - r[i].size() + 2, ' ');
    out.push_back(line + r[3]);
  }
  return out;
}

std::string Listener::starter_config(const std::string& host, int port) const { return starter_yaml(fields(), host, port); }

}  // namespace fw::intake
