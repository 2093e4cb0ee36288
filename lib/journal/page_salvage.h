#pragma once
// Saves rows of a journal that SQLite itself can no longer read, page by page.
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "journal/database.h"
#include "journal/names.h"
#include "journal/pages.h"

namespace fw::journal {

class PageSalvage {
 public:
  /// names: by number, those known of the file; its own come first.
  PageSalvage(const std::string& path, const Names& names) : pages_(path), known_names_(names.all()) {}

  /// Outbox, alarms, commands, notes, snapshots, sums by day and the names: one pass over the file, now.
  void essentials(Database& into, Names& names);
  /// A piece of the rest: first what has aged, then the minutes that have not. False when all is done.
  bool step(Database& into, Names& names);

  std::int64_t saved() const { return saved_; }
  /// Of these, minute samples.
  std::int64_t samples() const { return samples_; }

 private:
  struct Table {
    std::string name, insert;
    bool numbered = false;               ///< has a row number, which is its first column
    std::vector<char> shape;             ///< a letter a column: i integer, r real, t text; capital: may be missing
    int minutes = -1, string = -1, reason = -1;  ///< columns, where there are such
  };
  enum class Pass { essentials, aged, minutes, done };

  void learn_tables(Database& into);
  const Table* table_of(const PageRow& row) const;
  bool insert(Database& into, Names& names, const Table& t, PageRow& row);
  bool stale(const Table& t, const PageRow& row) const;
  void sum_days(Database& into);
  void learn_aged(Database& into);
  void page(Database& into, Names& names, Pass pass);

  Pages pages_;
  std::vector<Table> tables_;
  std::map<int, std::string> known_names_;
  std::map<std::int64_t, std::string> old_names_;
  struct Aged {
    std::int64_t seq = 0, minute = 0, date = 0;
  };
  std::map<std::int64_t, Aged> aged_;    ///< the last row that has aged, by string; the bank is -1
  Pass pass_ = Pass::aged;
  std::size_t at_ = 0;
  std::int64_t saved_ = 0, samples_ = 0;
};

}  // namespace fw::journal
