// Any text as a config: a rig, or faults that each say where.
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "config/load.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto loaded = fw::config::load_text({reinterpret_cast<const char*>(data), size}, "fuzz.yaml");
  if (loaded.rig.has_value() == !loaded.faults.empty()) std::abort();
  for (const auto& f : loaded.faults)
    if (!f.where.starts_with("fuzz.yaml") || f.what.empty()) std::abort();
  return 0;
}
