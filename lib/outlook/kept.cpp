#include "outlook/kept.h"

#include <algorithm>
#include <nlohmann/json.hpp>

namespace fw::outlook::kept {
namespace {
const nlohmann::json nothing;

const nlohmann::json& at(const nlohmann::json& object, const char* key) {
  if (!object.is_object()) return nothing;
  const auto it = object.find(key);
  return it == object.end() ? nothing : *it;
}

bool numbers(const nlohmann::json& array, std::size_t count) {
  return array.is_array() && array.size() == count && std::all_of(array.begin(), array.end(), [](const auto& v) { return v.is_number(); });
}
}  // namespace

double number(const nlohmann::json& object, const char* key) {
  const auto& v = at(object, key);
  return v.is_number() ? v.get<double>() : 0.0;
}

bool flag(const nlohmann::json& object, const char* key, bool otherwise) {
  const auto& v = at(object, key);
  return v.is_boolean() ? v.get<bool>() : otherwise;
}

std::string text(const nlohmann::json& object, const char* key) {
  const auto& v = at(object, key);
  return v.is_string() ? v.get<std::string>() : std::string();
}

std::optional<Utc> time(const nlohmann::json& object, const char* key) {
  const auto& v = at(object, key);
  if (!v.is_number_integer()) return {};
  return utc_ms(v.get<std::int64_t>());
}

std::vector<nlohmann::json> rows(const nlohmann::json& object, const char* key) {
  std::vector<nlohmann::json> out;
  const auto& v = at(object, key);
  if (v.is_array()) std::copy_if(v.begin(), v.end(), std::back_inserter(out), [](const auto& row) { return row.is_object(); });
  return out;
}

nlohmann::json json_of(const snow::Layer& l) { return {l.water_mm, l.cold_wh_m2, l.density_kgm3}; }

snow::Layer layer(const nlohmann::json& object, const char* key) {
  const auto& v = at(object, key);
  if (!numbers(v, 3)) return {};
  return {std::clamp(v[0].get<double>(), 0.0, 1000.0), std::clamp(v[1].get<double>(), 0.0, 1e5), std::clamp(v[2].get<double>(), 30.0, 500.0)};
}

nlohmann::json json_of(const bank::ThermalModel::Memory& m) {
  nlohmann::json turns = nlohmann::json::array();
  for (const auto& [when, low_c, amplitude_k, strength] : m.turns) turns.push_back({ms_of(when), low_c, amplitude_k, strength});
  return {{"x", m.x}, {"p", m.p}, {"error", m.error}, {"hours", m.hours}, {"turns", turns}};
}

std::optional<bank::ThermalModel::Memory> thermal(const nlohmann::json& object, const char* key) {
  const auto& j = at(object, key);
  bank::ThermalModel::Memory m;
  const auto &p = at(j, "p"), &turns = at(j, "turns");
  if (!numbers(at(j, "x"), m.x.size()) || !p.is_array() || p.size() != m.p.size() || !at(j, "error").is_number() ||
      !at(j, "hours").is_number() || !turns.is_array())
    return {};
  for (std::size_t i = 0; i < m.x.size(); ++i) {
    if (!numbers(p[i], m.p[i].size())) return {};
    m.x[i] = j["x"][i].get<double>();
    for (std::size_t k = 0; k < m.p[i].size(); ++k) m.p[i][k] = p[i][k].get<double>();
  }
  m.error = number(j, "error");
  m.hours = number(j, "hours");
  for (const auto& t : turns) {
    if (!numbers(t, 4)) return {};
    m.turns.push_back({elapsed_ms(static_cast<std::int64_t>(t[0].get<double>())), t[1].get<double>(), t[2].get<double>(), t[3].get<double>()});
  }
  return m;
}

nlohmann::json json_of(const Forecast& f) {
  nlohmann::json out = nlohmann::json::array();
  auto opt = [](const std::optional<double>& v) { return v ? nlohmann::json(*v) : nlohmann::json(); };
  for (const auto& r : f.rows) out.push_back({ms_of(r.from), opt(r.cloud), opt(r.air_c), opt(r.snow_cm), opt(r.irradiance_wm2), opt(r.wind_ms)});
  return {{"at", ms_of(f.received)}, {"rows", out}};
}

std::optional<Forecast> forecast(const nlohmann::json& object, const char* key) {
  const auto& j = at(object, key);
  const auto &received = at(j, "at"), &all = at(j, "rows");
  if (!received.is_number_integer() || !all.is_array()) return {};
  Forecast f;
  f.received = elapsed_ms(received.get<std::int64_t>());
  auto opt = [](const nlohmann::json& v) { return v.is_number() ? std::optional<double>(v.get<double>()) : std::nullopt; };
  for (const auto& r : all)
    if (r.is_array() && r.size() == 6 && r[0].is_number_integer())
      f.rows.push_back({utc_ms(r[0].get<std::int64_t>()), opt(r[1]), opt(r[2]), opt(r[3]), opt(r[4]), opt(r[5])});
  if (f.rows.empty()) return {};
  return f;
}

}  // namespace fw::outlook::kept
