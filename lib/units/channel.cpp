#include "units/channel.h"

#include <array>

namespace fw {

namespace {
constexpr std::array<std::string_view, 6> stage_names{"off", "bulk", "absorption", "float", "equalize", "inhibited"};
constexpr std::array<std::string_view, quantity_count> quantity_names{
    "power", "voltage", "current", "day_energy",
    "stage", "output_voltage", "output_current", "output_power", "temperature", "error",
    "voltage", "current", "soc", "cell_temperature", "charge_allowed", "heater_on", "heater_power",
    "on", "limit", "current", "on",
    "air_temperature", "cabin_temperature", "irradiance", "snow_depth", "wind", "latitude", "longitude", "heading", "pitch", "roll", "speed",
    "load_power"};
constexpr std::array<std::string_view, 8> gone_names{"none", "null", "not a number", "field missing", "out of range", "value to ignore", "unknown word", "too old"};
}  // namespace

std::string_view name(Stage s) { return stage_names[static_cast<std::size_t>(s)]; }

std::optional<Stage> stage_in(std::string_view text) {
  for (std::size_t i = 0; i < stage_names.size(); ++i)
    if (stage_names[i] == text) return static_cast<Stage>(i);
  return std::nullopt;
}

std::string_view name(Quantity q) { return quantity_names[static_cast<std::size_t>(q)]; }
std::string_view name(Gone g) { return gone_names[static_cast<std::size_t>(g)]; }

}  // namespace fw
