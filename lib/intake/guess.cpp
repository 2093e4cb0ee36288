#include "intake/guess.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <initializer_list>

#include "units/text.h"

namespace fw::intake {

namespace {

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; }
bool letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
bool capital(char c) { return c >= 'A' && c <= 'Z'; }

using WordList = std::vector<std::string>;

bool any(const WordList& words, std::initializer_list<std::string_view> of) {
  return std::any_of(words.begin(), words.end(), [&](const std::string& w) { return std::find(of.begin(), of.end(), w) != of.end(); });
}

bool holds(std::string_view word, std::initializer_list<std::string_view> parts) {
  return std::any_of(parts.begin(), parts.end(), [&](std::string_view p) { return word.find(p) != std::string_view::npos; });
}

std::string slug(std::string_view text) {
  std::string out;
  for (const char c : text) {
    const char l = lower(c);
    if ((l >= 'a' && l <= 'z') || (l >= '0' && l <= '9'))
      out += l;
    else if (!out.empty() && out.back() != '_')
      out += '_';
  }
  while (!out.empty() && out.back() == '_') out.pop_back();
  return out.substr(0, 30);
}

std::vector<std::string> levels(std::string_view text) {
  std::vector<std::string> out;
  while (!text.empty()) {
    const auto end = std::min(text.find('/'), text.size());
    if (end > 0) out.emplace_back(text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return out;
}

bool is_index(const std::string& s) { return !s.empty() && s.find_first_not_of("0123456789") == std::string::npos; }

/// Which thing the words around speak of.
enum class Thing { none, string, bank, outside, inside, load, heater };

Thing thing_of(const WordList& w) {
  if (any(w, {"heater", "heating", "pad"})) return Thing::heater;
  if (any(w, {"load", "loads", "draw", "use", "usage", "consumption", "consumer", "consumers"})) return Thing::load;
  if (any(w, {"bank", "batt", "battery", "bms", "cell", "cells", "pack", "store", "accu", "house", "b", "monitor", "shunt", "lfp", "lifepo"})) return Thing::bank;
  if (any(w, {"pv", "solar", "panel", "panels", "roof", "array", "sun", "string", "mppt", "controller", "charger", "module", "modules", "scc"}))
    return Thing::string;
  if (any(w, {"outside", "outdoor", "ambient", "out", "ext", "exterior", "air"})) return Thing::outside;
  if (any(w, {"inside", "indoor", "cabin", "room", "interior", "in", "salon", "living"})) return Thing::inside;
  return Thing::none;
}

/// The name that tells one string from the other: the last level that is no common word and no quantity.
std::string thing_name(const Field& f) {
  auto parts = levels(f.topic);
  auto inner = levels(f.pointer);
  if (f.pointer.empty()) {
    if (!parts.empty()) parts.pop_back();
  } else {
    if (!inner.empty()) inner.pop_back();
    if (!inner.empty() && is_index(inner.back()) && inner.size() == 1) inner.clear();
  }
  parts.insert(parts.end(), inner.begin(), inner.end());
  static constexpr std::array<std::string_view, 26> common{"pv", "dc", "solar", "array", "to_bank", "readings", "r", "state", "data", "values", "roof", "sun", "in", "out",
                                                           "panel", "panels", "input", "output", "snapshot", "status", "telemetry", "controller", "charger", "mppt", "string", "battery"};
  std::string fallback;
  for (auto it = parts.rbegin(); it != parts.rend(); ++it) {
    std::string s = slug(*it);
    if (s.empty()) continue;
    if (is_index(s)) {
      const std::string before = std::next(it) == parts.rend() ? std::string{} : slug(*std::next(it));
      return (before.empty() ? "s" : before) + "_" + s;
    }
    if (fallback.empty()) fallback = s;
    const bool root = std::next(it) == parts.rend();
    if (std::find(common.begin(), common.end(), s) == common.end() && (!root || fallback == s)) return s;
  }
  return fallback.empty() ? "roof" : fallback;
}

std::optional<std::string> time_form(const Field& f, const WordList& leaf) {
  const bool named = any(leaf, {"ts", "time", "timestamp", "at", "when", "date", "stamp", "epoch", "utc", "sent", "updated"});
  if (utc_in(f.last)) return "iso";
  if (utc_in(f.last + "Z")) return "local";
  if (!named) return std::nullopt;
  const auto n = number_in(f.last);
  if (n && *n > 1.0e9 && *n < 4.1e9) return "epoch_s";
  if (n && *n > 1.0e12 && *n < 4.1e12) return "epoch_ms";
  return std::nullopt;
}

Guess channel(Quantity q, std::string unit, std::string why, int weight, double factor = 1) {
  Guess g;
  g.kind = Guess::Kind::channel;
  g.quantity = q;
  g.unit = std::move(unit);
  g.why = std::move(why);
  g.weight = weight;
  g.factor = factor;
  return g;
}

struct Scale { std::string unit; double factor; };

Scale temperature_unit(const Field& f, const WordList& all) {
  const double low = f.low.value_or(0), high = f.high.value_or(0);
  if (low > 2000 && high < 3400) return {"K", 0.1};
  if (low > 200 && high < 340) return {"K", 1};
  if (any(all, {"f", "degf", "fahrenheit"}) || high > 50) return {"degF", 1};
  return {"degC", 1};
}

Scale volts_unit(const Field& f, const WordList& all) {
  if (any(all, {"mv", "millivolt", "millivolts"}) || f.high.value_or(0) > 6000) return {"mV", 1};
  return {"V", 1};
}

Scale amps_unit(const Field& f, const WordList& all) {
  if (any(all, {"ma", "milliamp", "milliamps"}) || std::max(f.high.value_or(0), -f.low.value_or(0)) > 1000) return {"mA", 1};
  return {"A", 1};
}

bool numeric(const Field& f) { return f.low.has_value(); }

bool about_stage(const Field& f) {
  int known = 0;
  for (const std::string& w : f.words) known += stage_guess(w) ? 1 : 0;
  return known > 0 && 2 * known >= static_cast<int>(f.words.size());
}

}  // namespace

namespace {

/// Fields of one parent belong together: a message's object, or the topics below one level.
std::string parent_of(const Field& f) {
  const std::string& path = f.pointer.empty() ? f.topic : f.pointer;
  const auto slash = path.find_last_of('/');
  const std::string up = slash == std::string::npos ? "" : path.substr(0, slash);
  return f.pointer.empty() ? up : f.topic + " " + up;
}

/// 'v', 'a' or 'w' by the last word alone, or 0.
char electrical(const Field& f) {
  if (!f.low || f.elements > 0) return 0;
  const auto parts = levels(f.pointer.empty() ? f.topic : f.pointer);
  const WordList leaf = parts.empty() ? WordList{} : words_of(parts.back());
  if (any(leaf, {"v", "u", "volt", "volts", "voltage"})) return 'v';
  if (any(leaf, {"a", "i", "amp", "amps", "current"})) return 'a';
  if (any(leaf, {"w", "p", "watt", "watts", "power"})) return 'w';
  return 0;
}

}  // namespace

void guess_by_company(std::vector<Field>& fields) {
  struct Company {
    std::string thing;
    bool stage = false, volts = false, amps = false, watts = false, taken = false;
  };
  std::map<std::string, Company> companies;
  for (const Field& f : fields) {
    Company& c = companies[parent_of(f)];
    const bool channel = f.guess.kind == Guess::Kind::channel;
    if (channel && f.guess.quantity == Quantity::stage) {
      c.stage = true;
      c.thing = f.guess.thing;
    } else if (channel) {
      c.taken = true;
    }
    if (f.guess.kind != Guess::Kind::none) continue;
    const char e = electrical(f);
    c.volts = c.volts || e == 'v';
    c.amps = c.amps || e == 'a';
    c.watts = c.watts || e == 'w';
  }
  for (Field& f : fields) {
    const Company& c = companies[parent_of(f)];
    const char e = electrical(f);
    const bool pair = c.volts && c.amps && !c.taken;
    if (f.guess.kind != Guess::Kind::none || e == 0 || !(c.stage || pair)) continue;
    const Quantity q = e == 'v' ? Quantity::string_voltage : e == 'a' ? Quantity::string_current : Quantity::string_power;
    f.guess = channel(q, e == 'v' ? volts_unit(f, {}).unit : e == 'a' ? amps_unit(f, {}).unit : "W",
                      c.stage ? "of a string, beside its stage" : "perhaps of a string", 1);
    f.guess.thing = c.stage ? c.thing : thing_name(f);
  }
  const auto temperature = [](const Field& f) { return f.guess.kind == Guess::Kind::channel && (f.guess.unit == "degF" || f.guess.unit == "degC"); };
  if (std::any_of(fields.begin(), fields.end(), [&](const Field& f) { return temperature(f) && f.guess.unit == "degF"; }))
    for (Field& f : fields)
      if (temperature(f)) f.guess.unit = "degF";
}

std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> out;
  std::string word;
  const auto flush = [&] {
    if (!word.empty()) out.push_back(word);
    word.clear();
  };
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (!letter(text[i])) {
      flush();
      continue;
    }
    const bool turn = capital(text[i]) && i > 0 && letter(text[i - 1]) && !capital(text[i - 1]);
    if (turn) flush();
    word += lower(text[i]);
  }
  flush();
  return out;
}

std::optional<std::string_view> stage_guess(std::string_view word) {
  std::string w;
  for (const char c : word) w += lower(c);
  if (holds(w, {"block", "inhibit", "wait", "held", "hindered", "cold"})) return "inhibited";
  if (holds(w, {"bulk", "fill", "main", "boost", "tracking"}) || w == "mppt" || w == "charging" || w == "charge") return "bulk";
  if (holds(w, {"absor", "top", "finish"})) return "absorption";
  if (holds(w, {"float", "hold", "storage", "full", "keep", "maint"})) return "float";
  if (holds(w, {"equal"})) return "equalize";
  if (w == "off" || holds(w, {"idle", "sleep", "night", "rest", "dark", "standby", "none", "stop"})) return "off";
  return std::nullopt;
}

std::optional<bool> flag_guess(std::string_view word) {
  std::string w;
  for (const char c : word) w += lower(c);
  if (w == "true" || w == "on" || w == "yes" || w == "1" || w == "ok" || holds(w, {"allow", "enable", "permit", "closed"})) {
    if (w.starts_with("dis") || w.starts_with("not")) return false;
    return true;
  }
  if (w == "false" || w == "off" || w == "no" || w == "0" || holds(w, {"block", "den", "disable", "forbid", "open", "inhibit"})) return false;
  return std::nullopt;
}

Guess guess(const Field& f) {
  Guess none;
  if (f.elements > 0) return f.guess;
  const WordList topic = words_of(f.topic), pointer = words_of(f.pointer);
  WordList all = topic;
  all.insert(all.end(), pointer.begin(), pointer.end());
  const auto parts = levels(f.pointer.empty() ? f.topic : f.pointer);
  std::string last = parts.empty() ? "" : parts.back();
  if (is_index(last) && parts.size() > 1) last = parts[parts.size() - 2];
  const WordList leaf = words_of(last);

  if (const auto form = time_form(f, leaf)) {
    none.kind = Guess::Kind::time;
    none.time_form = *form;
    none.why = "a time";
    return none;
  }
  // The words nearest to the value weigh most: leaf, then pointer, then topic.
  Thing where = thing_of(leaf);
  if (where == Thing::none) where = thing_of(pointer);
  if (where == Thing::none) where = thing_of(topic);
  const Thing bigger = thing_of(topic) == Thing::none ? thing_of(pointer) : thing_of(topic);

  const bool flag_name = any(all, {"may", "allow", "allowed", "permit", "permitted", "enable", "enabled", "chg", "gate"});
  const bool is_flag_text = !f.words.empty() && std::all_of(f.words.begin(), f.words.end(), [](const std::string& w) { return flag_guess(w).has_value(); });
  if (!numeric(f) || (f.low.value_or(2) >= 0 && f.high.value_or(2) <= 1 && flag_name)) {
    if (any(leaf, {"heater", "heating"}) && (is_flag_text || numeric(f))) return channel(Quantity::bank_heater_on, "", "a heater switched on or off", 2);
    if ((flag_name || any(leaf, {"charge", "charging"})) && (is_flag_text || numeric(f)) && where != Thing::string)
      return channel(Quantity::charge_allowed, "", "the battery's leave to charge", 3);
    if (any(leaf, {"mode", "stage", "state", "phase", "status"}) && !f.words.empty() && (about_stage(f) || bigger == Thing::string)) {
      Guess g = channel(Quantity::stage, "", "a controller's stage", about_stage(f) ? 4 : 2);
      g.thing = thing_name(f);
      return g;
    }
    return none;
  }

  const auto unit_name = [&](std::initializer_list<std::string_view> names) { return any(leaf, names); };
  const bool says_temp = unit_name({"temp", "temperature", "t", "celsius", "fahrenheit", "degc", "degf", "temps"}) ||
                         (any(all, {"temp", "temps", "temperature", "thermo", "climate"}) && !unit_name({"humidity", "rh"}));
  if (unit_name({"lat", "latitude"})) return channel(Quantity::latitude, "deg", "a latitude", 3);
  if (unit_name({"lon", "lng", "long", "longitude"}) && f.low.value_or(999) >= -180 && f.high.value_or(999) <= 180 && any(all, {"gps", "position", "pos", "fix", "location"}))
    return channel(Quantity::longitude, "deg", "a longitude", 3);
  if (unit_name({"heading", "compass", "bearing"})) return channel(Quantity::heading, "deg", "a heading", 3);
  if (unit_name({"pitch"})) return channel(Quantity::pitch, "deg", "a pitch", 3);
  if (unit_name({"roll"})) return channel(Quantity::roll, "deg", "a roll", 3);
  if (unit_name({"irradiance", "ghi", "pyranometer", "insolation"})) return channel(Quantity::irradiance, "W/m2", "irradiance", 3);
  if (any(all, {"snow"}) && unit_name({"depth", "height", "snow", "cm"})) return channel(Quantity::snow_depth, "cm", "depth of snow", 2);
  if (unit_name({"wind", "windspeed", "gust"}) || (any(all, {"wind"}) && unit_name({"speed"}))) return channel(Quantity::wind, "m/s", "wind", 2);
  if (unit_name({"soc", "percent", "pct", "level"}) || (unit_name({"charge", "q", "capacity"}) && where == Thing::bank && f.low.value_or(-1) >= 0 && f.high.value_or(999) <= 100)) {
    if (where == Thing::bank || bigger == Thing::bank || unit_name({"soc"})) {
      const bool fraction = f.high.value_or(0) <= 1.0;
      const bool permille = f.high.value_or(0) > 101;
      return channel(Quantity::soc, permille ? "permille" : fraction ? "fraction" : "%", "state of charge", unit_name({"soc"}) ? 5 : 3);
    }
  }
  const bool is_v = unit_name({"v", "u", "volt", "volts", "voltage", "mv", "vdc"});
  const bool is_a = unit_name({"a", "i", "amp", "amps", "ampere", "amperes", "current", "ma"});
  const bool is_w = unit_name({"w", "p", "watt", "watts", "power", "kw", "ppv"});
  const bool is_kwh = unit_name({"kwh", "wh", "energy", "yield"});

  if (is_kwh && bigger == Thing::string) {
    Guess g = channel(Quantity::string_day_energy, any(leaf, {"wh"}) || f.high.value_or(0) > 60 ? "Wh" : "kWh", "energy of the day", 2);
    g.thing = thing_name(f);
    return g;
  }
  if (is_v || is_a || is_w) {
    const bool load = where == Thing::load || bigger == Thing::load;
    if (is_w && load) return channel(Quantity::load_power, any(leaf, {"kw"}) ? "kW" : "W", "power of the loads", 3);
    if (is_w && (where == Thing::heater)) return channel(Quantity::bank_heater_power, "W", "power of the bank's heater", 2);
    // "to the bank" inside a controller's message is the controller's bank side.
    const bool controller = thing_of(topic) == Thing::string || any(topic, {"controller", "charger", "mppt"});
    const bool bank_side = controller && any(pointer, {"bank", "battery", "batt", "out", "output"}) && !any(pointer, {"array", "pv", "panel", "in", "input"});
    if (bank_side) {
      Guess g = is_v   ? channel(Quantity::output_voltage, volts_unit(f, all).unit, "bank side of a controller", 3)
                : is_a ? channel(Quantity::output_current, amps_unit(f, all).unit, "bank side of a controller", 3)
                       : channel(Quantity::output_power, "W", "bank side of a controller", 3);
      g.thing = thing_name(Field{f.topic, "", {}, 0, {}, false, {}, {}, {}, 0, {}, {}});
      const auto t = levels(f.topic);
      if (!t.empty()) g.thing = is_index(t.back()) && t.size() > 1 ? slug(t[t.size() - 2]) + "_" + t.back() : slug(t.back());
      return g;
    }
    if (where == Thing::bank || bigger == Thing::bank) {
      if (is_v) return channel(Quantity::bank_voltage, volts_unit(f, all).unit, "the bank's voltage", 3);
      if (is_a) {
        const bool outward = any(leaf, {"out", "discharge", "draw"});
        Guess g = channel(Quantity::bank_current, amps_unit(f, all).unit, outward ? "the bank's current, + seems to be discharge" : "the bank's current", 3);
        g.turned = outward;
        return g;
      }
      return none;
    }
    if (where == Thing::string || bigger == Thing::string) {
      Guess g = is_w   ? channel(Quantity::string_power, any(leaf, {"kw"}) ? "kW" : "W", "power of a string", 3)
                : is_v ? channel(Quantity::string_voltage, volts_unit(f, all).unit, "voltage of a string", 3)
                       : channel(Quantity::string_current, amps_unit(f, all).unit, "current of a string", 3);
      g.thing = thing_name(f);
      const auto t = levels(f.topic);
      if (controller && !f.pointer.empty() && levels(f.pointer).size() == 2 && any(words_of(levels(f.pointer)[0]), {"array", "pv", "panel", "panels", "input"}) && !t.empty())
        g.thing = is_index(t.back()) && t.size() > 1 ? slug(t[t.size() - 2]) + "_" + t.back() : slug(t.back());
      return g;
    }
    return none;
  }
  const bool may_be_air = where == Thing::outside || where == Thing::inside;
  if (says_temp || (may_be_air && any(topic, {"air", "thermo", "climate", "weather", "sensors"}))) {
    const Scale s = temperature_unit(f, all);
    if (where == Thing::bank || (where == Thing::none && bigger == Thing::bank)) {
      Guess g = channel(Quantity::cell_temperature, s.unit, "temperature of the cells", 3, s.factor);
      g.thing = "cells";
      return g;
    }
    if (where == Thing::outside) return channel(Quantity::air_temperature, s.unit, "air outside", any(leaf, {"humidity"}) ? 0 : 3, s.factor);
    if (where == Thing::inside) return channel(Quantity::cabin_temperature, s.unit, "air in the cabin", 3, s.factor);
    if (where == Thing::string) {
      Guess g = channel(Quantity::controller_temperature, s.unit, "temperature of a controller", 2, s.factor);
      g.thing = thing_name(f);
      return g;
    }
    return none;
  }
  // Bare numbers under "cells" that no cell has as volts or millivolts.
  auto parents = levels(f.topic);
  for (std::string& p : levels(f.pointer)) parents.push_back(std::move(p));
  if (!parents.empty()) parents.pop_back();
  const bool of_cells = std::any_of(parents.begin(), parents.end(), [](const std::string& p) { return any(words_of(p), {"cell", "cells"}); });
  const double low = f.low.value_or(0), high = f.high.value_or(0);
  if (of_cells && f.low && low > -40 && high < 60 && (low < 2 || high > 4)) {
    Guess g = channel(Quantity::cell_temperature, temperature_unit(f, all).unit, "perhaps temperature of the cells", 1);
    g.thing = "cells";
    return g;
  }
  if (any(topic, {"load", "loads", "draw", "consumption"}) && f.pointer.empty()) return channel(Quantity::load_power, "W", "power of the loads", 2);
  return none;
}

}  // namespace fw::intake
