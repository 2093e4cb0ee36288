#pragma once
// What can be measured on a rig: a quantity of one thing. Values inside firnwatt are SI
// (W, V, A, degC, fraction, m/s, W/m2) with depths of snow in cm and energies in kWh.
#include <compare>
#include <optional>
#include <string_view>

#include "units/time.h"

namespace fw {

enum class Quantity {
  // of a string (thing = index of the string)
  string_power, string_voltage, string_current, string_day_energy,
  // of the string's controller (thing = index of the string)
  stage, output_voltage, output_current, output_power, controller_temperature, controller_error,
  // of the bank (thing = index of the cell sensor for cell_temperature, else 0)
  bank_voltage, bank_current, soc, cell_temperature, charge_allowed, bank_heater_on, bank_heater_power,
  // of a charger: what it says of itself (thing = index of the charger)
  charger_on, charger_limit, charger_current,
  // of a heater (thing = index of the heater)
  heater_on,
  // of the site (thing = 0)
  air_temperature, cabin_temperature, irradiance, snow_depth, wind, latitude, longitude, heading, pitch, roll, speed,
  // of the loads (thing = 0)
  load_power,
};
inline constexpr int quantity_count = static_cast<int>(Quantity::load_power) + 1;

enum class Stage { off, bulk, absorption, floating, equalize, inhibited };

/// "off", "bulk", "absorption", "float", "equalize", "inhibited".
std::string_view name(Stage s);
std::optional<Stage> stage_in(std::string_view text);
/// Config spelling: "power", "voltage", "cell_temperature", ...
std::string_view name(Quantity q);

struct Channel {
  Quantity quantity{};
  int thing = 0;
  friend auto operator<=>(const Channel&, const Channel&) = default;
};

/// Why a reading carries no value.
enum class Gone { none, null, not_a_number, missing_field, out_of_range, sentinel, unknown_word, too_old };
std::string_view name(Gone g);

/// One channel's value as it arrived, or the reason for none. Flags are 0 or 1; a stage is its
/// enum number; everything else in SI. A retained reading is last known, never fresh.
struct Reading {
  Channel channel;
  Elapsed at{};                    ///< arrival
  std::optional<Utc> stamped;      ///< the sender's own time, when it gives one
  std::optional<double> value;
  Gone gone = Gone::none;
  bool retained = false;
  Span late{};                     ///< how much older than this sender's usual the value was on arrival, by its own stamp
};

}  // namespace fw
