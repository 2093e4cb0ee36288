#include "intake/value.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "rig/checks.h"
#include "units/text.h"

namespace fw::intake {

namespace {

std::string_view trimmed(std::string_view s) {
  const auto first = s.find_first_not_of(" \t\r\n");
  if (first == std::string_view::npos) return {};
  return s.substr(first, s.find_last_not_of(" \t\r\n") - first + 1);
}

std::string lowered(std::string_view s) {
  std::string out{trimmed(s)};
  for (char& c : out)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + 32);
  return out;
}

struct FlagWord { std::string_view text; double value; };
constexpr std::array flag_words{FlagWord{"true", 1}, FlagWord{"false", 0}, FlagWord{"on", 1}, FlagWord{"off", 0},
                                FlagWord{"yes", 1}, FlagWord{"no", 0}, FlagWord{"1", 1}, FlagWord{"0", 0}};

}  // namespace

ValueReader::ValueReader(const rig::Source& s, const rig::Rig& rig)
    : quantity_(s.channel.quantity), stage_(quantity_ == Quantity::stage), flag_(is_flag(quantity_)) {
  const Unit* unit = unit_named(s.unit);
  const double unit_factor = unit ? unit->factor : 1, unit_offset = unit ? unit->offset : 0;
  const double channel = channel_scale(quantity_);
  scale_ = s.factor * s.sign * unit_factor * channel;
  shift_ = (s.offset * s.sign * unit_factor + unit_offset) * channel;
  const rig::Range range = rig::physical_range(rig, s.channel);
  from_ = std::max(range.from, s.valid_from.value_or(range.from));
  to_ = std::min(range.to, s.valid_to.value_or(range.to));
  ignore_ = s.ignore;
  for (const auto& [text, value] : s.values) values_.emplace(lowered(text), value);
}

std::optional<double> ValueReader::word(std::string_view text) const {
  const std::string key = lowered(text);
  if (!values_.empty()) {
    const auto found = values_.find(key);
    if (found != values_.end()) return found->second;
    if (const auto n = number_in(key)) {  // "2.0" for an entry 2
      std::array<char, 32> buf;
      const auto end = std::to_chars(buf.data(), buf.data() + buf.size(), *n).ptr;
      const auto again = values_.find(std::string_view{buf.data(), static_cast<std::size_t>(end - buf.data())});
      if (again != values_.end()) return again->second;
    }
    return std::nullopt;
  }
  if (stage_) {
    const auto stage = stage_in(key);
    return stage ? std::optional{static_cast<double>(*stage)} : std::nullopt;
  }
  if (flag_)
    for (const FlagWord& w : flag_words)
      if (w.text == key) return w.value;
  return std::nullopt;
}

ValueReader::Taken ValueReader::number(double raw) const {
  for (const double ignored : ignore_)
    if (std::fabs(raw - ignored) <= 1e-9 * std::max(1.0, std::fabs(ignored))) return {{}, Gone::sentinel, 0};
  double value = raw * scale_ + shift_;
  if (!(value >= from_ && value <= to_)) return {{}, std::isfinite(value) ? Gone::out_of_range : Gone::not_a_number, value};
  if (quantity_ == Quantity::soc) value = std::clamp(value, 0.0, 1.0);
  return {value, Gone::none, 0};
}

ValueReader::Taken ValueReader::read(const JsonNode* node) const {
  if (!node) return {{}, Gone::missing_field, 0};
  using Kind = JsonNode::Kind;
  std::string_view text;
  switch (node->kind) {
    case Kind::null: return {{}, Gone::null, 0};
    case Kind::array: case Kind::object: return {{}, stage_ || flag_ ? Gone::unknown_word : Gone::not_a_number, 0};
    case Kind::boolean: text = node->flag ? "true" : "false"; break;
    case Kind::number:
      if (!stage_ && !flag_ && values_.empty()) return number(node->number);
      text = node->text;
      break;
    case Kind::text: case Kind::word: text = node->text; break;
  }
  if (trimmed(text).empty()) return {{}, Gone::null, 0};
  if (node->kind != Kind::boolean && !ignore_.empty())
    if (const auto n = number_in(text); n && number(*n).gone == Gone::sentinel) return {{}, Gone::sentinel, 0};
  if (stage_ || flag_ || !values_.empty())
    if (const auto v = word(text)) return {*v, Gone::none, 0};
  if (stage_ || flag_) return {{}, Gone::unknown_word, 0};
  if (lowered(text) == "null") return {{}, Gone::null, 0};
  const auto n = node->kind == Kind::boolean ? std::nullopt : number_in(text);
  return n ? number(*n) : Taken{{}, Gone::not_a_number, 0};
}

std::string shown(const JsonNode* node) {
  using Kind = JsonNode::Kind;
  if (!node) return "nothing";
  switch (node->kind) {
    case Kind::null: return "null";
    case Kind::boolean: return node->flag ? "true" : "false";
    case Kind::array: return "an array";
    case Kind::object: return "an object";
    case Kind::number: return printable(node->text, 40);
    case Kind::text: case Kind::word: return "'" + printable(node->text, 40) + "'";
  }
  return {};
}

}  // namespace fw::intake
