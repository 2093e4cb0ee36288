#include "intake/starter.h"

#include <algorithm>
#include <set>

#include "intake/guess.h"
#include "units/text.h"

namespace fw::intake {

namespace {

/// Always in double quotes: safe for any topic, pointer or word.
std::string quoted(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + "\"";
}

using Chosen = std::map<std::pair<std::string, Quantity>, const Field*>;   // by thing and quantity

class Starter {
 public:
  Starter(const std::vector<Field>& fields, const std::string& host, int port) : fields_(fields), host_(host), port_(port) {
    for (const Field& f : fields) {
      if (!rig_topic(f.topic)) continue;
      if (f.guess.kind == Guess::Kind::time) times_.emplace(f.topic, &f);
      if (f.guess.kind == Guess::Kind::forecast_rows && !forecast_) forecast_ = &f;
      if (f.guess.kind == Guess::Kind::forecast_columns) {
        if (!forecast_) forecast_ = &f;
        if (forecast_->topic == f.topic) columns_.push_back(&f);
      }
      if (f.guess.kind != Guess::Kind::channel) continue;
      const Field*& slot = chosen_[{f.guess.quantity == Quantity::cell_temperature ? "" : f.guess.thing, f.guess.quantity}];
      if (f.guess.quantity == Quantity::cell_temperature) {
        cells_.push_back(&f);
        slot = &f;
        continue;
      }
      if (slot) beside_.push_back(f.guess.weight > slot->guess.weight ? slot : &f);
      if (!slot || f.guess.weight > slot->guess.weight) slot = &f;
    }
  }

  std::string text() {
    out_ = "# A starter config from what the broker carried. Guesses are guesses: read every line, edit what is\n"
           "# marked, and let `firnwatt check` read it after you.\n"
           "rig: my-rig                         # edit: small letters, digits and -\n"
           "site:                               # edit: where the rig stands\n"
           "  latitude: 45.0\n  longitude: 0.0\n  altitude: 300 m\n  timezone: UTC                     # edit: an IANA name, for example America/Denver\n";
    for (const Quantity q : {Quantity::air_temperature, Quantity::cabin_temperature, Quantity::irradiance, Quantity::snow_depth, Quantity::wind})
      source("  ", q, "");
    live();
    out_ += "broker: {host: " + quoted(host_) + ", port: " + std::to_string(port_) + "}\n";
    strings();
    bank();
    if (find("", Quantity::load_power)) {
      out_ += "loads:\n";
      if (const Field* f = find("", Quantity::load_power)) out_ += "  power: " + binding(*f) + "\n";
    }
    forecast();
    leftovers();
    return out_;
  }

 private:
  static bool rig_topic(const std::string& t) { return is_utf8(t) && printable(t, 100000) == t; }

  const Field* find(const std::string& thing, Quantity q) const {
    const auto at = chosen_.find({thing, q});
    return at == chosen_.end() ? nullptr : at->second;
  }

  std::string binding(const Field& f, const std::string& more = "") const {
    std::string s = "{topic: " + quoted(f.topic);
    if (!f.pointer.empty()) s += ", pointer: " + quoted(f.pointer);
    if (!f.guess.unit.empty()) s += ", unit: " + quoted(f.guess.unit);
    if (f.guess.factor != 1) s += ", factor: " + significant(f.guess.factor, 6);
    if (f.guess.turned) s += ", sign: -1";
    s += values(f);
    const auto time = times_.find(f.topic);
    if (time != times_.end())
      s += ", time: {pointer: " + quoted(time->second->pointer) + ", form: " + time->second->guess.time_form + "}";
    return s + more + "}";
  }

  static std::string values(const Field& f) {
    std::string s;
    const bool stage = f.guess.quantity == Quantity::stage;
    if (!stage && f.guess.quantity != Quantity::charge_allowed && f.guess.quantity != Quantity::bank_heater_on) return s;
    // on, off, yes, no, true, false are understood without a table.
    const auto plain = [](const std::string& w) { return std::string_view{" on off yes no true false "}.find(" " + w + " ") != std::string_view::npos; };
    if (!stage && std::all_of(f.words.begin(), f.words.end(), plain)) return s;
    for (const std::string& w : f.words) {
      if (w == "null" || w == "true" || w == "false") continue;
      std::string meaning;
      if (stage)
        meaning = stage_guess(w).value_or("off");
      else if (const auto on = flag_guess(w))
        meaning = *on ? "true" : "false";
      if (!meaning.empty()) s += (s.empty() ? "" : ", ") + quoted(w) + ": " + quoted(meaning);
    }
    return s.empty() ? "" : ", values: {" + s + "}";
  }

  void source(const std::string& indent, Quantity q, const std::string& thing) {
    const Field* f = find(thing, q);
    if (!f) return;
    const bool table = !values(*f).empty();
    const char* hint = q == Quantity::stage ? "   # edit: what each word means" : f->guess.turned ? "   # edit: + must be charge"
                       : table              ? "   # edit: every word it can say"
                                            : "";
    out_ += indent + std::string{name(q)} + ": " + binding(*f) + hint + "\n";
  }

  void live() {
    constexpr Quantity all[] = {Quantity::latitude, Quantity::longitude, Quantity::heading, Quantity::pitch, Quantity::roll};
    if (std::none_of(std::begin(all), std::end(all), [&](Quantity q) { return find("", q); })) return;
    out_ += "  live:\n";
    for (const Quantity q : all) source("    ", q, "");
  }

  bool fed(const std::string& thing) const {
    const auto has = [&](Quantity q) { return find(thing, q) != nullptr; };
    return has(Quantity::string_power) || has(Quantity::output_power) || (has(Quantity::string_voltage) && has(Quantity::string_current)) ||
           (has(Quantity::output_current) && (has(Quantity::output_voltage) || find("", Quantity::bank_voltage)));
  }

  void strings() {
    std::set<std::string> things;
    for (const auto& [key, f] : chosen_)
      if (!key.first.empty() && fed(key.first)) things.insert(key.first);
    out_ += "strings:\n";
    for (const std::string& thing : things) {
      out_ += "  " + thing + ":\n    module: {power: 200 W}          # edit: rated power of one module; add v_oc and v_mp from its label\n"
              "    wiring: 2s                      # edit: in series, in parallel: 2s2p, 3s, 2p\n    tilt: 0 deg                     # edit\n"
              "    azimuth: 180 deg                # edit: where the face leans to\n";
      constexpr Quantity inner[] = {Quantity::stage, Quantity::output_voltage, Quantity::output_current, Quantity::output_power, Quantity::controller_temperature};
      out_ += "    controller:\n      max_power: 500 W              # edit\n";
      for (const Quantity q : inner) source("      ", q, thing);
      for (const Quantity q : {Quantity::string_power, Quantity::string_voltage, Quantity::string_current, Quantity::string_day_energy})
        source("    ", q, thing);
      used_.insert(thing);
    }
    if (things.empty())
      out_ += "  roof:                             # edit: nothing heard looked like a string's power\n    module: {power: 200 W}\n    wiring: 2s\n"
              "    power: {topic: \"edit/me\", pointer: \"/watts\", unit: W}\n";
  }

  void bank() {
    out_ += "bank:\n  capacity: 200 Ah                  # edit\n  nominal_voltage: 12.8 V           # edit\n"
            "  charge_window: {lower_limit: 0 degC, resume: 2 degC, upper_limit: 45 degC, upper_resume: 42 degC}   # edit: from its data sheet\n";
    for (const Quantity q : {Quantity::bank_voltage, Quantity::bank_current, Quantity::soc, Quantity::charge_allowed, Quantity::bank_heater_on,
                             Quantity::bank_heater_power})
      source("  ", q, "");
    const auto aged = [&](const Field& f) {
      const Span age = f.longest_silence ? proposed_max_age(*f.longest_silence) : Span{minutes{5}};
      return binding(f, ", max_age: " + std::to_string(age / minutes{1}) + " min");
    };
    if (cells_.size() == 1) out_ += "  cell_temperature: " + aged(*cells_[0]) + "\n";
    if (cells_.size() > 1) {
      out_ += "  cell_temperatures:\n";
      int n = 0;
      for (const Field* f : cells_) out_ += "    sensor_" + std::to_string(++n) + ": " + aged(*f) + "\n";
    }
    if (cells_.empty()) out_ += "  # no cell temperature was heard; without one firnwatt gives no charger a permit\n";
  }

  struct Role { const char* key; const char* unit; };
  static std::optional<Role> role(const std::string& column) {
    const auto w = words_of(column);
    const auto any = [&](std::initializer_list<std::string_view> of) {
      return std::any_of(w.begin(), w.end(), [&](const std::string& x) { return std::find(of.begin(), of.end(), x) != of.end(); });
    };
    if (any({"cloud", "clouds", "cover", "overcast"})) return Role{"cloud", "%"};
    if (any({"temp", "temperature", "air", "t2m"})) return Role{"air_temperature", "degC"};
    if (any({"snow", "snowfall"})) return Role{"snowfall", "cm"};
    if (any({"irradiance", "ghi", "radiation", "shortwave"})) return Role{"irradiance", "W/m2"};
    if (any({"wind", "windspeed"})) return Role{"wind", "m/s"};
    return std::nullopt;
  }

  void forecast() {
    if (!forecast_) return;
    const bool rows = forecast_->guess.kind == Guess::Kind::forecast_rows;
    std::map<std::string, std::pair<std::string, const char*>> roles;
    std::string time;
    if (rows) {
      for (const std::string& c : forecast_->columns) {
        const auto r = role(c);
        if (r) roles.emplace(r->key, std::pair{c, r->unit});
        else if (time.empty()) time = c;
      }
    } else {
      for (const Field* f : columns_)
        if (const auto r = role(f->pointer)) roles.emplace(r->key, std::pair{f->pointer, r->unit});
      for (const Field& f : fields_)
        if (f.topic == forecast_->topic && f.guess.kind == Guess::Kind::time &&
            (time.empty() || f.pointer.find("first") != std::string::npos || f.pointer.find("start") != std::string::npos))
          time = f.pointer;
    }
    const bool useful = roles.contains("cloud") || roles.contains("air_temperature") || roles.contains("snowfall") || roles.contains("irradiance");
    if (!useful || time.empty()) return;
    out_ += "forecast:                           # edit: units\n  topic: " + quoted(forecast_->topic) + "\n  layout: " + (rows ? "rows" : "columns") + "\n";
    if (rows)
      out_ += "  rows: " + quoted(forecast_->pointer) + "\n  time: " + quoted(time) + "\n";
    else
      out_ += "  first: " + quoted(time) + "\n";
    if (!rows)
      for (const Field& f : fields_)
        if (f.topic == forecast_->topic && f.elements == 0 && f.pointer.find("step") != std::string::npos) {
          out_ += "  step_pointer: " + quoted(f.pointer) + "\n";
          break;
        }
    for (const auto& [key, column] : roles)
      out_ += "  " + key + ": {pointer: " + quoted(column.first) + ", unit: " + quoted(column.second) + "}\n";
  }

  void leftovers() {
    std::vector<std::string> lines;
    for (const auto& [key, f] : chosen_)
      if (!key.first.empty() && !used_.contains(key.first)) lines.push_back(line(*f));
    for (const Field* f : beside_) lines.push_back(line(*f));
    for (const Field& f : fields_)
      if (f.guess.kind == Guess::Kind::none && rig_topic(f.topic)) lines.push_back(line(f));
    if (lines.empty()) return;
    std::sort(lines.begin(), lines.end());
    out_ += "# Heard as well, not used:\n";
    for (std::size_t i = 0; i < lines.size() && i < 200; ++i) out_ += "#   " + lines[i] + "\n";
  }

  static std::string line(const Field& f) {
    return printable(f.topic, 100) + (f.pointer.empty() ? "" : " " + printable(f.pointer, 80)) + " = " + printable(f.last, 30) +
           (f.guess.why.empty() ? "" : " (" + f.guess.why + ")");
  }

  const std::vector<Field>& fields_;
  std::string host_;
  int port_;
  Chosen chosen_;
  std::map<std::string, const Field*> times_;
  std::vector<const Field*> cells_, columns_, beside_;
  const Field* forecast_ = nullptr;
  std::set<std::string> used_;
  std::string out_;
};

}  // namespace

std::string starter_yaml(const std::vector<Field>& fields, const std::string& host, int port) { return Starter{fields, host, port}.text(); }

}  // namespace fw::intake
