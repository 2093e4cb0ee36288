#include "rig/checks.h"

#include <algorithm>

#include "units/text.h"

namespace fw::rig {

Range physical_range(Quantity q) {
  switch (q) {
    case Quantity::string_power: case Quantity::output_power: return {-1000, 1e6};
    case Quantity::load_power: return {-1e5, 1e6};
    case Quantity::bank_heater_power: return {-100, 1e5};
    case Quantity::string_voltage: return {-10, 1500};
    case Quantity::output_voltage: case Quantity::bank_voltage: return {-5, 1500};
    case Quantity::string_current: case Quantity::output_current: case Quantity::charger_current: return {-2000, 5000};
    case Quantity::charger_limit: return {0, 5000};
    case Quantity::bank_current: return {-5000, 5000};
    case Quantity::string_day_energy: return {0, 1e5};
    case Quantity::controller_temperature: return {-90, 200};
    case Quantity::cell_temperature: case Quantity::air_temperature: case Quantity::cabin_temperature: return {-90, 120};
    case Quantity::soc: return {-0.05, 1.10};
    case Quantity::irradiance: return {-50, 2000};
    case Quantity::snow_depth: return {-5, 1500};
    case Quantity::wind: return {0, 120};
    case Quantity::speed: return {-20, 120};
    case Quantity::latitude: case Quantity::pitch: return {-90, 90};
    case Quantity::longitude: case Quantity::roll: return {-180, 180};
    case Quantity::heading: return {-180, 360};
    case Quantity::stage: return {0, 5};
    case Quantity::charge_allowed: case Quantity::bank_heater_on: case Quantity::charger_on: case Quantity::heater_on: return {0, 1};
    case Quantity::controller_error: return {-1e9, 1e9};
  }
  return {0, 0};
}

Range physical_range(const Rig& rig, Channel c) {
  Range r = physical_range(c.quantity);
  const auto i = static_cast<std::size_t>(c.thing);
  if (c.thing < 0 || i >= rig.strings.size()) return r;
  const PvString& s = rig.strings[i];
  // Light up to 1.5 suns at the edges of clouds, and cold cells that give a fifth more: common practice, no source.
  if ((c.quantity == Quantity::string_power || c.quantity == Quantity::output_power) && s.rated_w() > 0) r.to = std::min(r.to, 2.5 * s.rated_w());
  if (c.quantity == Quantity::string_voltage && s.module.v_oc_v > 0) r.to = std::min(r.to, 2 * s.module.v_oc_v * s.series);
  if (c.quantity == Quantity::string_current && s.module.v_mp_v > 0)
    r.to = std::min(r.to, 2.5 * s.module.stc_w / s.module.v_mp_v * s.parallel);
  return r;
}

bool is_name(std::string_view text) {
  if (text.empty() || text.size() > 40) return false;
  for (const char c : text)
    if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' || c == '_')) return false;
  return true;
}

namespace {

bool sendable(std::string_view text) {
  if (text.empty() || text.size() > 65535 || !is_utf8(text)) return false;
  for (const char c : text)
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) return false;
  return true;
}

}  // namespace

bool is_topic(std::string_view text) { return sendable(text) && text.find_first_of("+#") == std::string_view::npos; }

bool is_topic_filter(std::string_view text) {
  if (!sendable(text)) return false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '+' && text[i] != '#') continue;
    const bool starts = i == 0 || text[i - 1] == '/';
    const bool ends = i + 1 == text.size() || (text[i] == '+' && text[i + 1] == '/');
    if (!starts || !ends) return false;
  }
  return true;
}

bool is_pointer(std::string_view text) {
  if (text.empty()) return true;
  if (text.front() != '/') return false;
  for (std::size_t i = 0; i < text.size(); ++i)
    if (text[i] == '~' && (i + 1 == text.size() || (text[i + 1] != '0' && text[i + 1] != '1'))) return false;
  return true;
}

}  // namespace fw::rig
