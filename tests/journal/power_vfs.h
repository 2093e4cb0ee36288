#pragma once
// A SQLite VFS for tests: the real one underneath, with a card that can fill up or turn read-only, and
// a memory of which writes were synced, so that a power cut can be imitated: every write since the last
// sync of its file may be there, be gone, or be torn at a sector border.
#include <cstddef>
#include <cstdint>
#include <optional>
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

  /// Takes a picture at the n-th write or sync from now, before it is done: `from` and its log as they
  /// could lie on the card had the power gone then, written to `to`.
  void cut_at(int n, const std::string& from, const std::string& to, std::uint32_t seed);
  /// Once the picture is taken: the bytes that were written and not yet synced at that moment.
  std::optional<std::size_t> unsynced_at_cut() const;
};

}  // namespace fw::testing
