#include "units/unit_table.h"

#include <array>

namespace fw {

namespace {

using D = Dimension;

constexpr std::array units{
    Unit{"W", D::power, 1, 0}, Unit{"kW", D::power, 1000, 0}, Unit{"MW", D::power, 1e6, 0}, Unit{"mW", D::power, 1e-3, 0},
    Unit{"V", D::voltage, 1, 0}, Unit{"mV", D::voltage, 1e-3, 0}, Unit{"cV", D::voltage, 1e-2, 0}, Unit{"dV", D::voltage, 0.1, 0},
    Unit{"kV", D::voltage, 1000, 0},
    Unit{"A", D::current, 1, 0}, Unit{"mA", D::current, 1e-3, 0}, Unit{"cA", D::current, 1e-2, 0}, Unit{"dA", D::current, 0.1, 0},
    Unit{"Ah", D::charge, 1, 0}, Unit{"mAh", D::charge, 1e-3, 0}, Unit{"kAh", D::charge, 1000, 0},
    Unit{"kWh", D::energy, 1, 0}, Unit{"Wh", D::energy, 1e-3, 0}, Unit{"MWh", D::energy, 1000, 0}, Unit{"mWh", D::energy, 1e-6, 0},
    Unit{"MJ", D::energy, 1 / 3.6, 0}, Unit{"kJ", D::energy, 1 / 3600.0, 0}, Unit{"J", D::energy, 1 / 3.6e6, 0},
    Unit{"%", D::ratio, 0.01, 0}, Unit{"percent", D::ratio, 0.01, 0}, Unit{"fraction", D::ratio, 1, 0}, Unit{"permille", D::ratio, 1e-3, 0},
    Unit{"okta", D::ratio, 0.125, 0}, Unit{"tenths", D::ratio, 0.1, 0},
    Unit{"degC", D::temperature, 1, 0}, Unit{"°C", D::temperature, 1, 0}, Unit{"C", D::charge_rate, 1, 0},
    Unit{"degF", D::temperature, 5.0 / 9.0, -32 * 5.0 / 9.0}, Unit{"°F", D::temperature, 5.0 / 9.0, -32 * 5.0 / 9.0},
    Unit{"K", D::temperature, 1, -273.15}, Unit{"dK", D::temperature, 0.1, -273.15}, Unit{"cK", D::temperature, 0.01, -273.15},
    Unit{"ddegC", D::temperature, 0.1, 0}, Unit{"mdegC", D::temperature, 1e-3, 0},
    Unit{"m", D::length, 1, 0}, Unit{"cm", D::length, 0.01, 0}, Unit{"mm", D::length, 1e-3, 0}, Unit{"km", D::length, 1000, 0},
    Unit{"in", D::length, 0.0254, 0}, Unit{"ft", D::length, 0.3048, 0}, Unit{"mi", D::length, 1609.344, 0},
    Unit{"m/s", D::speed, 1, 0}, Unit{"km/h", D::speed, 1 / 3.6, 0}, Unit{"mph", D::speed, 0.44704, 0},
    Unit{"kn", D::speed, 1852.0 / 3600.0, 0}, Unit{"ft/s", D::speed, 0.3048, 0},
    Unit{"W/m2", D::irradiance, 1, 0}, Unit{"W/m²", D::irradiance, 1, 0}, Unit{"kW/m2", D::irradiance, 1000, 0},
    Unit{"Pa", D::pressure, 1, 0}, Unit{"hPa", D::pressure, 100, 0}, Unit{"mbar", D::pressure, 100, 0}, Unit{"kPa", D::pressure, 1000, 0},
    Unit{"inHg", D::pressure, 3386.389, 0},
    Unit{"deg", D::angle, 1, 0}, Unit{"°", D::angle, 1, 0}, Unit{"rad", D::angle, 57.29577951308232, 0},
    Unit{"mrad", D::angle, 0.05729577951308232, 0},
    Unit{"ms", D::time, 1e-3, 0}, Unit{"s", D::time, 1, 0}, Unit{"min", D::time, 60, 0}, Unit{"h", D::time, 3600, 0}, Unit{"d", D::time, 86400, 0},
    Unit{"B", D::size, 1, 0}, Unit{"kB", D::size, 1e3, 0}, Unit{"MB", D::size, 1e6, 0}, Unit{"GB", D::size, 1e9, 0},
    Unit{"KiB", D::size, 1024, 0}, Unit{"MiB", D::size, 1048576, 0}, Unit{"GiB", D::size, 1073741824, 0},
};

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; }

bool same_but_case(std::string_view a, std::string_view b) {
  if (a.size() != b.size()) return false;
  for (std::size_t i = 0; i < a.size(); ++i)
    if (lower(a[i]) != lower(b[i])) return false;
  return true;
}

struct Slip { std::string_view wrong, right; };
/// Spellings people write, and ours.
constexpr std::array slips{
    Slip{"watt", "W"}, Slip{"watts", "W"}, Slip{"volt", "V"}, Slip{"volts", "V"}, Slip{"amp", "A"}, Slip{"amps", "A"}, Slip{"ampere", "A"},
    Slip{"celsius", "degC"}, Slip{"deg_c", "degC"}, Slip{"fahrenheit", "degF"}, Slip{"f", "degF"}, Slip{"deg_f", "degF"}, Slip{"kelvin", "K"},
    Slip{"pct", "%"}, Slip{"ratio", "fraction"}, Slip{"inch", "in"}, Slip{"inches", "in"}, Slip{"feet", "ft"}, Slip{"meter", "m"},
    Slip{"metre", "m"}, Slip{"metres", "m"}, Slip{"meters", "m"}, Slip{"kmh", "km/h"}, Slip{"kph", "km/h"}, Slip{"knots", "kn"}, Slip{"kt", "kn"}, Slip{"ms-1", "m/s"},
    Slip{"degree", "deg"}, Slip{"degrees", "deg"}, Slip{"radians", "rad"}, Slip{"sec", "s"}, Slip{"second", "s"}, Slip{"seconds", "s"}, Slip{"minute", "min"},
    Slip{"minutes", "min"}, Slip{"mins", "min"}, Slip{"hour", "h"}, Slip{"hours", "h"}, Slip{"hr", "h"}, Slip{"day", "d"}, Slip{"days", "d"}, Slip{"octa", "okta"},
    Slip{"oktas", "okta"},
};

}  // namespace

std::string_view name(Dimension d) {
  constexpr std::array<std::string_view, 16> names{"power", "voltage", "current", "charge", "energy", "ratio", "temperature", "length", "speed",
                                                   "irradiance", "pressure", "angle", "time", "size", "charge rate", "plain number"};
  return names[static_cast<std::size_t>(d)];
}

std::string_view examples(Dimension d) {
  constexpr std::array<std::string_view, 16> texts{"W or kW", "V or mV", "A or mA", "Ah", "kWh or Wh", "% or fraction", "degC, degF or K", "m, cm, mm, in or ft",
                                                   "m/s, km/h, mph or kn", "W/m2", "hPa", "deg or rad", "s, min, h or d", "KiB, MB", "C",
                                                   "no unit"};
  return texts[static_cast<std::size_t>(d)];
}

const Unit* unit_named(std::string_view text) {
  for (const Unit& u : units)
    if (u.text == text) return &u;
  return nullptr;
}

std::string_view unit_near(std::string_view text) {
  for (const Slip& s : slips)
    if (same_but_case(s.wrong, text)) return s.right;
  for (const Unit& u : units)
    if (same_but_case(u.text, text)) return u.text;
  return {};
}

Dimension dimension_of(Quantity q) {
  switch (q) {
    case Quantity::string_power: case Quantity::output_power: case Quantity::bank_heater_power: case Quantity::load_power: return D::power;
    case Quantity::string_voltage: case Quantity::output_voltage: case Quantity::bank_voltage: return D::voltage;
    case Quantity::string_current: case Quantity::output_current: case Quantity::bank_current: case Quantity::charger_limit:
    case Quantity::charger_current: return D::current;
    case Quantity::string_day_energy: return D::energy;
    case Quantity::controller_temperature: case Quantity::cell_temperature: case Quantity::air_temperature: case Quantity::cabin_temperature:
      return D::temperature;
    case Quantity::soc: return D::ratio;
    case Quantity::irradiance: return D::irradiance;
    case Quantity::snow_depth: return D::length;
    case Quantity::wind: case Quantity::speed: return D::speed;
    case Quantity::latitude: case Quantity::longitude: case Quantity::heading: case Quantity::pitch: case Quantity::roll: return D::angle;
    case Quantity::stage: case Quantity::controller_error: case Quantity::charge_allowed: case Quantity::bank_heater_on:
    case Quantity::charger_on: case Quantity::heater_on: return D::none;
  }
  return D::none;
}

bool is_flag(Quantity q) {
  return q == Quantity::charge_allowed || q == Quantity::bank_heater_on || q == Quantity::charger_on || q == Quantity::heater_on;
}

double channel_scale(Quantity q) { return q == Quantity::snow_depth ? 100.0 : 1.0; }

}  // namespace fw
