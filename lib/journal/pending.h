#pragma once
// Rows that wait in memory: bounded, and small while they wait.
#include <deque>
#include <map>
#include <string>
#include <vector>

#include "journal/names.h"
#include "journal/sample.h"
#include "records/rows.h"
#include "units/result.h"
#include "words/words.h"

namespace fw::journal {

/// How untrusted rows move when the clock is set.
std::int64_t minutes_moved(const ClockRow& clock);
/// The local day of a moved minute; without a known zone the old day moved by whole days.
int moved_date(std::int64_t minute, int old_date, const ClockRow& clock, const Result<Words>& words);

struct Pending {
  /// About four days of a two-string rig; older samples give way.
  static constexpr std::size_t most_samples = 12'000;
  /// Alarms, commands, notices and the like; changes and events give way first.
  static constexpr std::size_t most_rows = 3'000;

  std::deque<StringSample> strings;
  std::deque<BankSample> banks;
  std::deque<Row> changes;                        ///< VerdictChangeRow
  std::deque<Row> urgent;                         ///< everything else but samples and snapshots
  std::map<std::string, SnapshotRow> snapshots;   ///< latest by key
  std::size_t dropped = 0;                        ///< given up since the last successful write

  /// Takes a row in; true when it may not wait. A ClockRow moves what waits and was made untrusted.
  /// zone: the rig's, for the local day.
  bool take(Row row, Names& names, const std::string& zone);
  bool empty() const { return strings.empty() && banks.empty() && changes.empty() && urgent.empty() && snapshots.empty(); }
  std::size_t size() const { return strings.size() + banks.size() + changes.size() + urgent.size() + snapshots.size(); }
  /// Ids of one name table to those of another.
  void renumber(const std::map<int, int>& from_to);

 private:
  void redate(const ClockRow& clock, const std::string& zone);
  void bound();
};

}  // namespace fw::journal
