#include "intake/plausible.h"

#include <algorithm>
#include <cmath>

#include "units/text.h"

namespace fw::intake {

namespace {

double from_fahrenheit(double v) { return (v - 32) * 5 / 9; }

/// Could something indoors or under a rig's floor be that warm? Between a little below the coldest and well above
/// the warmest thing around.
bool fits_around(double c, const Around& a) {
  if (!a.air_c && !a.cabin_c) return c >= -40 && c <= 45;
  const double low = std::min(a.air_c.value_or(*(a.cabin_c ? a.cabin_c : a.air_c)), a.cabin_c.value_or(*(a.air_c ? a.air_c : a.cabin_c)));
  const double high = std::max(a.air_c.value_or(low), a.cabin_c.value_or(low));
  return c >= low - 5 && c <= std::max(high + 12, low + 35);
}

std::optional<std::string_view> temperature(Quantity q, double v, const Around& a) {
  if (v > 200 && v < 340 && fits_around(v - 273.15, a)) return "K";
  if (v > 2000 && v < 3400 && fits_around(v / 10 - 273.15, a)) return "dK";
  if (q == Quantity::air_temperature) {
    // Air alone has no neighbour to be measured by; only heat no weather has can be told.
    if (v > 55 && v < 125) return "degF";
    return std::nullopt;
  }
  const bool cell = q == Quantity::cell_temperature;
  const double warmest_around = std::max(a.air_c.value_or(-100), a.cabin_c.value_or(-100));
  const bool known = a.air_c || a.cabin_c;
  // A bank that rests is about as warm as what is around it; 12 K more have to come from somewhere.
  const bool too_warm = known ? v > warmest_around + (cell ? (a.warmed ? 40 : a.cabin_c ? 15 : 25) : 40) : v > 65;
  if (too_warm && v <= 140 && fits_around(from_fahrenheit(v), a)) return "degF";
  if (std::fabs(v) > 100 && std::fabs(v) < 600 && fits_around(v / 10, a)) return "ddegC";
  return std::nullopt;
}

std::optional<std::string_view> bank_volts(double v, const Around& a) {
  const double nominal = a.bank_nominal_v.value_or(0);
  if (nominal <= 0) return v > 2000 && v < 70000 ? std::optional<std::string_view>{"mV"} : std::nullopt;
  const auto near = [&](double volts) { return volts > 0.7 * nominal && volts < 1.25 * nominal; };
  if (v > 2 * nominal) {
    if (near(v / 1000)) return "mV";
    if (near(v / 100)) return "cV";
    if (near(v / 10)) return "dV";
  }
  return std::nullopt;
}

std::optional<std::string_view> bank_amps(double v, const Around& a) {
  const double capacity = a.bank_capacity_ah.value_or(0);
  const double amps = std::fabs(v);
  // What the state of charge says, where it moves: at least a third of the current must show in it.
  if (capacity > 0 && a.soc_per_h) {
    const double seen = std::fabs(*a.soc_per_h) * capacity;
    if (amps > 30 * std::max(seen, 0.005 * capacity) && amps / 1000 < 3 * std::max(seen, 0.005 * capacity)) return "mA";
  }
  if (capacity > 0 && amps > 5 * capacity) return "mA";
  if (capacity <= 0 && amps > 3000) return "mA";
  return std::nullopt;
}

}  // namespace

std::optional<std::string_view> looks_like(Quantity q, double v, const Around& a) {
  if (!std::isfinite(v)) return std::nullopt;
  for (const double filler : {32767.0, 32768.0, 65535.0})  // "no value" of 16-bit senders, in any unit
    if (std::fabs(v) == filler || std::fabs(v) * 10 == filler || std::fabs(v) * 100 == filler) return std::nullopt;
  switch (q) {
    case Quantity::cell_temperature: case Quantity::cabin_temperature: case Quantity::air_temperature: return temperature(q, v, a);
    case Quantity::bank_voltage: case Quantity::output_voltage: return bank_volts(v, a);
    case Quantity::bank_current: return bank_amps(v, a);
    case Quantity::soc: return v > 1.5 && v <= 105 ? std::optional<std::string_view>{"%"} : std::nullopt;
    case Quantity::string_voltage: return v > 2000 && v < 1.5e6 ? std::optional<std::string_view>{"mV"} : std::nullopt;
    case Quantity::string_power: case Quantity::load_power: return v > 50000 ? std::optional<std::string_view>{"mW"} : std::nullopt;
    default: return std::nullopt;
  }
}

std::string looks_like_text(Quantity q, double value, std::string_view unit) {
  const auto plain = [](std::string_view u) -> std::string {
    if (u == "degF") return "°F";
    if (u == "ddegC") return "tenths of °C";
    if (u == "dK") return "tenths of K";
    if (u == "cV" ) return "hundredths of V";
    if (u == "dV") return "tenths of V";
    return std::string{u};
  };
  std::string what{name(q)};
  std::replace(what.begin(), what.end(), '_', ' ');
  const char* own = q == Quantity::cell_temperature || q == Quantity::cabin_temperature || q == Quantity::air_temperature ? "°C"
                    : q == Quantity::bank_voltage || q == Quantity::output_voltage || q == Quantity::string_voltage      ? "V"
                    : q == Quantity::bank_current                                                                       ? "A"
                    : q == Quantity::soc                                                                                ? "a fraction"
                                                                                                                        : "W";
  return what + " " + significant(value) + " looks like " + plain(unit) + ", not " + own;
}

}  // namespace fw::intake
