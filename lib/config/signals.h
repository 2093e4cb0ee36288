#pragma once
// What a rule can look at: every signal of a described rig by its name.
#include <map>
#include <string>

#include "rig/rig.h"
#include "units/unit_table.h"

namespace fw::config {

struct SignalInfo {
  enum class Kind { number, flag, stage };
  rig::Signal signal;
  Kind kind = Kind::number;
  Dimension dimension = Dimension::none;
  double scale = 1;          ///< from the dimension's canonical unit to the signal's own (cm, hours)
  bool fed = false;          ///< something delivers it
};

/// "strings.fore.power", "strings.fore.controller.stage", "bank.soc", "bank.cell_min", "bank.cell_temperatures.front",
/// "chargers.shore.current", "heaters.pad.on", "site.air_temperature", "loads.power", ...
std::map<std::string, SignalInfo> signals_of(const rig::Rig& rig);

/// True when the string's power is measured or follows from what is (array or bank side).
bool power_known(const rig::Rig& rig, int string);

}  // namespace fw::config
