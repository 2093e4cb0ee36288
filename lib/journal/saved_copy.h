#pragma once
// What can be read of a damaged journal, as a new one: for who has the file and no daemon that would do it.
#include <cstdint>
#include <string>

#include "units/result.h"

namespace fw::journal {

struct SavedCopy {
  std::int64_t rows = 0;
  std::int64_t lost = 0;                     ///< samples missing in between
};

/// Reads `damaged`, makes `to`. A Fault: the new file cannot be written.
Result<SavedCopy> save_copy(const std::string& damaged, const std::string& to);

}  // namespace fw::journal
