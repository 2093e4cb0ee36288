#pragma once
// The rig as it was understood, in plain lines for `check`: what is there, what is missing for which
// ability, how each charger can be stopped. (Rules in sentences: alarms/rules.h.)
#include <string>
#include <vector>

#include "rig/rig.h"

namespace fw::config {

struct Ability {
  std::string name;                      ///< "snow and cloud told apart on front"
  bool available = false;
  std::string missing;                   ///< what it needs, when not available or only in part
};

/// Sections, each with a heading line and indented lines below it; no trailing blank.
std::vector<std::string> understood(const rig::Rig& rig);

std::vector<Ability> abilities(const rig::Rig& rig);
/// "solar-fore: can be stopped by ..., stays on if the board loses power"
std::vector<std::string> charger_lines(const rig::Rig& rig);

}  // namespace fw::config
