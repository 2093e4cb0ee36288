#pragma once
// An open journal file that may be written: tables, sequences, one transaction at a time.
#include <map>
#include <string>
#include <vector>

#include "journal/database.h"
#include "journal/names.h"
#include "journal/pending.h"

namespace fw::journal {

class Store {
 public:
  /// Opens or creates the file, takes it to the present schema, reads names and sequences. What the
  /// file held is merged into `names`; ids given before are renumbered in `pending`.
  enum class Opened { ready, newer, foreign, damaged, failed };
  Opened open(const std::string& path, bool bulk, Names& names, Pending& pending);
  void close() { db.close(); }

  enum class What { urgent, all };
  /// One transaction; false: nothing of it is in the file and db.trouble() says why.
  bool put(const Pending& pending, Names& names, What what, const std::string& zone);

  /// Writes next to nothing, to learn whether a card takes writes again before a long transaction.
  bool can_write();

  std::map<std::string, std::string> snapshots();
  std::vector<NoticeRow> open_notices();

  Database db;
  std::map<std::string, std::int64_t> next_seq;   ///< by table; grows over a change of file
  std::map<std::string, std::int64_t> run_start;  ///< first seq of this run

 private:
  bool put_rows(const Pending& pending, const Names& names, What what, const std::string& zone);
  bool put_row(const Row& row, const Names& names);
  bool redate(const ClockRow& clock, const std::string& zone);
  std::int64_t seq(const std::string& table) { return next_seq[table]++; }
};

/// Reading a notice row: "SELECT notice_columns FROM notice ..."
inline constexpr const char* notice_columns = "utc,trusted,id,priority,alarm,subject,text,state,state_utc,detail";
NoticeRow notice_row(const Statement& s);

}  // namespace fw::journal
