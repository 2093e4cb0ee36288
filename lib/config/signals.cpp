#include "config/signals.h"

namespace fw::config {

bool power_known(const rig::Rig& rig, int i) {
  const auto has = [&](Quantity q) { return rig.has(Channel{q, i}); };
  if (has(Quantity::string_power) || has(Quantity::output_power)) return true;
  if (has(Quantity::string_voltage) && has(Quantity::string_current)) return true;
  return has(Quantity::output_current) && (has(Quantity::output_voltage) || rig.has(Quantity::bank_voltage));
}

std::map<std::string, SignalInfo> signals_of(const rig::Rig& rig) {
  std::map<std::string, SignalInfo> out;
  const auto channel = [&](const std::string& text, Quantity q, int thing) {
    SignalInfo s;
    s.signal.text = text;
    s.signal.channel = {q, thing};
    s.signal.thing = thing;
    s.kind = q == Quantity::stage ? SignalInfo::Kind::stage : is_flag(q) ? SignalInfo::Kind::flag : SignalInfo::Kind::number;
    s.dimension = dimension_of(q);
    s.scale = channel_scale(q);
    s.fed = rig.has(Channel{q, thing}) || (q == Quantity::string_power && power_known(rig, thing));
    out[text] = s;
  };
  const auto derived = [&](const std::string& text, rig::Derived d, int thing, Dimension dimension, double scale, bool fed) {
    SignalInfo s;
    s.signal.text = text;
    s.signal.derived = d;
    s.signal.thing = thing;
    s.dimension = dimension;
    s.scale = scale;
    s.fed = fed;
    out[text] = s;
  };
  for (std::size_t k = 0; k < rig.strings.size(); ++k) {
    const int i = static_cast<int>(k);
    const std::string base = "strings." + rig.strings[k].name + ".";
    for (const Quantity q : {Quantity::string_power, Quantity::string_voltage, Quantity::string_current, Quantity::string_day_energy})
      channel(base + std::string{name(q)}, q, i);
    for (const Quantity q : {Quantity::stage, Quantity::output_voltage, Quantity::output_current, Quantity::output_power,
                             Quantity::controller_temperature, Quantity::controller_error})
      channel(base + "controller." + std::string{name(q)}, q, i);
    derived(base + "performance_index", rig::Derived::performance_index, i, Dimension::ratio, 1, power_known(rig, i));
    derived(base + "expected_power", rig::Derived::expected_power, i, Dimension::power, 1, true);
  }
  if (rig.has_bank) {
    for (const Quantity q : {Quantity::bank_voltage, Quantity::bank_current, Quantity::soc, Quantity::charge_allowed, Quantity::bank_heater_on,
                             Quantity::bank_heater_power})
      channel("bank." + std::string{name(q)}, q, 0);
    const bool cells = rig.has(Quantity::cell_temperature);
    derived("bank.cell_min", rig::Derived::cell_min, 0, Dimension::temperature, 1, cells);
    derived("bank.cell_max", rig::Derived::cell_max, 0, Dimension::temperature, 1, cells);
    derived("bank.hours_left", rig::Derived::hours_left, 0, Dimension::time, 1.0 / 3600, rig.has(Quantity::soc));
    for (std::size_t k = 0; k < rig.bank.sensors.size(); ++k)
      channel("bank.cell_temperatures." + rig.bank.sensors[k].name, Quantity::cell_temperature, static_cast<int>(k));
  }
  for (std::size_t k = 0; k < rig.chargers.size(); ++k)
    for (const Quantity q : {Quantity::charger_on, Quantity::charger_limit, Quantity::charger_current})
      channel("chargers." + rig.chargers[k].name + "." + std::string{name(q)}, q, static_cast<int>(k));
  for (std::size_t k = 0; k < rig.heaters.size(); ++k)
    channel("heaters." + rig.heaters[k].name + ".on", Quantity::heater_on, static_cast<int>(k));
  for (const Quantity q : {Quantity::air_temperature, Quantity::cabin_temperature, Quantity::irradiance, Quantity::snow_depth, Quantity::wind,
                           Quantity::latitude, Quantity::longitude, Quantity::heading, Quantity::pitch, Quantity::roll, Quantity::speed})
    channel("site." + std::string{name(q)}, q, 0);
  channel("loads.power", Quantity::load_power, 0);
  return out;
}

}  // namespace fw::config
