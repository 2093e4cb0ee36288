#include "rig/alarm_limits.h"

#include <algorithm>
#include <stdexcept>
#include <string>

namespace fw::rig {

std::optional<double> default_alarm_limit(std::string_view alarm, const Rig& rig) {
  if (alarm == "soiling") return 0.08;       // the method's own noise; estimate
  if (alarm == "over_voltage") return 0.97;  // common practice, no source
  if (alarm == "charging_unpermitted") return std::max(1.0, 0.005 * rig.bank.capacity_ah);
  if (alarm == "bank_low") return rig.bank.reserve_soc;
  if (alarm == "reserve_ahead") return 48;
  if (alarm == "surplus") return 0.5;
  if (alarm == "cabin_cold") return 4;
  return {};
}

double alarm_limit(std::string_view alarm, const Rig& rig) {
  const auto own = rig.alarms.find(alarm);
  if (own != rig.alarms.end() && own->second.limit) return *own->second.limit;
  if (const auto limit = default_alarm_limit(alarm, rig)) return *limit;
  throw std::logic_error("no limit to " + std::string(alarm));
}

}  // namespace fw::rig
