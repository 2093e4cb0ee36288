#pragma once
// YAML text into a described rig. Every mistake is found in one go, each as
//   file:line:column: path: what is wrong and what would be right
// Quantities carry their unit in the text ("1600 W", "41 degF", "10 min"). The format is described,
// key by key, in config/example.yaml.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/rig.h"
#include "units/result.h"

namespace fw::config {

struct Loaded {
  std::optional<rig::Rig> rig;           ///< set when there is no fault
  std::vector<Fault> faults;             ///< in the order of the file; where = file:line:column
  std::vector<Fault> warnings;           ///< usable, yet worth a look
};

/// Reads a file. One that cannot be opened, is not UTF-8 or is larger than 1 MiB is one fault.
Loaded load_file(const std::string& path);

/// Reads from memory; name stands in the messages.
Loaded load_text(std::string_view text, const std::string& name);

}  // namespace fw::config
