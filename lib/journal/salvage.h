#pragma once
// Saves what can be read of a damaged journal into a new one: what matters for going on at once, the
// rest in pieces.
#include <algorithm>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "journal/page_salvage.h"
#include "journal/store.h"

namespace fw::journal {

class Salvage {
 public:
  /// The damaged file, already set aside. Reads its names and last sequences, as far as they can be read.
  Salvage(const std::string& damaged_path, Names& names, Store& into);

  /// Outbox, alarms, commands, notes, snapshots: all of it, now. Snapshots known already are kept.
  void essentials(Database& into, Names& names);
  /// One piece of the rest. False when all is done.
  bool step(Database& into, Names& names);

  std::int64_t saved() const { return saved_ + (pages_ ? pages_->saved() : 0); }
  /// Rows missing between the first and the last one found, by their numbers.
  std::int64_t lost() const { return std::max<std::int64_t>(0, lost_ - (pages_ ? pages_->samples() : 0)); }

 private:
  struct Table {
    std::string name;
    std::int64_t next = 0;   ///< seq to go on from
    std::int64_t last = 0;   ///< beyond it there is nothing
    bool dense = false;      ///< numbers follow without holes
  };
  /// Copies up to `limit` rows. False when the table is done.
  bool copy(Table& t, Database& into, int limit);
  bool jump(Table& t);
  void copy_whole(const std::string& table, Database& into);
  std::string shared_columns(const std::string& table, Database& into, int& count);
  std::int64_t last_seq(const std::string& table);

  Database from_;
  std::optional<PageSalvage> pages_;  ///< where SQLite cannot read all of it
  std::vector<Table> waiting_;
  std::int64_t saved_ = 0, lost_ = 0;
};

}  // namespace fw::journal
