#pragma once
// What is on the wire for chargers and heaters. A yes is never retained and goes at QoS 0 with an expiry; a no is
// retained at QoS 1, so that nobody who connects late finds a yes. Pure functions.
#include <optional>
#include <string>
#include <vector>

#include "records/effect.h"
#include "rig/rig.h"
#include "units/time.h"

namespace fw::guard {

std::string permit_topic(const rig::Rig& rig, const rig::Charger& c);  ///< firnwatt/<rig>/chargers/<name>/permit

/// The permit message for people and programs, and what the charger itself obeys (limit first, then on).
std::vector<Publish> yes_for(const rig::Rig& rig, const rig::Charger& c, double limit_a, const std::string& reason,
                             Span valid_for, Utc valid_until);

/// The permit message and, where the charger has a limit topic, limit 0.
std::vector<Publish> no_for(const rig::Rig& rig, const rig::Charger& c, const std::string& reason);

/// The charger's own off. None when it has none or must never be cut.
std::optional<Publish> off_for(const rig::Charger& c);

/// What the broker says in our place when we are gone: the off on the very topic the charger obeys, else its
/// limit 0, else a permit of no. To be set as the will of the connection named after the charger.
Publish will_for(const rig::Rig& rig, const rig::Charger& c);

Publish heat_on_for(const rig::Heater& h, Span valid_for);
Publish heat_off_for(const rig::Heater& h);   ///< also the will of the connection named after the heater

/// One sentence on how, and whether, this charger can be stopped.
std::string can_be_stopped(const rig::Charger& c);
/// False: neither limit, off nor permit is meant to reach it.
bool may_obey(const rig::Charger& c);

}  // namespace fw::guard
