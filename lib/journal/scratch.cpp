#include "journal/scratch.h"

#include <cstdlib>
#include <filesystem>

namespace fw::journal {

namespace fs = std::filesystem;

std::optional<Scratch> Scratch::make() {
  std::error_code wrong;
  const fs::path below = fs::temp_directory_path(wrong);
  if (wrong) return std::nullopt;
  std::string path = (below / "firnwatt-XXXXXX").string();
  if (!::mkdtemp(path.data())) return std::nullopt;
  return Scratch(path);
}

Scratch::~Scratch() {
  std::error_code none;
  if (!path_.empty()) fs::remove_all(path_, none);
}

bool Scratch::take(const std::string& journal, const std::string& name, std::string& why) const {
  for (const char* part : {"", "-wal"}) {
    std::error_code wrong;
    if (*part && !fs::exists(journal + part, wrong)) continue;
    const std::string to = *this / name + part;
    fs::copy_file(journal + part, to, wrong);
    // a file of a read-only medium stays read-only in the copy
    if (!wrong) fs::permissions(to, fs::perms::owner_read | fs::perms::owner_write, wrong);
    if (wrong) {
      why = wrong.message();
      return false;
    }
  }
  return true;
}

}  // namespace fw::journal
