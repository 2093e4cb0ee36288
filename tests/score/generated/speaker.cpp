#include "score/generated/speaker.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <nlohmann/json.hpp>

#include "score/generated/dice.h"
#include "score/generated/label.h"
#include "units/text.h"

namespace fw::score {

namespace {

using nlohmann::ordered_json;

/// One value within a message.
struct Field {
  std::string pointer, quantity, unit;
  int string = -1;
  double scale = 1;             ///< value = raw x scale
  int decimals = 1;
  double sign = 1, noise = 0, step = 0.1;
  std::function<double(double minute)> value;   ///< in `unit`, before the scale
  std::function<std::string(double minute)> word;
  std::vector<std::pair<std::string, std::string>> words;   ///< raw, meaning
  std::string yes, no;          ///< raw JSON of a flag
  bool as_text = false;
};
struct Topic {
  std::string topic;
  int string = -1;
  double period_s = 10;
  bool on_change = false;
  double at_latest_s = 600;
  std::string clock;            ///< unit of the sender's time, or empty
  std::string clock_pointer;
  std::vector<Field> fields;
};
struct Line {
  std::int64_t at_ms;
  std::string text;
};

const char* const stages[5][5] = {{"charge", "hold_high", "hold_low", "locked", "sleeping"},
                                  {"B", "A", "F", "X", "0"},
                                  {"full_sun", "topping", "keeping", "not_allowed", "night"},
                                  {"3", "4", "5", "9", "0"},
                                  {"main", "finish", "rest", "stopped", "idle"}};

class Speaker {
 public:
  explicit Speaker(const World& w) : w_(w), d_(w.scene.seed, std::string("speaker ") + name(w.scene.family)) {}

  Speech speak() {
    root_ = std::string(d_.pick({"den", "wagon/2", "cabin", "sled", "box/east", "ark"}));
    const double u = d_.unit();
    style_ = u < 0.3 ? flat : u < 0.5 ? nested : u < 0.65 ? bare : u < 0.8 ? texts : array;
    period_ = d_.pick({3.0, 5.0, 10.0, 10.0, 20.0, 30.0, 60.0});
    if (w_.scene.days <= 4 && d_.chance(0.3)) period_ = 1;
    on_change_ = style_ == bare && d_.chance(0.7);
    with_stage_ = d_.chance(0.7);
    stage_set_ = d_.whole(0, 4);
    temp_unit_ = d_.pick({"degC", "degC", "degF", "K"});
    const double what = d_.unit();
    meter_ = what < 0.4 ? power_volts : what < 0.7 ? volts_amps : what < 0.85 ? bank_side : power_only;
    clock_ = on_change_ || style_ == bare ? "" : d_.pick({"", "", "iso", "epoch_s", "local time without offset"});
    clock_error_s_ = clock_.empty() ? 0 : d_.between(-40, 40);
    for (int i = 0; i < static_cast<int>(w_.scene.strings.size()); ++i) string_topics(i);
    bank_topics();
    if (style_ == array && !on_change_)
      for (Topic& t : topics_) number_pointers(t);
    Speech s;
    s.site_json = site().dump(1);
    for (const Topic& t : topics_) send(t);
    outlook();
    notes();
    std::stable_sort(lines_.begin(), lines_.end(), [](const Line& a, const Line& b) { return a.at_ms < b.at_ms; });
    std::size_t size = 0;
    for (const Line& l : lines_) size += l.text.size() + 1;
    s.feed.reserve(size);
    for (const Line& l : lines_) (s.feed += l.text) += '\n';
    return s;
  }

 private:
  enum Style { flat, nested, bare, texts, array };
  enum Meter { power_volts, volts_amps, bank_side, power_only };

  template <class Get>
  std::function<double(double)> along(Get get) const {
    // Between two minutes the value goes straight; a swing within the minute is what a sender sees.
    return [this, get](double minute) {
      const auto last = static_cast<double>(w_.sun_el.size()) - 1;
      const double m = std::clamp(minute - 0.5, 0.0, last);
      const auto a = static_cast<std::size_t>(m), b = std::min(a + 1, w_.sun_el.size() - 1);
      const double x = get(a), y = get(b);
      return x + (m - static_cast<double>(a)) * (y - x);
    };
  }
  const StringTruth& at(int string, std::size_t n) const { return w_.strings[static_cast<std::size_t>(string)][n]; }

  Field field(const char* quantity, const char* unit, int decimals, double noise) {
    Field f;
    f.quantity = quantity;
    f.unit = unit;
    f.decimals = decimals;
    f.noise = noise;
    f.step = std::pow(10.0, -decimals) * 2;
    f.as_text = style_ == texts;
    if (style_ == array) {
      f.scale = std::pow(10.0, -decimals);
    }
    return f;
  }
  void place(Topic& t, Field f, const char* flat_key, const char* nested_path) {
    f.pointer = style_ == nested ? std::string(nested_path) : std::string("/") + flat_key;
    f.string = t.string;
    t.fields.push_back(std::move(f));
  }
  /// Bare numbers: each value on a topic of its own.
  void add(Topic t) {
    if (style_ != bare) {
      topics_.push_back(std::move(t));
      return;
    }
    for (Field& f : t.fields) {
      Topic one;
      one.topic = t.topic + f.pointer;
      one.string = t.string;
      one.period_s = t.period_s;
      one.on_change = on_change_;
      one.at_latest_s = t.string >= 0 ? 600 : 900;
      f.pointer = "";
      one.fields.push_back(std::move(f));
      topics_.push_back(std::move(one));
    }
  }
  void number_pointers(Topic& t) {
    if (t.topic.find("load") != std::string::npos) return;
    int n = 0;
    for (Field& f : t.fields) f.pointer = "/v/" + std::to_string(n++);
    if (!t.clock.empty()) t.clock_pointer = "/ts";
  }

  void string_topics(int i) {
    Topic t;
    const StringScene& s = w_.scene.strings[static_cast<std::size_t>(i)];
    t.topic = root_ + "/pv/" + s.id;
    t.string = i;
    t.period_s = period_;
    t.clock = clock_;
    t.clock_pointer = "/sent";
    const double eff = w_.scene.efficiency;
    if (meter_ == power_volts || meter_ == power_only) {
      Field f = field("pv_power", "W", 1, 0.004);
      f.value = along([this, i](std::size_t n) { return static_cast<double>(at(i, n).actual_w); });
      place(t, f, "p", "/array/power");
    }
    if (meter_ == bank_side) {
      Field a = field("out_current", "A", 2, 0.004);
      a.value = along([this, i, eff](std::size_t n) { return at(i, n).actual_w * eff / w_.bank[n].volts; });
      place(t, a, "oa", "/out/amps");
      Field v = field("out_voltage", "V", 2, 0.0008);
      v.value = along([this](std::size_t n) { return static_cast<double>(w_.bank[n].volts); });
      place(t, v, "ov", "/out/volts");
    }
    if (meter_ != power_only) {
      Field f = field("pv_voltage", "V", 2, 0.0012);
      f.step = 0.1;
      f.value = along([this, i](std::size_t n) { return static_cast<double>(at(i, n).volts); });
      place(t, f, "u", "/array/volts");
    }
    if (meter_ == volts_amps) {
      Field f = field("pv_current", "A", 2, 0.004);
      f.value = along([this, i](std::size_t n) { return static_cast<double>(at(i, n).amps); });
      place(t, f, "i", "/array/amps");
    }
    if (with_stage_) {
      Field f;
      f.quantity = "stage";
      f.unit = stage_set_ == 3 && style_ != texts ? "int" : "text";
      static constexpr const char* meanings[] = {"bulk", "absorption", "float", "inhibited", "off"};
      for (int k = 0; k < 5; ++k) f.words.push_back({stages[stage_set_][k], meanings[k]});
      f.word = [this, i](double minute) {
        const auto n = std::min(w_.sun_el.size() - 1, static_cast<std::size_t>(std::max(0.0, minute)));
        static constexpr int index[] = {4, 0, 1, 2, 3};   // off, bulk, absorption, floating, inhibited
        return std::string(stages[stage_set_][index[static_cast<int>(at(i, n).stage)]]);
      };
      place(t, f, "stage", "/phase");
    }
    add(std::move(t));
  }

  double degrees(double c) const { return std::string(temp_unit_) == "degF" ? c * 1.8 + 32 : std::string(temp_unit_) == "K" ? c + 273.15 : c; }

  void bank_topics() {
    Topic t;
    t.topic = root_ + "/store";
    t.period_s = std::max(10.0, period_);
    t.clock = clock_;
    t.clock_pointer = "/sent";
    Field v = field("bank_voltage", "V", 2, 0.0006);
    v.value = along([this](std::size_t n) { return static_cast<double>(w_.bank[n].volts); });
    place(t, v, "volts", "/dc/volts");
    Field a = field("bank_current", "A", 1, 0.004);
    a.sign = d_.chance(0.5) ? 1 : -1;
    a.value = along([this](std::size_t n) { return static_cast<double>(w_.bank[n].amps); });
    place(t, a, "amps", "/dc/amps");
    Field soc = field("bank_soc", d_.chance(0.7) ? "percent" : "fraction", 1, 0);
    if (soc.unit == "fraction") {
      soc.decimals = 3;
      if (style_ == array) soc.scale = 0.001;
    }
    const double full = soc.unit == "fraction" ? 1 : 100;
    soc.step = 0.005 * full;
    soc.value = along([this, full](std::size_t n) { return w_.bank[n].soc * full; });
    place(t, soc, "soc", "/charge/level");
    Field c = field("cell_temp", temp_unit_, 1, 0);
    c.step = 0.4;
    c.value = along([this](std::size_t n) { return degrees(w_.bank[n].cell_c); });
    place(t, c, "cell", "/cells/low");
    Field gate;
    gate.quantity = "charge_permitted";
    gate.unit = "flag";
    const int words = d_.whole(0, 2);
    gate.yes = words == 0 ? "true" : words == 1 ? "\"may\"" : "1";
    gate.no = words == 0 ? "false" : words == 1 ? "\"must_not\"" : "0";
    gate.word = [this](double minute) {
      const auto n = std::min(w_.sun_el.size() - 1, static_cast<std::size_t>(std::max(0.0, minute)));
      return std::string(w_.bank[n].permitted ? "yes" : "no");
    };
    place(t, gate, "gate", "/charge/gate");
    add(std::move(t));

    Topic climate;
    climate.topic = root_ + "/climate";
    climate.period_s = 60;
    Field out = field("ambient_temp", temp_unit_, 1, 0);
    out.step = 0.4;
    out.value = along([this](std::size_t n) { return degrees(w_.weather[n].air_c + 0.3); });
    place(climate, out, "out", "/air/out");
    Field in = out;
    in.quantity = "cabin_temp";
    in.value = along([this](std::size_t n) { return degrees(w_.bank[n].cabin_c); });
    place(climate, in, "in", "/air/in");
    add(std::move(climate));

    Topic load;
    load.topic = root_ + "/load";
    load.period_s = 60;
    load.on_change = on_change_;
    load.at_latest_s = 900;
    Field f = field("load_power", "W", 0, 0.01);
    f.scale = 1;
    f.step = 5;
    f.string = -1;
    f.pointer = "";
    f.value = along([this](std::size_t n) { return static_cast<double>(w_.bank[n].load_w); });
    load.fields.push_back(f);
    topics_.push_back(std::move(load));
  }

  ordered_json site() {
    const Scene& s = w_.scene;
    ordered_json j;
    j["name"] = std::string("invented rig, ") + name(s.family) + " " + std::to_string(s.seed);
    j["lat"] = s.lat;
    j["lon"] = s.lon;
    j["altitude_m"] = s.altitude_m;
    j["timezone"] = s.zone_hours == 0 ? "Etc/GMT" : "Etc/GMT" + std::string(s.zone_hours > 0 ? "-" : "+") + std::to_string(std::abs(s.zone_hours));
    for (const StringScene& x : s.strings) {
      ordered_json p;
      p["id"] = x.id;
      p["module_stc_w"] = x.paper.stc_w;
      p["module_count"] = x.paper.series * x.paper.parallel;
      p["wiring"] = x.paper.parallel == 1 ? std::to_string(x.paper.series) + "s"
                    : x.paper.series == 1 ? std::to_string(x.paper.parallel) + "p"
                                          : std::to_string(x.paper.series) + "s" + std::to_string(x.paper.parallel) + "p";
      p["temp_coeff_pct_per_k"] = x.paper.gamma_per_k * 100;
      p["tilt_deg"] = x.tilt_deg;
      p["azimuth_deg"] = x.azimuth_deg;
      p["controller_max_w"] = x.max_w;
      p["controller_max_a"] = x.max_a;
      p["module_voc_v"] = x.paper.v_oc;
      p["module_vmp_v"] = x.paper.v_mp;
      p["module_beta_pct_per_k"] = x.paper.beta_oc_per_k * 100;
      j["strings"].push_back(p);
    }
    j["bank"] = {{"chemistry", "LiFePO4"}, {"capacity_ah", s.bank_ah}, {"nominal_v", s.bank_v}, {"lower_charge_limit_c", s.lower_limit_c},
                 {"preferred_floor_c", s.preferred_floor_c}, {"upper_charge_limit_c", s.upper_limit_c}};
    for (const Topic& t : topics_) {
      if (!t.clock.empty()) j["telemetry"].push_back({{"topic", t.topic}, {"pointer", t.clock_pointer}, {"quantity", "sender_time"}, {"unit", t.clock}});
      for (const Field& f : t.fields) {
        ordered_json e{{"topic", t.topic}, {"pointer", f.pointer}, {"quantity", f.quantity}, {"unit", f.unit}};
        if (f.string >= 0) e["string"] = s.strings[static_cast<std::size_t>(f.string)].id;
        if (f.scale != 1) e["scale"] = f.scale;
        if (f.quantity == "bank_current") e["sign"] = f.sign < 0 ? "positive means discharge" : "positive means charge";
        if (f.as_text) e["number_as_text"] = true;
        for (const auto& [raw, meaning] : f.words) e["values"][raw] = meaning;
        if (!f.yes.empty()) {
          e["true_value"] = ordered_json::parse(f.yes);
          e["false_value"] = ordered_json::parse(f.no);
        }
        e["sent"] = t.on_change ? "on change, at the latest every " + fixed(t.at_latest_s, 0) + " s" : "about every " + fixed(t.period_s, 0) + " s";
        j["telemetry"].push_back(e);
      }
    }
    if (s.has_outlook) {
      columns_ = d_.chance(0.5);
      cm_ = d_.chance(0.7);
      j["outlook"] = {{"topic", root_ + "/outlook"}, {"layout", columns_ ? "columns" : "rows"}, {"temp_unit", "degC"},
                      {"snow_unit", cm_ ? "cm" : "inch"}, {"cloud_unit", "percent"}, {"hours", 72}};
    }
    return j;
  }

  /// Whether the topic is silent at that minute, or its values hang.
  enum class Voice { fine, silent, hangs, absurd };
  Voice voice(const Topic& t, double minute, double& hung_since) const {
    for (const MishapAt& m : w_.scene.mishaps) {
      if (minute < static_cast<double>(m.from_min) || minute >= static_cast<double>(m.to_min)) continue;
      if (m.kind == Mishap::broker_gap) return Voice::silent;
      if (m.string != t.string) continue;
      if (m.kind == Mishap::controller_silent) return Voice::silent;
      if (m.kind == Mishap::absurd) return Voice::absurd;
      if (m.kind == Mishap::frozen) {
        hung_since = static_cast<double>(m.from_min);
        return Voice::hangs;
      }
    }
    return Voice::fine;
  }

  std::string raw(const Field& f, double minute, Voice how) {
    if (how == Voice::absurd && f.word == nullptr && d_.chance(0.12)) return d_.pick({"65535", "-32768", "null", "-1", "99999.9"});
    if (d_.chance(0.0008)) return "null";
    if (!f.yes.empty()) return f.word(minute) == "yes" ? f.yes : f.no;
    if (f.word) return f.unit == "int" ? f.word(minute) : "\"" + f.word(minute) + "\"";
    double v = f.value(minute) * f.sign;
    v *= 1 + f.noise * d_.normal();
    if (f.quantity == "pv_voltage" && std::abs(v) < 0.5) {
      // An open input floats about zero; at night it drifts by a volt or two.
      const auto n = std::min(w_.sun_el.size() - 1, static_cast<std::size_t>(std::max(0.0, minute)));
      v = at(f.string, n).outage ? d_.between(0, 0.15) : d_.between(0.8, 3);
    }
    v /= f.scale;
    const std::string text = fixed(v, f.scale != 1 ? 0 : f.decimals);
    return f.as_text ? "\"" + text + "\"" : text;
  }

  static std::vector<std::string> pieces(const Topic& t) {
    // The message's text around its values, in the order of the pointers.
    if (t.fields.size() == 1 && t.fields[0].pointer.empty()) return {"", ""};
    ordered_json j;
    for (std::size_t i = 0; i < t.fields.size(); ++i) j[ordered_json::json_pointer(t.fields[i].pointer)] = "@" + std::to_string(i) + "@";
    if (!t.clock.empty()) j[ordered_json::json_pointer(t.clock_pointer)] = "@" + std::to_string(t.fields.size()) + "@";
    const std::string text = j.dump();
    std::vector<std::string> out{""};
    for (std::size_t i = 0; i < text.size(); ++i) {
      if (text.compare(i, 2, "\"@") == 0) {
        const std::size_t end = text.find("@\"", i + 2);
        out.push_back(text.substr(i + 2, end - i - 2));   // odd places: which field
        out.emplace_back();
        i = end + 1;
      } else {
        out.back() += text[i];
      }
    }
    return out;
  }

  std::string sender_time(const Topic& t, double second) const {
    const double s = second + clock_error_s_;
    const long long whole = w_.scene.start_unix_s + static_cast<long long>(s);
    if (t.clock == "epoch_s") return std::to_string(whole);
    if (t.clock == "iso") return "\"" + iso_of(whole) + "\"";
    std::string local = iso_of(whole + w_.scene.zone_hours * 3600LL).substr(0, 19);
    local[10] = ' ';
    return "\"" + local + "\"";
  }

  void send(const Topic& t) {
    const double end_s = static_cast<double>(w_.scene.minutes()) * 60;
    const auto parts = pieces(t);
    const bool whole = parts.size() == 2;
    double last_sent = -1e9, last_value = 1e30;
    std::string last_text;
    double frozen_at = -1;
    const double pace = t.on_change ? std::max(5.0, t.period_s) : t.period_s;
    for (double s = d_.between(0, pace); s < end_s; s += pace * (t.on_change ? 1 : d_.between(0.97, 1.03))) {
      double minute = s / 60, hung = -1;
      const auto n = std::min(w_.sun_el.size() - 1, static_cast<std::size_t>(minute));
      // At night the fast ones save their breath.
      if (!t.on_change && pace < 20 && w_.sun_el[n] < -7 && d_.chance(1 - pace / 20)) continue;
      const Voice how = voice(t, minute, hung);
      if (how == Voice::silent || d_.chance(0.003)) continue;
      if (how == Voice::hangs) minute = hung;
      std::string payload;
      if (whole) {
        if (t.on_change && !t.fields[0].word) {
          const double v = t.fields[0].value(minute);
          const bool jitter = d_.chance(0.12 * t.fields[0].noise / 0.004) && how != Voice::hangs && v > 1;
          if (std::abs(v - last_value) < t.fields[0].step && !jitter && s - last_sent < t.at_latest_s) continue;
          last_value = v;
          payload = how == Voice::hangs && !last_text.empty() ? last_text : raw(t.fields[0], minute, how);
        } else {
          payload = raw(t.fields[0], minute, how);
          if (t.on_change && payload == last_text && s - last_sent < t.at_latest_s * (t.fields[0].yes.empty() ? 2 : 1)) continue;
        }
        last_text = payload;
      } else if (how == Voice::hangs && frozen_at == hung && t.clock.empty()) {
        payload = last_text;
      } else {
        for (std::size_t i = 0; i < parts.size(); ++i)
          if (i % 2 == 0) payload += parts[i];
          else {
            const auto k = static_cast<std::size_t>(std::stoul(parts[i]));
            if (k >= t.fields.size()) payload += sender_time(t, how == Voice::hangs ? hung * 60 : s);
            else payload += how == Voice::hangs ? hung_value(t, k, hung) : raw(t.fields[k], minute, how);
          }
        last_text = payload;
        frozen_at = how == Voice::hangs ? hung : -1;
      }
      last_sent = s;
      const double late = d_.chance(0.002) ? d_.between(2, 15) : d_.between(0.02, 0.4);
      put(s + late, t.topic, payload);
      if (d_.chance(0.001)) put(s + late + d_.between(0.01, 2), t.topic, payload);
    }
  }
  std::string hung_value(const Topic& t, std::size_t k, double hung) {
    const std::string key = t.topic + std::to_string(k) + "@" + fixed(hung, 0);
    auto [found, fresh] = hung_.try_emplace(key);
    if (fresh) found->second = raw(t.fields[k], hung, Voice::fine);
    return found->second;
  }
  void put(double second, const std::string& topic, const std::string& payload) {
    const auto ms = static_cast<std::int64_t>(second * 1000);
    lines_.push_back({ms, "{\"t\":\"" + iso_of(w_.scene.start_unix_s + ms / 1000) + "\",\"topic\":\"" + topic + "\",\"payload\":" + payload + "}"});
  }

  void outlook() {
    if (!w_.scene.has_outlook) return;
    for (long m = 0; m < w_.scene.minutes(); m += 360) {
      const auto hours = outlook_of(w_.scene, w_.weather, m);
      const long long issued = w_.scene.start_unix_s + m * 60LL;
      const double cm = cm_ ? 1 : 1 / 2.54;
      std::string p = "{\"issued\":\"" + iso_of(issued) + "\"";
      const auto tens = [](double c) { return fixed(std::round(c * 20) * 5, 0); };
      if (columns_) {
        p += ",\"first\":\"" + iso_of(issued) + "\",\"step_s\":3600";
        const auto column = [&](const char* key, const std::function<std::string(const OutlookHour&)>& of) {
          p += ",\"" + std::string(key) + "\":[";
          for (std::size_t h = 0; h < hours.size(); ++h) {
            if (h) p += ',';
            p += of(hours[h]);
          }
          p += "]";
        };
        column("cloud", [&](const OutlookHour& h) { return tens(h.cloud); });
        column("temp", [&](const OutlookHour& h) { return fixed(h.air_c, 1); });
        column("snow", [&](const OutlookHour& h) { return fixed(h.snow_cm * cm, 2); });
      } else {
        p += ",\"hours\":[";
        for (std::size_t h = 0; h < hours.size(); ++h)
          p += std::string(h ? "," : "") + "{\"t\":\"" + iso_of(issued + static_cast<long long>(h) * 3600) + "\",\"cloud\":" + tens(hours[h].cloud) +
               ",\"temp\":" + fixed(hours[h].air_c, 1) + ",\"snow\":" + fixed(hours[h].snow_cm * cm, 2) + "}";
        p += "]";
      }
      put(static_cast<double>(m) * 60 + d_.between(60, 900), root_ + "/outlook", p + "}");
    }
  }
  /// The owner says so when he throws a breaker himself.
  void notes() {
    for (const MishapAt& m : w_.scene.mishaps) {
      if (m.kind != Mishap::breaker_by_hand) continue;
      const std::string who = "\",\"string\":\"" + w_.scene.strings[static_cast<std::size_t>(m.string)].id + "\"}";
      put(static_cast<double>(m.from_min) * 60 - 30, "firnwatt/practice/notes", std::string("{\"event\":\"string_off") + who);
      put(static_cast<double>(m.to_min) * 60 - 10, "firnwatt/practice/notes", std::string("{\"event\":\"string_on") + who);
    }
  }

  const World& w_;
  Dice d_;
  std::string root_, clock_;
  const char* temp_unit_ = "degC";
  Style style_ = flat;
  Meter meter_ = power_volts;
  double period_ = 10, clock_error_s_ = 0;
  bool on_change_ = false, with_stage_ = true, columns_ = false, cm_ = true;
  int stage_set_ = 0;
  std::vector<Topic> topics_;
  std::vector<Line> lines_;
  std::map<std::string, std::string> hung_;
};

}  // namespace

Speech speech_of(const World& world) { return Speaker(world).speak(); }

}  // namespace fw::score
