#include "journal/about.h"
#include "units/json.h"

#include <nlohmann/json.hpp>

namespace fw::journal {

namespace {

using Json = nlohmann::json;

const Json* at(const Json& j, const char* key) {
  if (!j.is_object()) return nullptr;
  const auto it = j.find(key);
  return it == j.end() ? nullptr : &*it;
}
std::optional<double> number(const Json& j, const char* key) {
  const Json* v = at(j, key);
  return v && v->is_number() ? std::optional{v->get<double>()} : std::nullopt;
}
std::string text(const Json& j, const char* key, std::string otherwise = {}) {
  const Json* v = at(j, key);
  return v && v->is_string() ? v->get<std::string>() : otherwise;
}

}  // namespace

About about_in(std::string_view json) {
  About a;
  const Json j = Json::parse(json, nullptr, false);
  if (!j.is_object()) return a;
  a.rig = text(j, "rig");
  a.timezone = text(j, "timezone", "UTC");
  if (const Json* f = at(j, "southern"); f && f->is_boolean()) a.southern = f->get<bool>();
  if (const Json* f = at(j, "fahrenheit"); f && f->is_boolean()) a.fahrenheit = f->get<bool>();
  if (const Json* strings = at(j, "strings"); strings && strings->is_array())
    for (const Json& s : *strings)
      if (auto n = text(s, "name"); !n.empty()) a.strings.push_back({n, number(s, "rated_w")});
  if (const Json* w = at(j, "window")) {
    a.lower_limit_c = number(*w, "lower_limit_c");
    a.resume_c = number(*w, "resume_c");
    a.upper_limit_c = number(*w, "upper_limit_c");
    a.preferred_floor_c = number(*w, "preferred_floor_c");
  }
  a.capacity_kwh = number(j, "capacity_kwh");
  a.reserve_soc = number(j, "reserve_soc");
  a.min_gain_kwh = number(j, "min_gain_kwh");
  a.price_per_kwh = number(j, "price_per_kwh");
  a.currency = text(j, "currency");
  return a;
}

std::string about_json(const About& a) {
  Json j{{"rig", a.rig}, {"timezone", a.timezone}, {"southern", a.southern}, {"fahrenheit", a.fahrenheit}, {"strings", Json::array()}};
  const auto put = [](Json& into, const char* key, std::optional<double> v) {
    if (v) into[key] = *v;
  };
  for (const auto& s : a.strings) {
    Json one{{"name", s.name}};
    put(one, "rated_w", s.rated_w);
    j["strings"].push_back(one);
  }
  Json w = Json::object();
  put(w, "lower_limit_c", a.lower_limit_c);
  put(w, "resume_c", a.resume_c);
  put(w, "upper_limit_c", a.upper_limit_c);
  put(w, "preferred_floor_c", a.preferred_floor_c);
  if (!w.empty()) j["window"] = w;
  put(j, "capacity_kwh", a.capacity_kwh);
  put(j, "reserve_soc", a.reserve_soc);
  put(j, "min_gain_kwh", a.min_gain_kwh);
  put(j, "price_per_kwh", a.price_per_kwh);
  if (!a.currency.empty()) j["currency"] = a.currency;
  return json_text(j);
}

}  // namespace fw::journal
