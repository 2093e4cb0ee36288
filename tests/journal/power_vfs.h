#pragma once
// A SQLite VFS for tests: the real one underneath, with a card that can fill up or turn read-only, and
// a memory of which writes were synced, so that a power cut can be imitated: every write since the last
// sync of its file may be there, be gone, or be torn at a sector border.
#include <cstdint>
#include <string>

namespace fw::testing {

class PowerVfs {
 public:
  /// Becomes SQLite's default VFS until destroyed. One at a time.
  PowerVfs();
  ~PowerVfs();
  PowerVfs(const PowerVfs&) = delete;
  PowerVfs& operator=(const PowerVfs&) = delete;

  void card_full(bool full);
  void card_read_only(bool read_only);

  /// The files as they could lie on the card after a cut at this moment: `from` and its log, written to `to`.
  void cut(const std::string& from, const std::string& to, std::uint32_t seed) const;
  /// Bytes written and not yet synced.
  std::size_t unsynced() const;
};

}  // namespace fw::testing
