#include "core/state_text.h"

#include <algorithm>

#include <nlohmann/json.hpp>

#include "units/json.h"
#include "units/text.h"

namespace fw::core {

namespace {

using nlohmann::ordered_json;

/// A number rounded to `decimals`, or null; printed shortest, so the same value gives the same bytes.
ordered_json figure(std::optional<double> v, int decimals) {
  if (!v) return nullptr;
  const auto text = fixed(*v, decimals);
  const auto rounded = number_in(text);
  if (!rounded) return nullptr;
  if (decimals == 0) return static_cast<std::int64_t>(*rounded);
  return *rounded;
}

}  // namespace

std::string string_state(const rig::Rig& rig, const Verdict& v, const StringMinute& m) {
  ordered_json j;
  j["utc"] = iso_utc(v.utc);
  j["string"] = rig.strings[static_cast<std::size_t>(v.string)].name;
  j["cause"] = name(v.cause);
  j["confidence"] = figure(v.confidence, 2);
  j["power_w"] = figure(v.measured_w, 1);
  j["voltage_v"] = figure(m.voltage_v, 2);
  j["current_a"] = figure(m.current_a, 2);
  j["clear_sky_w"] = figure(v.clear_sky_w, 1);
  j["expected_w"] = figure(v.expected_w, 1);
  j["performance_index"] = figure(v.performance_index, 2);
  j["reason"] = v.reason;
  j["evidence"] = v.evidence;
  return json_text_in_order(j);
}

std::string bank_state(const RigMinute& m, bool permit) {
  ordered_json j;
  j["utc"] = iso_utc(m.start);
  j["cell_min_c"] = figure(m.cell_min_c, 1);
  j["cell_max_c"] = figure(m.cell_max_c, 1);
  j["soc"] = figure(m.soc, 3);
  j["voltage_v"] = figure(m.bank_voltage_v, 2);
  j["current_a"] = figure(m.bank_current_a, 1);
  j["permit"] = permit;
  return json_text_in_order(j);
}

std::string phrase(const Verdict& v) {
  switch (v.cause) {
    case Cause::clear: return "clear";
    case Cause::cloud: return "under cloud";
    case Cause::snow: return v.reason == "frost" ? "under frost" : std::string(Words::certainty(v.confidence)) + " under snow";
    case Cause::soiling: return "dirty";
    case Cause::shade: return "shaded";
    case Cause::curtailed: return "held back";
    case Cause::outage: return "dead";
    case Cause::dark: return "dark";
    case Cause::stale: return "silent";
    case Cause::unsure: return "low, cause unclear";
  }
  return {};
}

bool all_dark(const std::vector<Verdict>& verdicts) {
  return std::all_of(verdicts.begin(), verdicts.end(), [](const Verdict& v) { return v.cause == Cause::dark; });
}

std::string strings_line(const rig::Rig& rig, const std::vector<Verdict>& verdicts) {
  if (all_dark(verdicts)) return "No sun to judge by.";
  std::string line;
  for (const auto& v : verdicts) {
    if (!line.empty()) line += "; ";
    line += rig.strings[static_cast<std::size_t>(v.string)].name + " " + phrase(v);
    if (v.cause == Cause::dark || v.cause == Cause::stale || !v.measured_w) continue;
    line += v.cause == Cause::clear ? ", " + Words::watts(*v.measured_w) : ", " + Words::watts_of(*v.measured_w, v.clear_sky_w);
  }
  return Words::capital(line) + ".";
}

std::string rig_meta(const rig::Rig& rig) {
  ordered_json j;
  j["rig"] = rig.name;
  j["timezone"] = rig.site.timezone;
  j["southern"] = rig.site.latitude_deg < 0;
  j["fahrenheit"] = rig.display.fahrenheit;
  j["strings"] = ordered_json::array();
  for (const auto& s : rig.strings) j["strings"].push_back({{"name", s.name}, {"rated_w", s.rated_w()}});
  const auto& w = rig.bank.window;
  j["window"] = {{"lower_limit_c", w.lower_limit_c}, {"upper_limit_c", w.upper_limit_c}};
  if (w.preferred_floor_c) j["window"]["preferred_floor_c"] = *w.preferred_floor_c;
  j["capacity_wh"] = rig.bank.capacity_wh();
  j["reserve_soc"] = rig.bank.reserve_soc;
  if (rig.advice.price_per_kwh) {
    j["price_per_kwh"] = *rig.advice.price_per_kwh;
    j["currency"] = rig.advice.currency;
  }
  j["batch_s"] = rig.journal.batch.count() / 1000;
  return json_text_in_order(j);
}

}  // namespace fw::core
