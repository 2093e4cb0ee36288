#pragma once
// Bytes this process has had written to a disk so far, as the kernel counts them; 0 where it does not say.
#include <fstream>
#include <string>

namespace fw::bench {

inline long long write_bytes() {
  std::ifstream io("/proc/self/io");
  std::string key;
  long long value = 0;
  while (io >> key >> value)
    if (key == "write_bytes:") return value;
  return 0;
}

}  // namespace fw::bench
