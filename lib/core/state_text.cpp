#include "core/state_text.h"

#include <algorithm>

#include <nlohmann/json.hpp>

#include "units/json.h"
#include "units/text.h"

namespace fw::core {

namespace {

using nlohmann::ordered_json;

/// A flat JSON object, written as it grows: these go out every five minutes.
class Members {
 public:
  void add(std::string_view key, std::string_view json) {
    out_ += out_.empty() ? "{\"" : ",\"";
    out_.append(key).append("\":").append(json);
  }
  void text(std::string_view key, const std::string& text) { add(key, json_quoted(text)); }
  /// Rounded to `decimals` (one at least) and without idle zeros: 12.50 is 12.5, 12.00 is 12.0.
  void figure(std::string_view key, std::optional<double> v, int decimals) {
    std::string digits = fixed(v, decimals);
    while (digits.ends_with('0') && !digits.ends_with(".0")) digits.pop_back();
    add(key, digits.empty() ? "null" : digits);
  }
  std::string done() && {
    out_ += '}';
    return std::move(out_);
  }

 private:
  std::string out_;
};

}  // namespace

std::string string_state(const rig::Rig& rig, const Verdict& v, const StringMinute& m) {
  Members j;
  j.text("utc", iso_utc(v.utc));
  j.text("string", rig.strings[static_cast<std::size_t>(v.string)].name);
  j.text("cause", std::string(name(v.cause)));
  j.figure("confidence", v.confidence, 2);
  j.figure("power_w", v.measured_w, 1);
  j.figure("voltage_v", m.voltage_v, 2);
  j.figure("current_a", m.current_a, 2);
  j.figure("clear_sky_w", v.clear_sky_w, 1);
  j.figure("expected_w", v.expected_w, 1);
  j.figure("performance_index", v.performance_index, 2);
  j.text("reason", v.reason);
  j.add("evidence", json_text(nlohmann::json(v.evidence)));
  return std::move(j).done();
}

std::string bank_state(const RigMinute& m, bool permit) {
  Members j;
  j.text("utc", iso_utc(m.start));
  j.figure("cell_min_c", m.cell_min_c, 1);
  j.figure("cell_max_c", m.cell_max_c, 1);
  j.figure("soc", m.soc, 3);
  j.figure("voltage_v", m.bank_voltage_v, 2);
  j.figure("current_a", m.bank_current_a, 1);
  j.add("permit", permit ? "true" : "false");
  return std::move(j).done();
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
    line += Words::named(rig.strings[static_cast<std::size_t>(v.string)].name) + " " + phrase(v);
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
  j["min_gain_kwh"] = rig.advice.min_gain_kwh;
  if (rig.advice.price_per_kwh) {
    j["price_per_kwh"] = *rig.advice.price_per_kwh;
    j["currency"] = rig.advice.currency;
  }
  j["batch_s"] = rig.journal.batch.count() / 1000;
  return json_text_in_order(j);
}

}  // namespace fw::core
