#include "config/understood.h"

#include <cmath>

#include "config/signals.h"
#include "units/text.h"
#include "units/unit_table.h"
#include "words/words.h"

namespace fw::config {

namespace {

std::string plain(double v, int most_decimals) {
  std::string s = fixed(v, most_decimals);
  if (s.find('.') == std::string::npos) return s;
  s.erase(s.find_last_not_of('0') + 1);
  if (s.back() == '.') s.pop_back();
  return s;
}

std::string list(const std::vector<std::string>& parts, const char* last = " and ") {
  std::string out;
  for (std::size_t i = 0; i < parts.size(); ++i) out += (i == 0 ? "" : i + 1 == parts.size() ? last : ", ") + parts[i];
  return out;
}

std::string direction(double azimuth_deg) {
  static constexpr const char* names[] = {"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"};
  return names[static_cast<int>(std::floor(azimuth_deg / 45 + 0.5)) % 8];
}

/// Exact, for what the owner wrote himself.
std::string exact_degrees(double c, bool fahrenheit) { return fahrenheit ? plain(c * 1.8 + 32, 1) + " °F" : plain(c, 1) + " °C"; }

std::string source_text(const rig::Source& s) {
  std::string t = s.topic;
  if (!s.pointer.empty()) t += " " + s.pointer;
  if (!s.unit.empty()) t += ", " + s.unit;
  if (s.factor != 1) t += ", times " + plain(s.factor, 9);
  if (s.offset != 0) t += ", plus " + plain(s.offset, 9);
  if (s.sign < 0) t += ", sign turned";
  if (s.time_form != rig::TimeForm::none) t += ", with the sender's time";
  if (s.unit_confirmed) t += ", unit confirmed";
  if (s.max_age) t += ", silent after " + Words::span(*s.max_age);
  return t;
}

void add_sources(std::vector<std::string>& out, const rig::Rig& rig, std::initializer_list<Quantity> quantities, int thing, const std::string& indent) {
  for (const Quantity q : quantities)
    for (const rig::Source& s : rig.sources)
      if (s.channel == Channel{q, thing}) out.push_back(indent + std::string{name(q)} + ": " + source_text(s));
}

std::string clock_text(int minutes) {
  const auto two = [](int n) { return (n < 10 ? "0" : "") + std::to_string(n); };
  return two(minutes / 60) + ":" + two(minutes % 60);
}

void describe_strings(std::vector<std::string>& out, const rig::Rig& rig) {
  out.push_back("Strings");
  for (std::size_t k = 0; k < rig.strings.size(); ++k) {
    const rig::PvString& s = rig.strings[k];
    const int i = static_cast<int>(k);
    std::string line = "  " + s.name + ": " + plain(s.rated_w(), 0) + " W (" + std::to_string(s.series * s.parallel) + " x " + plain(s.module.stc_w, 1) + " W, " +
                       std::to_string(s.series) + " in series" + (s.parallel > 1 ? ", " + std::to_string(s.parallel) + " in parallel" : "") + "), ";
    line += s.tilt_deg == 0 ? "flat" : "tilt " + plain(s.tilt_deg, 1) + "° to the " + direction(s.azimuth_deg) + " (" + plain(s.azimuth_deg, 0) + "°)";
    out.push_back(line);
    std::vector<std::string> limits;
    if (s.controller.max_power_w) limits.push_back(plain(*s.controller.max_power_w, 0) + " W");
    if (s.controller.max_current_a) limits.push_back(plain(*s.controller.max_current_a, 1) + " A to the bank");
    if (s.controller.max_voltage_v) limits.push_back(plain(*s.controller.max_voltage_v, 1) + " V from the string");
    out.push_back("    controller: " + (limits.empty() ? std::string{"no limits given"} : "at most " + list(limits)));
    add_sources(out, rig, {Quantity::string_power, Quantity::string_voltage, Quantity::string_current, Quantity::string_day_energy, Quantity::stage,
                           Quantity::output_voltage, Quantity::output_current, Quantity::output_power, Quantity::controller_temperature,
                           Quantity::controller_error}, i, "    ");
  }
}

void describe_bank(std::vector<std::string>& out, const rig::Rig& rig) {
  if (!rig.has_bank) {
    out.push_back("Bank: none described");
    return;
  }
  const rig::Bank& b = rig.bank;
  const rig::ChargeWindow& w = b.window;
  const bool f = rig.display.fahrenheit;
  out.push_back("Bank");
  out.push_back("  " + plain(b.capacity_ah, 1) + " Ah at " + plain(b.nominal_v, 2) + " V (" + plain(b.capacity_wh() / 1000, 2) + " kWh), reserve " +
                Words::percent(b.reserve_soc) + ", for leaving " + Words::percent(b.departure_reserve_soc));
  out.push_back("  no charging at or below " + exact_degrees(w.lower_limit_c, f) + ", again above " + exact_degrees(w.resume_c, f) + " held for " +
                Words::span(w.resume_dwell));
  out.push_back("  no charging at or above " + exact_degrees(w.upper_limit_c, f) + ", again below " + exact_degrees(w.upper_resume_c, f));
  if (w.preferred_floor_c) out.push_back("  preferred floor " + exact_degrees(*w.preferred_floor_c, f));
  if (w.bands.empty()) out.push_back("  charge current by temperature: the careful default");
  for (const rig::ChargeBand& band : w.bands)
    out.push_back("  " + exact_degrees(band.from_c, f) + " to " + exact_degrees(band.to_c, f) + ": at most " + plain(band.c_rate, 3) + " C (" +
                  plain(band.c_rate * b.capacity_ah, 0) + " A)");
  for (std::size_t k = 0; k < b.sensors.size(); ++k)
    for (const rig::Source& s : rig.sources)
      if (s.channel == Channel{Quantity::cell_temperature, static_cast<int>(k)})
        out.push_back("  cell_temperature of " + b.sensors[k].name + ": " + source_text(s));
  add_sources(out, rig, {Quantity::bank_voltage, Quantity::bank_current, Quantity::soc, Quantity::charge_allowed, Quantity::bank_heater_on,
                         Quantity::bank_heater_power}, 0, "  ");
}

void describe_rest(std::vector<std::string>& out, const rig::Rig& rig) {
  const bool f = rig.display.fahrenheit;
  if (!rig.heaters.empty()) {
    out.push_back("Heaters");
    for (const rig::Heater& h : rig.heaters)
      out.push_back("  " + h.name + ": " + plain(h.rated_w, 0) + " W, on at " + exact_degrees(h.on_below_c, f) + ", off at " + exact_degrees(h.off_above_c, f) +
                    ", never with the bank below " + Words::percent(h.min_soc) + "; obeys " + h.command.topic);
  }
  out.push_back("Site and loads");
  const std::size_t before = out.size();
  add_sources(out, rig, {Quantity::air_temperature, Quantity::cabin_temperature, Quantity::irradiance, Quantity::snow_depth, Quantity::wind, Quantity::latitude,
                         Quantity::longitude, Quantity::heading, Quantity::pitch, Quantity::roll, Quantity::speed, Quantity::load_power}, 0, "  ");
  if (out.size() == before) out.push_back("  nothing measured");
  if (rig.forecast) {
    std::vector<std::string> columns;
    if (rig.forecast->cloud) columns.push_back("cloud");
    if (rig.forecast->air_temperature) columns.push_back("air temperature");
    if (rig.forecast->snowfall) columns.push_back("snowfall");
    if (rig.forecast->irradiance) columns.push_back("irradiance");
    if (rig.forecast->wind) columns.push_back("wind");
    out.push_back("Forecast: " + rig.forecast->topic + " with " + list(columns));
  } else {
    out.push_back("Forecast: none; the last days stand in for it");
  }
  const rig::Mqtt& m = rig.mqtt;
  out.push_back("Broker: " + m.host + " port " + std::to_string(m.port) + (m.tls ? ", TLS" : ", no TLS") +
                (m.user.empty() ? ", no user" : ", user " + m.user) + ", MQTT " + (m.protocol == 5 ? "5" : "3.1.1"));
  const rig::Phone& p = rig.phone;
  out.push_back("Phone: at most " + std::to_string(p.max_per_day) + " messages a day besides urgent ones" +
                (p.quiet ? ", quiet " + clock_text(p.quiet->first.minutes) + " to " + clock_text(p.quiet->second.minutes) : "") + ", gathered at " +
                clock_text(p.morning.minutes) + (p.daily_summary ? " with a daily summary" : ""));
}

}  // namespace

std::vector<std::string> charger_lines(const rig::Rig& rig) {
  std::vector<std::string> out;
  for (std::size_t k = 0; k < rig.chargers.size(); ++k) {
    const rig::Charger& c = rig.chargers[k];
    const int i = static_cast<int>(k);
    static constexpr const char* kinds[] = {"solar", "shore", "alternator", "other"};
    std::string line = c.name + " (" + kinds[static_cast<int>(c.kind)] + ", " + plain(c.rated_a, 1) + " A): ";
    const bool limit = !c.limit_topic.empty(), off = c.command.configured();
    std::vector<std::string> by;
    if (c.stop_by != rig::StopBy::never) {
      if (limit) by.push_back("a limit of 0 A on " + c.limit_topic);
      if (off && c.stop_by == rig::StopBy::off) by.push_back("'" + printable(c.command.off_payload, 30) + "' on " + c.command.topic);
    }
    if (by.empty())
      line += c.stop_by == rig::StopBy::never ? "cannot be stopped by firnwatt (stop_by: never)" : "cannot be stopped by firnwatt, it only publishes the permit";
    else
      line += "can be stopped by " + list(by, ", then ");
    const bool confirmed = rig.has(Channel{Quantity::charger_on, i}) || rig.has(Channel{Quantity::charger_limit, i}) || rig.has(Channel{Quantity::charger_current, i});
    line += confirmed ? "; what it reports back confirms it" : rig.has(Quantity::bank_current) ? "; only the bank's current can confirm it" : "; nothing confirms it";
    line += c.stays_on_without_board ? "; goes on charging if the board loses power" : "; stops if the board loses power";
    out.push_back(std::move(line));
  }
  return out;
}

std::vector<Ability> abilities(const rig::Rig& rig) {
  std::vector<Ability> out;
  const auto has = [&](Quantity q) { return rig.has(q); };
  const auto add = [&](std::string what, std::vector<std::string> missing) {
    const bool available = missing.empty();
    out.push_back({std::move(what), available, list(missing)});
  };
  const auto lacking = [](std::initializer_list<std::pair<bool, const char*>> needs) {
    std::vector<std::string> missing;
    for (const auto& [there, what] : needs)
      if (!there) missing.emplace_back(what);
    return missing;
  };
  const bool forecast_air = rig.forecast && rig.forecast->air_temperature;
  const bool air = has(Quantity::air_temperature);
  const bool cells = has(Quantity::cell_temperature);

  for (std::size_t k = 0; k < rig.strings.size(); ++k) {
    const rig::PvString& s = rig.strings[k];
    const int i = static_cast<int>(k);
    const auto has_here = [&](Quantity q) { return rig.has(Channel{q, i}); };
    add("why " + s.name + " is low: snow, cloud, shade, outage", lacking({{power_known(rig, i), "its power"}}));
    add("snow told from cloud in little light on " + s.name,
        lacking({{has_here(Quantity::string_voltage), "its voltage"}, {s.module.v_oc_v > 0 && s.module.v_mp_v > 0, "v_oc and v_mp of its modules"}}));
    add("a full bank told from a covered " + s.name,
        lacking({{has_here(Quantity::stage) || (has(Quantity::soc) && has(Quantity::bank_voltage)), "its controller's stage, or the bank's soc and voltage"}}));
    add("the cold over-voltage warning for " + s.name,
        lacking({{s.module.v_oc_v > 0, "v_oc of its modules"}, {s.controller.max_voltage_v.has_value(), "max_voltage of its controller"},
                 {air || forecast_air, "air temperature, measured or forecast"}}));
  }
  add("holding charging off when the cells are too cold or too hot",
      lacking({{rig.has_bank, "the bank"}, {cells, "a cell temperature"}, {!rig.chargers.empty(), "chargers"}}));
  add("noticing a bank that charges without permit", lacking({{has(Quantity::bank_current), "the bank's current"}, {!rig.chargers.empty(), "chargers"}}));
  add("warning hours before the cells get too cold", lacking({{cells, "a cell temperature"}, {air || forecast_air, "air temperature, measured or forecast"}}));
  add("heating the bank in time", lacking({{cells, "a cell temperature"}, {!rig.heaters.empty(), "a heater"}}));
  add("how long the bank lasts", lacking({{has(Quantity::soc), "the bank's soc"}, {has(Quantity::bank_current) || has(Quantity::load_power), "the bank's current or the load's power"}}));
  add("clear the snow or wait", lacking({{rig.forecast && rig.forecast->cloud, "a forecast with cloud"}, {has(Quantity::soc), "the bank's soc"}}));
  add("energy to spare", lacking({{has(Quantity::soc), "the bank's soc"}, {rig.forecast && (rig.forecast->cloud || rig.forecast->irradiance), "a forecast with cloud or irradiance"}}));
  add("warning of a cold cabin", lacking({{has(Quantity::cabin_temperature), "the cabin's temperature"}}));
  add("what raising the jack would bring", lacking({{rig.advice.jack_min_deg && rig.advice.jack_max_deg, "the jack's range under advice"}}));
  return out;
}

std::vector<std::string> understood(const rig::Rig& rig) {
  std::vector<std::string> out;
  const rig::Site& s = rig.site;
  out.push_back("Rig " + rig.name + " at " + plain(std::fabs(s.latitude_deg), 4) + (s.latitude_deg < 0 ? "° south, " : "° north, ") +
                plain(std::fabs(s.longitude_deg), 4) + (s.longitude_deg < 0 ? "° west, " : "° east, ") + plain(s.altitude_m, 0) + " m, times in " + s.timezone +
                (rig.simulation ? " (simulation)" : ""));
  describe_strings(out, rig);
  describe_bank(out, rig);
  if (!rig.chargers.empty()) {
    out.push_back("Chargers");
    for (const std::string& line : charger_lines(rig)) out.push_back("  " + line);
  } else {
    out.push_back("Chargers: none described; firnwatt watches and stops nothing");
  }
  describe_rest(out, rig);
  out.push_back("What it can do with that");
  for (const Ability& a : abilities(rig)) out.push_back(a.available ? "  yes  " + a.name : "  no   " + a.name + "; needs " + a.missing);
  return out;
}

}  // namespace fw::config
