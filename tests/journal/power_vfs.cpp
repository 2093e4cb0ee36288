#include "journal/power_vfs.h"

#include <sqlite3.h>

#include <cstring>
#include <fstream>
#include <map>
#include <mutex>
#include <optional>
#include <random>
#include <vector>

namespace fw::testing {

namespace {

struct Write {
  std::int64_t at = 0;
  std::vector<char> bytes;
  bool truncate = false;  // to `at`
};

struct OnCard {
  std::vector<char> synced;
  std::vector<Write> since;
};

struct Card {
  std::mutex lock;  // the journal's checking thread reads through the same VFS
  std::map<std::string, OnCard> files;
  bool full = false, read_only = false;

  int until_cut = 0;
  std::string cut_from, cut_to;
  std::uint32_t cut_seed = 0;
  std::optional<std::size_t> cut_unsynced;
  void tick() {
    if (until_cut > 0 && --until_cut == 0) cut();
  }
  void cut();
};
Card* card = nullptr;
sqlite3_vfs* real_vfs = nullptr;
sqlite3_vfs vfs;
sqlite3_io_methods methods;

struct File {
  sqlite3_file base;
  char* name;  // null: not watched
  sqlite3_file* real() { return reinterpret_cast<sqlite3_file*>(this + 1); }
};
File* of(sqlite3_file* f) { return reinterpret_cast<File*>(f); }
const sqlite3_io_methods* io(sqlite3_file* f) { return of(f)->real()->pMethods; }

void redo(std::vector<char>& content, const Write& w) {
  if (w.truncate) {
    content.resize(static_cast<std::size_t>(w.at));
    return;
  }
  const auto end = static_cast<std::size_t>(w.at) + w.bytes.size();
  if (content.size() < end) content.resize(end, 0);
  std::copy(w.bytes.begin(), w.bytes.end(), content.begin() + w.at);
}

void Card::cut() {
  std::mt19937 random(cut_seed);
  cut_unsynced = 0;
  for (const char* part : {"", "-wal"}) {
    const auto it = files.find(cut_from + part);
    if (it == files.end()) continue;
    std::vector<char> content = it->second.synced;
    for (Write w : it->second.since) {
      *cut_unsynced += w.bytes.size();
      const auto fate = random() % 4;
      if (fate == 0) continue;
      if (fate == 1 && !w.truncate && w.bytes.size() > 512) {
        // Torn: some sectors made it, from the front or the back.
        const std::size_t keep = 512 * (1 + random() % (w.bytes.size() / 512));
        if (random() % 2) w.bytes.resize(std::min(keep, w.bytes.size()));
        else if (keep < w.bytes.size()) {
          w.at += static_cast<std::int64_t>(keep);
          w.bytes.erase(w.bytes.begin(), w.bytes.begin() + static_cast<std::ptrdiff_t>(keep));
        }
      }
      redo(content, w);
    }
    std::ofstream(cut_to + part, std::ios::binary).write(content.data(), static_cast<std::streamsize>(content.size()));
  }
}

int file_close(sqlite3_file* f) {
  const int code = io(f)->xClose(of(f)->real());
  delete[] of(f)->name;
  return code;
}
int file_read(sqlite3_file* f, void* to, int n, sqlite3_int64 at) { return io(f)->xRead(of(f)->real(), to, n, at); }
int file_write(sqlite3_file* f, const void* from, int n, sqlite3_int64 at) {
  {
    const std::lock_guard hold(card->lock);
    if (card->read_only) return SQLITE_READONLY;
    if (card->full) return SQLITE_FULL;
    if (of(f)->name) {
      card->tick();
      const char* p = static_cast<const char*>(from);
      card->files[of(f)->name].since.push_back({at, {p, p + n}, false});
    }
  }
  return io(f)->xWrite(of(f)->real(), from, n, at);
}
int file_truncate(sqlite3_file* f, sqlite3_int64 size) {
  {
    const std::lock_guard hold(card->lock);
    if (of(f)->name) card->files[of(f)->name].since.push_back({size, {}, true});
  }
  return io(f)->xTruncate(of(f)->real(), size);
}
int file_sync(sqlite3_file* f, int flags) {
  if (of(f)->name) {
    const std::lock_guard hold(card->lock);
    card->tick();
  }
  const int code = io(f)->xSync(of(f)->real(), flags);
  const std::lock_guard hold(card->lock);
  if (code == SQLITE_OK && of(f)->name) {
    OnCard& c = card->files[of(f)->name];
    for (const Write& w : c.since) redo(c.synced, w);
    c.since.clear();
  }
  return code;
}
int file_size(sqlite3_file* f, sqlite3_int64* size) { return io(f)->xFileSize(of(f)->real(), size); }
int file_lock(sqlite3_file* f, int l) { return io(f)->xLock(of(f)->real(), l); }
int file_unlock(sqlite3_file* f, int l) { return io(f)->xUnlock(of(f)->real(), l); }
int file_check_lock(sqlite3_file* f, int* out) { return io(f)->xCheckReservedLock(of(f)->real(), out); }
int file_control(sqlite3_file* f, int op, void* arg) { return io(f)->xFileControl(of(f)->real(), op, arg); }
int file_sector(sqlite3_file* f) { return io(f)->xSectorSize(of(f)->real()); }
int file_traits(sqlite3_file* f) { return io(f)->xDeviceCharacteristics(of(f)->real()); }
int file_shm_map(sqlite3_file* f, int page, int size, int extend, void volatile** out) { return io(f)->xShmMap(of(f)->real(), page, size, extend, out); }
int file_shm_lock(sqlite3_file* f, int offset, int n, int flags) { return io(f)->xShmLock(of(f)->real(), offset, n, flags); }
void file_shm_barrier(sqlite3_file* f) { io(f)->xShmBarrier(of(f)->real()); }
int file_shm_unmap(sqlite3_file* f, int del) { return io(f)->xShmUnmap(of(f)->real(), del); }

int vfs_open(sqlite3_vfs*, const char* name, sqlite3_file* f, int flags, int* out_flags) {
  File* mine = of(f);
  mine->base.pMethods = nullptr;
  mine->name = nullptr;
  const int code = real_vfs->xOpen(real_vfs, name, mine->real(), flags, out_flags);
  if (mine->real()->pMethods) mine->base.pMethods = &methods;
  if (code == SQLITE_OK && name && (flags & (SQLITE_OPEN_MAIN_DB | SQLITE_OPEN_WAL)) && (flags & SQLITE_OPEN_READWRITE)) {
    mine->name = new char[std::strlen(name) + 1];
    std::strcpy(mine->name, name);
  }
  return code;
}
int vfs_delete(sqlite3_vfs*, const char* name, int sync_dir) {
  {
    const std::lock_guard hold(card->lock);
    card->files.erase(name);
  }
  return real_vfs->xDelete(real_vfs, name, sync_dir);
}

}  // namespace

PowerVfs::PowerVfs() {
  card = new Card;
  real_vfs = sqlite3_vfs_find(nullptr);
  vfs = *real_vfs;
  vfs.zName = "power";
  vfs.szOsFile = static_cast<int>(sizeof(File)) + real_vfs->szOsFile;
  vfs.pNext = nullptr;
  vfs.xOpen = vfs_open;
  vfs.xDelete = vfs_delete;
  methods = {2,           file_close,   file_read,       file_write,   file_truncate, file_sync,     file_size,        file_lock,      file_unlock,
             file_check_lock, file_control, file_sector, file_traits,  file_shm_map,  file_shm_lock, file_shm_barrier, file_shm_unmap, nullptr, nullptr};
  sqlite3_vfs_register(&vfs, 1);
}

PowerVfs::~PowerVfs() {
  sqlite3_vfs_register(real_vfs, 1);
  sqlite3_vfs_unregister(&vfs);
  delete card;
  card = nullptr;
}

void PowerVfs::card_full(bool full) {
  const std::lock_guard hold(card->lock);
  card->full = full;
}
void PowerVfs::card_read_only(bool read_only) {
  const std::lock_guard hold(card->lock);
  card->read_only = read_only;
}

void PowerVfs::cut_at(int n, const std::string& from, const std::string& to, std::uint32_t seed) {
  const std::lock_guard hold(card->lock);
  card->until_cut = n;
  card->cut_from = from;
  card->cut_to = to;
  card->cut_seed = seed;
  card->cut_unsynced.reset();
}

std::optional<std::size_t> PowerVfs::unsynced_at_cut() const {
  const std::lock_guard hold(card->lock);
  return card->cut_unsynced;
}

}  // namespace fw::testing
