#pragma once
// The rig's memory on a card that may lose power, fill up or break: samples in batches, everything
// that must not be lost at once. Trouble with the file never stops the caller: rows wait in bounded
// memory and writing resumes by itself.
//
//   auto journal = journal::Journal::open("/var/lib/firnwatt/demo.journal", {});
//   journal->get()->write(rows, now);       // once a turn
//   journal->get()->maintain(now);          // every few seconds
#include <cstddef>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "records/rows.h"
#include "units/result.h"
#include "units/time.h"

namespace fw::journal {

struct Options {
  Span batch = minutes{15};             ///< how long samples may wait in memory
  int keep_minutes_days = 60;           ///< then five-minute rows, and sums by day for good
  std::size_t max_bytes = 200u << 20;   ///< of file and log together
  std::uintmax_t spare_card_bytes = 16u << 20;  ///< free on the card: below it minutes become five-minute rows before their time
  bool bulk = false;                    ///< replay: everything waits for the batch, snapshots for a day or flush(); nothing is forced to the disk
};

/// Not thread safe: one thread owns it. It runs one helper thread of its own that only reads the file
/// to find damage.
class Journal {
 public:
  /// Opens or creates. A Fault means somebody must act: the folder is missing, the file is another
  /// program's, or a newer firnwatt made it. A full or read-only card and a damaged file are no Fault:
  /// trouble() tells, a damaged file is set aside as `<path>.damaged-<utc>` and a new one begun.
  static Result<std::unique_ptr<Journal>> open(const std::string& path, const Options& options, Now now = {});
  ~Journal();
  Journal(const Journal&) = delete;
  Journal& operator=(const Journal&) = delete;

  /// One transaction. StringRow, BankRow and VerdictChangeRow wait for the batch, a turn of nothing but
  /// SnapshotRows for at most an hour; anything else is on the disk, with the turn's snapshots, when this returns ok.
  /// A Fault: the rows are kept in memory and tried again; the caller goes on (and sends its notices).
  Result<void> write(std::vector<Row> rows, Now now);

  /// Writes what waits. Call it before the journal is destroyed: destruction writes nothing.
  Result<void> flush(Now now);

  /// Batches that are due, retries, damage check, salvage, ageing of rows, size limit. Each call does a
  /// bounded piece; cheap when nothing is due. Call every few seconds.
  void maintain(Now now);

  /// What is wrong now, in words for the owner; nothing when all is well.
  std::optional<std::string> trouble() const;

  /// What happened to the file since the last call and is worth one notice: "the journal was damaged
  /// ... set aside". In order.
  std::vector<std::string> take_news();

  std::map<std::string, std::string> snapshots();   ///< latest by key, for restart
  std::vector<NoticeRow> open_notices();            ///< state waiting or sent, in order of storing
  std::size_t waiting() const;                      ///< rows in memory

 private:
  struct Impl;
  explicit Journal(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace fw::journal
