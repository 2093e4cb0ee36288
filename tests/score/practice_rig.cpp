#include "score/practice_rig.h"

#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

namespace fw::score {

namespace {

using nlohmann::json;

const std::map<std::string, Quantity> quantities{
    {"pv_power", Quantity::string_power},       {"pv_voltage", Quantity::string_voltage},
    {"pv_current", Quantity::string_current},   {"out_current", Quantity::output_current},
    {"out_voltage", Quantity::output_voltage},  {"stage", Quantity::stage},
    {"day_energy", Quantity::string_day_energy}, {"bank_voltage", Quantity::bank_voltage},
    {"bank_current", Quantity::bank_current},   {"bank_soc", Quantity::soc},
    {"cell_temp", Quantity::cell_temperature},  {"charge_permitted", Quantity::charge_allowed},
    {"heater_on", Quantity::bank_heater_on},    {"ambient_temp", Quantity::air_temperature},
    {"cabin_temp", Quantity::cabin_temperature}, {"load_power", Quantity::load_power},
    {"irradiance", Quantity::irradiance}};

std::string unit_of(const std::string& text) {
  if (text == "percent") return "%";
  if (text == "inch") return "in";
  if (text == "text" || text == "int" || text == "flag") return "";
  return text;
}

std::string raw_text(const json& j) { return j.is_string() ? j.get<std::string>() : j.dump(); }

void wiring(const std::string& text, int modules, rig::PvString& s) {
  int number = 0;
  s.series = s.parallel = 1;
  for (char c : text) {
    if (c >= '0' && c <= '9') number = number * 10 + (c - '0');
    if (c == 's') { s.series = number; number = 0; }
    if (c == 'p') { s.parallel = number; number = 0; }
  }
  if (s.series * s.parallel != modules) { s.series = modules; s.parallel = 1; }
}

}  // namespace

Result<rig::Rig> practice_rig(const std::string& folder, const PracticeOptions& options) {
  std::ifstream in(folder + "/site.json");
  if (!in) return Fault{folder, "site.json cannot be read"};
  std::stringstream text;
  text << in.rdbuf();
  return practice_rig_of(text.str(), folder, options);
}

Result<rig::Rig> practice_rig_of(const std::string& site_json, const std::string& where, const PracticeOptions& options) {
  const json site = json::parse(site_json, nullptr, false);
  if (!site.is_object() || !site.contains("telemetry")) return Fault{where, "site.json is not a practice site"};

  rig::Rig r;
  r.name = "practice";
  r.site.latitude_deg = site["lat"].get<double>();
  r.site.longitude_deg = site["lon"].get<double>();
  r.site.altitude_m = site["altitude_m"].get<double>();
  r.site.timezone = site["timezone"].get<std::string>();
  std::map<std::string, int> index;
  for (const json& s : site["strings"]) {
    rig::PvString p;
    p.name = s["id"].get<std::string>();
    index[p.name] = static_cast<int>(r.strings.size());
    p.module.stc_w = s["module_stc_w"].get<double>();
    p.module.v_oc_v = s.value("module_voc_v", 0.0);
    p.module.v_mp_v = s.value("module_vmp_v", 0.0);
    p.module.gamma_pmp_per_k = s["temp_coeff_pct_per_k"].get<double>() / 100;
    p.module.beta_voc_per_k = s.value("module_beta_pct_per_k", -0.28) / 100;
    wiring(s["wiring"].get<std::string>(), s["module_count"].get<int>(), p);
    p.tilt_deg = s["tilt_deg"].get<double>();
    p.azimuth_deg = s["azimuth_deg"].get<double>();
    p.controller.max_power_w = s["controller_max_w"].get<double>();
    p.controller.max_current_a = s["controller_max_a"].get<double>();
    if (options.perturb) {
      p.module.stc_w *= r.strings.size() % 2 ? 0.88 : 1.12;
      p.tilt_deg += p.tilt_deg > 60 ? -8 : 8;
      p.azimuth_deg = std::fmod(p.azimuth_deg + 28, 360);
    }
    r.strings.push_back(p);
  }
  const json& bank = site["bank"];
  r.bank.capacity_ah = bank["capacity_ah"].get<double>();
  r.bank.nominal_v = bank["nominal_v"].get<double>();
  r.bank.window.lower_limit_c = bank["lower_charge_limit_c"].get<double>();
  r.bank.window.preferred_floor_c = bank["preferred_floor_c"].get<double>();
  r.bank.window.upper_limit_c = bank["upper_charge_limit_c"].get<double>();
  r.bank.sensors.push_back({"cells"});

  std::map<std::string, std::pair<std::string, rig::TimeForm>> sender_time;
  for (const json& t : site["telemetry"])
    if (t["quantity"] == "sender_time") {
      const auto u = t["unit"].get<std::string>();
      const auto form = u.starts_with("local") ? rig::TimeForm::local
                        : u == "iso"           ? rig::TimeForm::iso
                        : u == "epoch_ms"      ? rig::TimeForm::epoch_ms
                                               : rig::TimeForm::epoch_s;
      sender_time[t["topic"].get<std::string>()] = {t["pointer"].get<std::string>(), form};
    }
  for (const json& t : site["telemetry"]) {
    const auto found = quantities.find(t["quantity"].get<std::string>());
    if (found == quantities.end()) continue;
    const Quantity q = found->second;
    if (options.no_irradiance && q == Quantity::irradiance) continue;
    if (options.no_stage && q == Quantity::stage) continue;
    rig::Source s;
    s.channel = {q, t.contains("string") ? index[t["string"].get<std::string>()] : 0};
    s.topic = t["topic"].get<std::string>();
    s.pointer = t["pointer"].get<std::string>();
    s.unit = unit_of(t["unit"].get<std::string>());
    s.factor = t.value("scale", 1.0);
    if (t.value("sign", std::string{}).find("discharge") != std::string::npos) s.sign = -1;
    if (t.contains("values"))
      for (const auto& [raw, word] : t["values"].items())
        if (const auto stage = stage_in(word.get<std::string>())) s.values[raw] = static_cast<double>(*stage);
    if (t.contains("true_value")) {
      s.values[raw_text(t["true_value"])] = 1;
      s.values[raw_text(t["false_value"])] = 0;
    }
    if (q == Quantity::cell_temperature) s.max_age = minutes{30};
    if (const auto time = sender_time.find(s.topic); time != sender_time.end()) {
      s.time_pointer = time->second.first;
      s.time_form = time->second.second;
    }
    r.sources.push_back(std::move(s));
  }
  if (options.no_voltage)
    std::erase_if(r.sources, [&](const rig::Source& s) {
      return s.channel.quantity == Quantity::string_voltage &&
             !r.has(Channel{Quantity::string_current, s.channel.thing});
    });

  if (site.contains("outlook") && !options.no_forecast) {
    const json& o = site["outlook"];
    rig::ForecastSource f;
    f.topic = o["topic"].get<std::string>();
    const bool columns = o["layout"] == "columns";
    const auto unit = [&](const char* key) { return unit_of(o[key].get<std::string>()); };
    f.layout = columns ? rig::ForecastLayout::columns : rig::ForecastLayout::rows;
    if (columns) {
      f.time_pointer = "/first";
      f.step_pointer = "/step_s";
    } else {
      f.rows_pointer = "/hours";
      f.time_pointer = "/t";
    }
    f.cloud = {"/cloud", unit("cloud_unit")};
    f.air_temperature = {"/temp", unit("temp_unit")};
    f.snowfall = {"/snow", unit("snow_unit")};
    r.forecast = f;
  }
  return r;
}

}  // namespace fw::score
