#include "alarms/builtin.h"

#include <array>

#include "alarms/notice.h"

namespace fw::alarms {
namespace {

using enum rig::Priority;

constexpr BuiltIn table[] = {
    {"snow", "snow", high, 10min, 5min, 60min, "", false,
     "snow or ice on the glass", "the day's sun is lost", "clear loose snow, or wait for the day that is worth it", "hours"},
    {"soiling", "film on the glass", low, 10min, 60min, 60min, "loss, fraction", false,
     "dust, pollen or salt film", "a few per cent of every day", "clean the glass, or wait for rain", "weeks"},
    {"shade", "shade", low, 10min, 60min, 60min, "", false,
     "a leaf, a mast, a tree, something lying on one panel", "part of a string is lost", "look at the panels, move the rig or the thing", "days"},
    {"outage", "dead string", high, 15min, 10min, 15min, "", false,
     "plug, switch, breaker, wiring or controller", "the string makes nothing until mended", "have it looked at by someone qualified", "days"},
    {"stale", "silent telemetry", low, 20min, 5min, 15min, "", false,
     "gateway, radio or sensor stopped", "the string is not watched", "look at the gateway and its power", "a day"},
    {"controller", "controller fault", high, 5min, 10min, 15min, "", false,
     "the controller reports a fault or runs too hot", "charging may stop", "read the controller's own display", "a day"},
    {"over_voltage", "cold string voltage", high, 0min, 60min, 60min, "share of the controller's maximum voltage", false,
     "cold cells raise the open-circuit voltage", "the controller can be destroyed", "do not reconnect in the cold; have the wiring checked", "before the next cold morning"},
    {"bank_cold_ahead", "cells getting cold", high, 10min, 60min, 60min, "", true,
     "cells cooling toward the charge limit", "no charging in the morning", "heat the bank in time", "hours"},
    {"bank_cold", "cells too cold to charge", low, 0min, 10min, 15min, "", false,
     "cells at or below the charge limit", "charging is held off and sun is lost", "heat the bank, or wait for a milder hour", "hours"},
    {"bank_hot", "cells too warm to charge", high, 0min, 10min, 15min, "", false,
     "cells at or above the upper charge limit", "charging is held off", "air the bank", "hours"},
    {"bank_sensor", "battery sensor silent", high, 0min, 5min, 15min, "", false,
     "no believable cell temperature", "charging is held off until it is back", "look at the sensor and its gateway", "hours"},
    {"charging_unpermitted", "charging without permit", urgent, 0min, 1min, 5min, "A", false,
     "a charger does not obey, or cannot be stopped", "cold cells are damaged for good", "switch that charger off at its breaker if it is safe", "minutes"},
    {"command_unconfirmed", "charger does not answer", high, 0min, 1min, 5min, "", false,
     "a charger did not confirm a command", "it may charge when it must not", "look at the charger", "an hour"},
    {"heater", "battery heater", high, 5min, 10min, 15min, "", false,
     "the heater does not warm the cells or does not switch", "cells stay too cold, or energy is wasted", "look at the heater and its switch", "hours"},
    {"bank_low", "low bank", high, 5min, 30min, 15min, "state of charge, fraction", false,
     "more used than made", "the reserve is touched", "switch loads off, or charge from another source", "hours"},
    {"bank_gone", "bank off or empty", urgent, 1min, 5min, 5min, "", false,
     "the battery switched itself off, or is empty", "everything goes dark", "take all loads off and charge", "minutes"},
    {"reserve_ahead", "reserve in sight", high, 10min, 60min, 60min, "hours", true,
     "more used than will come in", "the reserve will be reached", "save now, or plan another source", "hours to days"},
    {"surplus", "energy to spare", low, 10min, 60min, 60min, "kWh", true,
     "the bank fills while the sun goes on", "energy is lost unused", "use it while it is there", "hours"},
    {"cabin_cold", "cold cabin", high, 10min, 30min, 15min, "degC", false,
     "heating off or failed", "water pipes may freeze", "look at the heating", "hours"},
    {"clock", "wrong clock", low, 0min, 5min, 15min, "", false,
     "the board's clock is not set", "times and sun sums are off", "give the board network time or a clock module", "days"},
    {"journal", "journal", high, 0min, 10min, 15min, "", false,
     "card full, worn out or read-only", "nothing is remembered", "free or replace the card", "days"},
    {"link", "phone out of reach", low, 30min, 5min, 15min, "", false,
     "no uplink", "nobody hears of trouble", "nothing to do from here", "days"},
    {"client_id", "second client with our name", high, 0min, 30min, 30min, "", false,
     "another client connects with the same client id", "both lose their connection again and again", "give one of them another client id", "a day"},
};

}  // namespace

std::span<const BuiltIn> built_in_alarms() { return table; }

const BuiltIn* built_in(std::string_view wanted) {
  for (const auto& b : table)
    if (b.name == wanted) return &b;
  return nullptr;
}

std::string said(const Notice& n) { return (n.again ? "Still so. " : "") + n.text; }

std::string_view name(rig::Priority p) {
  switch (p) {
    case low: return "low";
    case high: return "high";
    case urgent: return "urgent";
  }
  return "";
}

}  // namespace fw::alarms
