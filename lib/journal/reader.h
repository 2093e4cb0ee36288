#pragma once
// A journal read only, while the daemon may be writing it: every query is one short read
// transaction, long tables are fetched in pieces.
#include <functional>
#include <memory>
#include <optional>
#include <ostream>
#include <string>
#include <string_view>
#include <vector>

#include "journal/about.h"
#include "journal/sample.h"
#include "records/rows.h"
#include "units/result.h"
#include "units/time.h"

namespace fw::journal {

/// Half open; an absent end is open. Rows are chosen by their UTC and given in journal order.
struct Period {
  std::optional<Utc> from, to;
};

/// One string's local day. Split in 0.1 W times minutes.
struct DayEnergy {
  int date = 0;                              ///< days since 1970
  int string = 0;                            ///< id, see Reader::name()
  Split split{};
  std::int64_t minutes = 0;                  ///< recorded
  std::int64_t light_minutes = 0;            ///< of these, with clear-sky power
  std::int64_t light_live = 0;               ///< of these, with a measured power
};

/// Energies of a split in 0.1 Wh (1e-4 kWh); rounding falls to `unexplained`, so that the sum of the
/// parts is the clear-sky energy to the last digit.
Split rounded_dwh(const Split& deciwatt_minutes);

class Reader {
 public:
  /// A missing, empty, foreign, damaged-at-the-head or newer file is a Fault that says so.
  /// In a folder that may not be written a file with a log beside it is read as a copy elsewhere.
  static Result<Reader> open(const std::string& path);
  /// As open(), but looks through the whole file first: a damaged one is read as far as it can be, and remark() says so.
  static Result<Reader> open_whole(const std::string& path);
  /// What to tell of this reading; empty for a file that was read as it is.
  const std::string& remark() const;
  Reader(Reader&&) noexcept;
  Reader& operator=(Reader&&) noexcept;
  ~Reader();

  /// CSV after RFC 4180 with a header row. Tables: verdicts, alarms, commands, bank, advice, energy,
  /// and beside the contract notes, notices, events. Another name is a Fault that lists them; so is
  /// `from` at or after `to`.
  Result<void> export_table(std::string_view table, std::optional<Utc> from, std::optional<Utc> to, std::ostream& out) const;
  static std::vector<std::string_view> tables();

  About about() const;
  const std::string& name(int id) const;     ///< of a string or reason; "" for 0 and unknown ids
  std::optional<std::string> snapshot(std::string_view key) const;
  /// First and last UTC of the samples; nothing in an empty journal.
  std::optional<std::pair<Utc, Utc>> span() const;

  Result<void> each_five(Period p, const std::function<void(const StringSample&)>& take) const;
  /// step 1: minutes where they are kept, five minutes before; step 5: five minutes throughout.
  Result<void> each_bank(Period p, int step, const std::function<void(const BankSample&)>& take) const;
  /// By date, then by string. Dates are whole: those of `from` through that of the last instant before `to`.
  Result<std::vector<DayEnergy>> energy(Period p) const;
  Result<std::vector<AlarmRow>> alarms(Period p) const;
  Result<std::vector<CommandRow>> commands(Period p) const;
  Result<std::vector<AdviceRow>> advice(Period p) const;
  Result<std::vector<NoteRow>> notes(Period p) const;
  Result<std::vector<NoticeRow>> notices(Period p) const;
  Result<std::vector<EventRow>> events(Period p) const;
  Result<std::vector<VerdictChangeRow>> changes(Period p) const;

 private:
  struct Impl;
  explicit Reader(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace fw::journal
