#include "config/tree.h"

#include <algorithm>
#include <cmath>

#include "rig/checks.h"
#include "units/text.h"

namespace fw::config {

std::string join(const std::string& path, const std::string& key) { return path.empty() ? key : path + "." + key; }

std::string figure(double v) {
  for (int decimals = 0; decimals < 6; ++decimals) {
    const std::string s = fixed(v, decimals);
    if (const auto n = number_in(s); n && std::fabs(*n - v) <= 1e-9 * std::max(1.0, std::fabs(v))) return s;
  }
  return fixed(v, 6);
}

namespace {

std::string shown(const std::string& text) { return "'" + printable(text, 60) + "'"; }

std::string unit_text(Dimension d) {
  switch (d) {
    case Dimension::power: return " W";
    case Dimension::voltage: return " V";
    case Dimension::current: return " A";
    case Dimension::charge: return " Ah";
    case Dimension::energy: return " kWh";
    case Dimension::temperature: return " degC";
    case Dimension::length: return " m";
    case Dimension::speed: return " m/s";
    case Dimension::irradiance: return " W/m2";
    case Dimension::pressure: return " Pa";
    case Dimension::angle: return " deg";
    case Dimension::time: return " s";
    case Dimension::size: return " B";
    case Dimension::charge_rate: return " C";
    case Dimension::ratio: case Dimension::none: return "";
  }
  return "";
}

std::string range_text(Within w, Dimension d) {
  if (d == Dimension::ratio) return figure(w.from * 100) + " to " + figure(w.to * 100) + " %";
  if (d == Dimension::time) {
    const auto time = [](double s) {
      if (s >= 86400 && std::fmod(s, 86400) == 0) return figure(s / 86400) + " d";
      if (s >= 3600 && std::fmod(s, 3600) == 0) return figure(s / 3600) + " h";
      if (s >= 60 && std::fmod(s, 60) == 0) return figure(s / 60) + " min";
      return figure(s) + " s";
    };
    return time(w.from) + " to " + time(w.to);
  }
  return figure(w.from) + " to " + figure(w.to) + unit_text(d);
}

bool inside(double v, Within w) { return (w.from_excluded ? v > w.from : v >= w.from) && v <= w.to; }

std::string example(Dimension d) {
  switch (d) {
    case Dimension::power: return "400 W";
    case Dimension::voltage: return "12.8 V";
    case Dimension::current: return "30 A";
    case Dimension::charge: return "280 Ah";
    case Dimension::energy: return "0.5 kWh";
    case Dimension::ratio: return "20 %";
    case Dimension::temperature: return "5 degC";
    case Dimension::length: return "260 m";
    case Dimension::speed: return "10 m/s";
    case Dimension::irradiance: return "800 W/m2";
    case Dimension::pressure: return "1013 hPa";
    case Dimension::angle: return "12 deg";
    case Dimension::time: return "10 min";
    case Dimension::size: return "64 KiB";
    case Dimension::charge_rate: return "0.2 C";
    case Dimension::none: return "5";
  }
  return "";
}

/// 010 would be eight to some readers of YAML and ten to people.
bool leading_zero(std::string_view digits) {
  if (!digits.empty() && (digits.front() == '-' || digits.front() == '+')) digits.remove_prefix(1);
  return digits.size() > 1 && digits[0] == '0' && digits[1] >= '0' && digits[1] <= '9';
}

std::string without_zeros(std::string_view digits) {
  const auto first = std::min(digits.find_first_not_of('0'), digits.size() - 1);
  return std::string{digits.substr(first)};
}

struct Split {
  std::string number, unit;
};

Split split(const std::string& text) {
  std::size_t end = text.find_first_not_of("+-0123456789.");
  if (end == std::string::npos) end = text.size();
  if (end > 0 && end < text.size() && (text[end] == 'e' || text[end] == 'E')) {  // an exponent, not a unit
    std::size_t e = end + 1;
    if (e < text.size() && (text[e] == '+' || text[e] == '-')) ++e;
    if (e < text.size() && text[e] >= '0' && text[e] <= '9') {
      end = text.find_first_not_of("0123456789", e);
      if (end == std::string::npos) end = text.size();
    }
  }
  Split s;
  s.number = text.substr(0, end);
  const std::size_t from = text.find_first_not_of(" \t", end);
  if (from != std::string::npos) s.unit = text.substr(from);
  return s;
}

}  // namespace

std::string Field::kind() const {
  if (node_.IsMap()) return "a block of keys";
  if (node_.IsSequence()) return "a list";
  return "nothing";
}

std::optional<std::string> Field::text(bool may_be_empty) const {
  if (!node_.IsScalar()) {
    fault("a text is wanted here, not " + kind());
    return std::nullopt;
  }
  std::string t = scalar();
  if (t.empty() && !may_be_empty) {
    fault("must not be empty");
    return std::nullopt;
  }
  if (t.find('\0') != std::string::npos) {
    fault("holds a zero byte");
    return std::nullopt;
  }
  return t;
}

std::optional<double> Field::number(Within within) const {
  const auto t = text();
  if (!t) return std::nullopt;
  const auto v = number_in(*t);
  if (!v) {
    const Split parts = split(*t);
    if (!parts.unit.empty() && unit_named(parts.unit) && number_in(parts.number))
      fault("takes no unit, write " + parts.number);
    else
      fault(shown(*t) + " is not a number");
    return std::nullopt;
  }
  if (leading_zero(*t)) {
    fault(shown(*t) + " begins with a zero, write " + without_zeros(*t));
    return std::nullopt;
  }
  if (!inside(*v, within)) {
    fault(figure(*v) + " is outside " + figure(within.from) + " to " + figure(within.to));
    return std::nullopt;
  }
  return v;
}

std::optional<int> Field::whole(int from, int to) const {
  const auto v = number({static_cast<double>(from), static_cast<double>(to)});
  if (!v) return std::nullopt;
  if (*v != std::floor(*v)) {
    fault(figure(*v) + " is not a whole number");
    return std::nullopt;
  }
  return static_cast<int>(*v);
}

std::optional<double> Field::measured(Dimension dimension, Within within, std::string_view bare, bool as_difference) const {
  const auto t = text();
  if (!t) return std::nullopt;
  const Split parts = split(*t);
  const auto v = number_in(parts.number);
  if (!v) {
    fault(shown(*t) + " is not a quantity, write for example " + example(dimension));
    return std::nullopt;
  }
  if (leading_zero(parts.number)) {
    fault(shown(*t) + " begins with a zero, write " + without_zeros(parts.number) + (parts.unit.empty() ? "" : " " + parts.unit));
    return std::nullopt;
  }
  std::string_view unit_word = parts.unit;
  if (unit_word.empty()) unit_word = bare;
  if (unit_word.empty()) {
    fault(shown(*t) + " has no unit (" + std::string{examples(dimension)} + "), write for example " + example(dimension));
    return std::nullopt;
  }
  const Unit* unit = unit_named(unit_word);
  if (dimension == Dimension::temperature && unit_word == "C") unit = unit_named("degC");
  if (!unit) {
    const std::string_view near = unit_near(unit_word);
    fault("unit " + shown(std::string{unit_word}) + " is not known, " +
          (near.empty() ? "use " + std::string{examples(dimension)} : "did you mean '" + std::string{near} + "'?"));
    return std::nullopt;
  }
  if (unit->dimension != dimension) {
    fault(shown(*t) + " is a " + std::string{name(unit->dimension)} + ", a " + std::string{name(dimension)} + " is wanted (" +
          std::string{examples(dimension)} + ")");
    return std::nullopt;
  }
  double value = as_difference ? unit->difference(*v) : unit->to_canonical(*v);
  if (std::fabs(value - std::round(value * 1e9) / 1e9) < 1e-12) value = std::round(value * 1e9) / 1e9;
  if (!inside(value, within)) {
    fault(printable(*t, 60) + " is outside " + (within.from_excluded ? "(" : "") + range_text(within, dimension) +
          (within.from_excluded ? ", the first not included)" : ""));
    return std::nullopt;
  }
  return value;
}

std::optional<double> Field::quantity(Dimension dimension, Within within, std::string_view bare) const {
  return measured(dimension, within, bare, false);
}

std::optional<double> Field::difference(Dimension dimension, Within within) const { return measured(dimension, within, {}, true); }

std::optional<Span> Field::span(Span from, Span to) const {
  const auto s = quantity(Dimension::time, {seconds_of(from), seconds_of(to)});
  if (!s) return std::nullopt;
  return Span{static_cast<Span::rep>(std::llround(*s * 1000))};
}

std::optional<bool> Field::flag() const {
  const auto t = text();
  if (!t) return std::nullopt;
  if (*t == "true") return true;
  if (*t == "false") return false;
  fault(shown(*t) + " is neither true nor false");
  return std::nullopt;
}

namespace {

std::optional<int> minutes_in(std::string_view s) {
  const auto colon = s.find(':');
  if (colon == std::string_view::npos || colon < 1 || colon > 2 || s.size() != colon + 3) return std::nullopt;
  int hour = 0, minute = 0;
  for (std::size_t i = 0; i < s.size(); ++i) {
    if (i == colon) continue;
    if (s[i] < '0' || s[i] > '9') return std::nullopt;
    int& part = i < colon ? hour : minute;
    part = part * 10 + (s[i] - '0');
  }
  if (hour > 23 || minute > 59) return std::nullopt;
  return hour * 60 + minute;
}

}  // namespace

std::optional<int> Field::time_of_day() const {
  const auto t = text();
  if (!t) return std::nullopt;
  const auto m = minutes_in(*t);
  if (!m) fault(shown(*t) + " is not a time of day, write for example 07:30");
  return m;
}

std::optional<std::pair<rig::TimeOfDay, rig::TimeOfDay>> Field::hours_of_day() const {
  const auto t = text();
  if (!t) return std::nullopt;
  std::string s = *t;
  s.erase(std::remove(s.begin(), s.end(), ' '), s.end());
  const auto dash = s.find('-');
  const auto from = dash == std::string::npos ? std::nullopt : minutes_in(std::string_view{s}.substr(0, dash));
  const auto to = dash == std::string::npos ? std::nullopt : minutes_in(std::string_view{s}.substr(dash + 1));
  if (!from || !to) {
    fault(shown(*t) + " is not a span of the day, write for example 22:00-07:00");
    return std::nullopt;
  }
  if (*from == *to) {
    fault("begins and ends at the same time; leave it out if it shall not be");
    return std::nullopt;
  }
  return std::pair{rig::TimeOfDay{*from}, rig::TimeOfDay{*to}};
}

std::optional<std::size_t> Field::choice(const std::vector<std::string>& words) const {
  const auto t = text();
  if (!t) return std::nullopt;
  for (std::size_t i = 0; i < words.size(); ++i)
    if (words[i] == *t) return i;
  std::string list;
  for (std::size_t i = 0; i < words.size(); ++i) list += (i == 0 ? "" : i + 1 == words.size() ? " or " : ", ") + words[i];
  fault(shown(*t) + " is not one of " + list);
  return std::nullopt;
}

std::optional<std::string> Field::topic() const {
  auto t = text();
  if (!t || rig::is_topic(*t)) return t;
  fault(shown(*t) + (t->find_first_of("+#") != std::string::npos ? " holds a wildcard; one topic to publish on is wanted" : " is not a topic"));
  return std::nullopt;
}

std::optional<std::string> Field::pointer() const {
  auto t = text(true);
  if (!t || rig::is_pointer(*t)) return t;
  fault(shown(*t) + " is not a JSON Pointer, write " + (t->front() == '/' ? "~0 for ~ and ~1 for / inside a name" : "for example /" + printable(*t, 40)));
  return std::nullopt;
}

std::optional<Block> Field::block(std::string_view what) const {
  if (node_.IsMap()) return Block{node_, path_, place_, *report_};
  fault("a block is wanted here: " + std::string{what});
  return std::nullopt;
}

std::vector<Field> Field::list(std::string_view what) const {
  std::vector<Field> out;
  if (!node_.IsSequence() || node_.size() == 0) {
    fault("a list is wanted here: " + std::string{what});
    return out;
  }
  std::size_t i = 0;
  for (const YAML::Node& item : node_) {
    Place at = place_of(item.Mark());
    if (item.IsNull() || at.line == 0) at = place_;
    out.emplace_back(item, path_ + "[" + std::to_string(i++) + "]", at, *report_);
  }
  return out;
}

std::vector<std::pair<std::string, Field>> Field::table(std::string_view what) const {
  std::vector<std::pair<std::string, Field>> out;
  if (!node_.IsMap() || node_.size() == 0) {
    fault("a block is wanted here: " + std::string{what});
    return out;
  }
  for (const auto& pair : node_) {
    const Place at = place_of(pair.first.Mark());
    if (!pair.first.IsScalar()) {
      report_->fault(at, path_, "a key must be a plain text");
      continue;
    }
    const std::string key = pair.first.Scalar();
    const bool again = std::any_of(out.begin(), out.end(), [&](const auto& o) { return o.first == key; });
    if (again) {
      report_->fault(at, join(path_, key), "stands here twice, keep one");
      continue;
    }
    out.emplace_back(key, Field{pair.second, join(path_, key), pair.second.IsScalar() ? place_of(pair.second.Mark()) : at, *report_});
  }
  return out;
}

std::vector<std::pair<std::string, Field>> Field::named(std::string_view what) const {
  auto out = table(what);
  std::erase_if(out, [&](const auto& entry) {
    if (rig::is_name(entry.first)) return false;
    entry.second.fault(shown(entry.first) + " is not a name: small letters, digits, - and _, at most 40");
    return true;
  });
  return out;
}

Block::Block(const YAML::Node& map, std::string path, Place place, Report& report) : path_(std::move(path)), place_(place), report_(&report) {
  for (const auto& pair : map) {
    const Place at = place_of(pair.first.Mark());
    if (!pair.first.IsScalar()) {
      report_->fault(at, path_, "a key must be a plain text");
      continue;
    }
    const std::string key = pair.first.Scalar();
    const std::string full = join(path_, key);
    if (has(key)) {
      const bool source = pair.second.IsMap() && pair.second["topic"];
      report_->fault(at, full, source ? "stands here twice: two sources for one quantity, keep one" : "stands here twice, keep one");
      continue;
    }
    Place value_at = place_of(pair.second.Mark());
    if (!pair.second.IsScalar() || value_at.line == 0) value_at = at;   // a block stands where its key does
    entries_.push_back({key, at, Field{pair.second, full, value_at, *report_}, false});
  }
}

bool Block::has(const std::string& key) const {
  return std::any_of(entries_.begin(), entries_.end(), [&](const Entry& e) { return e.key == key; });
}

std::optional<Field> Block::take(const std::string& key) {
  known_.push_back(key);
  for (Entry& e : entries_)
    if (e.key == key) {
      e.asked = true;
      if (!e.field.is_block() && !e.field.is_list() && !e.field.is_text()) {
        e.field.fault("is empty; give it a value or leave it out");
        return std::nullopt;
      }
      return e.field;
    }
  return std::nullopt;
}

std::optional<Field> Block::need(const std::string& key, const std::string& what) {
  const bool there = has(key);
  auto f = take(key);
  if (!there) missing_.emplace_back(key, what);
  return f;
}

void Block::finish() {
  for (const Entry& e : entries_) {
    if (e.asked) continue;
    report_->fault(e.key_place, join(path_, printable(e.key, 60)), "unknown key, " + suggestion(e.key, known_));
    std::erase_if(missing_, [meant = nearest(e.key, known_)](const auto& m) { return m.first == meant; });
  }
  for (const auto& [key, what] : missing_) report_->fault(place_, path_, key + " is missing (" + what + ")");
}

}  // namespace fw::config
