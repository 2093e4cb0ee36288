// State to text and back, so that a restart in the middle of a snowy week loses nothing.
#include <nlohmann/json.hpp>

#include "diagnosis/state.h"
#include "units/json.h"

namespace fw::diagnosis {

namespace {

using nlohmann::json;
constexpr int version = 1;

json of(const Condition& c) { return {c.level, c.on, ms_of(c.since), ms_of(c.until), c.lost_kwh}; }

void take(const json& j, Condition& c) {
  if (!j.is_array() || j.size() != 5 || !j[0].is_number() || !j[1].is_boolean() || !j[2].is_number() || !j[3].is_number() || !j[4].is_number()) return;
  c.level = j[0].get<double>();
  c.on = j[1].get<bool>();
  c.since = utc_ms(j[2].get<std::int64_t>());
  c.until = utc_ms(j[3].get<std::int64_t>());
  c.lost_kwh = j[4].get<double>();
}

bool take(const json& j, Belief& b) {
  if (!j.is_array() || j.size() != b.size()) return false;
  Belief read;
  double sum = 0;
  for (const json& v : j) {
    if (!v.is_number() || v.get<double>() < 0) return false;
    read.push_back(v.get<double>());
    sum += read.back();
  }
  if (!(sum > 0)) return false;
  for (double& v : read) v /= sum;
  b = std::move(read);
  return true;
}

double number(const json& j, const char* key, double otherwise) {
  const auto at = j.find(key);
  return at != j.end() && at->is_number() ? at->get<double>() : otherwise;
}

constexpr const char* condition_names[] = {"snow", "outage", "half", "shade", "controller", "over_voltage", "stale", "soiling", "float_low"};
Condition* condition(StringMemory& s, int i) {
  Condition* all[] = {&s.snow, &s.outage, &s.half, &s.shade, &s.controller, &s.over_voltage, &s.stale, &s.soiling, &s.float_low};
  return all[i];
}

}  // namespace

std::string Diagnosis::snapshot() const {
  State& st = *state_;
  json j;
  j["version"] = version;
  if (st.last) j["last_ms"] = ms_of(*st.last);
  if (st.snow_was_forecast) j["snow_was_forecast_ms"] = ms_of(*st.snow_was_forecast);
  j["minutes_of_sun"] = st.minutes_of_sun;
  j["highest_sun_deg"] = st.highest_sun_deg;
  j["snow_may_lie"] = st.snow_may_lie;
  j["fallen_cm"] = st.fallen_cm;
  for (const auto& row : st.filter.state().sky) j["sky"].push_back(row);
  for (const LightSensor& s : st.filter.state().sensor) j["sensor"].push_back({s.dimmed, s.pass_ln, s.met ? 1 : 0});
  j["horizon"] = st.skyline.kept();
  for (std::size_t i = 0; i < st.strings.size(); ++i) {
    StringMemory& s = st.strings[i];
    json k;
    k["name"] = st.rig.strings[i].name;
    k["calibration"] = s.calibration.snapshot();
    const StringBelief& b = st.filter.state().strings[i];
    k["held_back"] = b.held_back;
    k["shade_min"] = b.shade_min;
    for (std::size_t r = 0; r < regime_count; ++r) {
      json pair = json::array();
      for (std::size_t g = 0; g < cover_count; ++g) {
        json::array_t values;
        values.reserve(static_cast<std::size_t>(b.given.rows()));
        for (int h = 0; h < b.given.rows(); ++h) {
          const double v = b.given.at(r, g, h);
          values.emplace_back(v < 1e-9 ? 0.0 : std::round(v * 1e9) / 1e9);
        }
        pair.push_back(std::move(values));
      }
      k["given"].push_back(std::move(pair));
    }
    const auto film = s.film.kept();
    k["film"] = {film.day, film.minutes, film.now, film.loss, film.scatter, film.before, film.known, film.claimed};
    k["volts_bias"] = s.volts_bias.kept();
    k["icy_minutes"] = s.icy_minutes;
    k["least_pass"] = s.least_pass;
    k["some_snow_left"] = s.some_snow_left;
    k["off_by_owner"] = s.off_by_owner;
    for (int c = 0; c < 9; ++c) k["conditions"][condition_names[c]] = of(*condition(s, c));
    j["strings"].push_back(std::move(k));
  }
  return json_text(j);
}

void Diagnosis::restore(std::string_view text) {
  State& st = *state_;
  const json j = json_in(text);
  if (!j.is_object() || number(j, "version", 0) != version) return;
  const auto sky = j.find("sky");
  const auto all = j.find("strings");
  if (all == j.end() || !all->is_array() || sky == j.end() || !sky->is_array()) return;
  if (j.contains("last_ms") && j["last_ms"].is_number()) st.last = utc_ms(j["last_ms"].get<std::int64_t>());
  if (j.contains("snow_was_forecast_ms") && j["snow_was_forecast_ms"].is_number())
    st.snow_was_forecast = utc_ms(j["snow_was_forecast_ms"].get<std::int64_t>());
  st.minutes_of_sun = number(j, "minutes_of_sun", 0);
  st.highest_sun_deg = number(j, "highest_sun_deg", 15);
  st.snow_may_lie = number(j, "snow_may_lie", 0.2);
  st.fallen_cm = std::clamp(number(j, "fallen_cm", 0), 0.0, 1000.0);
  if (const auto horizon = j.find("horizon"); horizon != j.end()) st.skyline.take(*horizon);
  FilterState& f = st.filter.restored();
  if (const auto sensor = j.find("sensor"); sensor != j.end() && sensor->is_array() && sensor->size() == f.sensor.size())
    for (std::size_t g = 0; g < f.sensor.size(); ++g) {
      const json& v = (*sensor)[g];
      if (v.is_array() && v.size() == 3 && v[0].is_number() && v[1].is_number() && v[2].is_number())
        f.sensor[g] = LightSensor{std::clamp(v[0].get<double>(), 0.0, 0.999), std::clamp(v[1].get<double>(), -8.0, 0.0), v[2].get<double>() != 0};
    }
  if (sky->size() == regime_count) {
    double sum = 0;
    Joint<double> read{};
    for (std::size_t r = 0; r < regime_count; ++r)
      for (std::size_t g = 0; g < cover_count; ++g) {
        const json& v = (*sky)[r].is_array() && (*sky)[r].size() == cover_count ? (*sky)[r][g] : json();
        read[r][g] = v.is_number() ? std::max(0.0, v.get<double>()) : 0;
        sum += read[r][g];
      }
    if (sum > 0) {
      for (auto& row : read)
        for (double& p : row) p /= sum;
      f.sky = read;
    }
  }
  for (const json& k : *all) {
    if (!k.is_object() || !k.contains("name") || !k["name"].is_string()) continue;
    for (std::size_t i = 0; i < st.strings.size(); ++i) {
      if (st.rig.strings[i].name != k["name"].get<std::string>()) continue;
      StringMemory& s = st.strings[i];
      // what does not fit the string as it is now described is left fresh
      if (k.contains("calibration") && k["calibration"].is_string())
        if (const auto r = s.calibration.restore(k["calibration"].get<std::string>()); !r) s.calibration.reset();
      f.strings[i].held_back = std::clamp(number(k, "held_back", 0.02), 1e-4, 1 - 1e-4);
      f.strings[i].shade_min = std::clamp(number(k, "shade_min", 0), 0.0, 1440.0);
      if (const auto given = k.find("given"); given != k.end() && given->is_array() && given->size() == regime_count)
        for (std::size_t r = 0; r < regime_count; ++r)
          for (std::size_t g = 0; g < cover_count; ++g)
            if ((*given)[r].is_array() && (*given)[r].size() == cover_count) {
              Belief belief = f.strings[i].given.of(r, g);
              if (take((*given)[r][g], belief)) f.strings[i].given.set(r, g, belief);
            }
      if (const auto film = k.find("film"); film != k.end() && film->is_array() && film->size() == 8 && (*film)[6].is_boolean() && (*film)[7].is_boolean()) {
        bool numbers = true;
        for (std::size_t n = 0; n < 6; ++n) numbers &= (*film)[n].is_number();
        if (numbers)
          s.film.set({(*film)[0].get<std::int32_t>(), (*film)[1].get<double>(), (*film)[2].get<double>(), (*film)[3].get<double>(),
                      (*film)[4].get<double>(), (*film)[5].get<double>(), (*film)[6].get<bool>(), (*film)[7].get<bool>()});
      }
      if (const auto v = k.find("volts_bias"); v != k.end() && v->is_array() && v->size() == VoltsBias::Kept{}.size()) {
        VoltsBias::Kept sums{};
        bool numbers = true;
        for (std::size_t n = 0; n < sums.size(); ++n) {
          numbers &= (*v)[n].is_number();
          if (numbers) sums[n] = (*v)[n].get<double>();
        }
        if (numbers && sums[0] >= 0 && sums[2] >= 0) s.volts_bias.set(sums);
      }
      s.icy_minutes = number(k, "icy_minutes", 0);
      s.least_pass = number(k, "least_pass", 1);
      s.some_snow_left = k.value("some_snow_left", json()) == true;
      if (k.contains("off_by_owner") && k["off_by_owner"].is_boolean()) s.off_by_owner = k["off_by_owner"].get<bool>();
      if (const auto c = k.find("conditions"); c != k.end() && c->is_object())
        for (int n = 0; n < 9; ++n)
          if (c->contains(condition_names[n])) take((*c)[condition_names[n]], *condition(s, n));
    }
  }
}

}  // namespace fw::diagnosis
