#include "journal/check.h"

namespace fw::journal {

void Check::start(const std::string& path) {
  stop();
  wanted_ = true;
  done_ = false;
  found_.clear();
  thread_ = std::thread([this, path] {
    Database db;
    if (db.open(path, Access::read)) {
      db.exec("PRAGMA cache_size=-256");
      db.keep_asking([](void* self) { return static_cast<Check*>(self)->wanted_.load(); }, this);
      const auto verdict = db.text("PRAGMA quick_check(1)");
      if (verdict && *verdict != "ok") found_ = *verdict;
      // Busy or unreadable for another reason says nothing of the file's structure.
      else if (!verdict && (db.trouble() == Trouble::damaged || db.trouble() == Trouble::not_sqlite)) found_ = db.message();
    } else if (db.trouble() == Trouble::damaged || db.trouble() == Trouble::not_sqlite) {
      found_ = db.message();
    }
    done_ = true;
  });
}

std::optional<std::string> Check::result() {
  if (!thread_.joinable() || !done_) return std::nullopt;
  thread_.join();
  return found_;
}

void Check::stop() {
  wanted_ = false;
  if (thread_.joinable()) thread_.join();
}

}  // namespace fw::journal
