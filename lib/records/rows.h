#pragma once
// What the journal keeps. Every row carries its Utc, its place on the elapsed line, and whether the
// clock was trusted when it was made.
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "records/verdict.h"
#include "units/channel.h"
#include "units/time.h"

namespace fw {

struct Stamp {
  Utc utc{};
  Elapsed at{};
  bool trusted = true;
};

/// One string's minute: sample, verdict and account. May wait for the batch.
struct StringRow {
  Stamp when;                          ///< start of the minute
  std::string local_date;              ///< YYYY-MM-DD at the rig
  std::string string;
  std::optional<double> power_w, voltage_v, current_a;
  std::optional<Stage> stage;
  Verdict verdict;
};

/// Bank and site, one a minute. May wait for the batch.
struct BankRow {
  Stamp when;
  std::optional<double> cell_min_c, cell_max_c, soc, voltage_v, current_a, air_c, cabin_c, load_w;
  std::optional<bool> permit;
  std::optional<double> current_limit_a;
};

/// A verdict became another one.
struct VerdictChangeRow {
  Stamp when;
  std::string string;
  Cause cause{};
  double confidence = 0;
  std::string reason, evidence;
};

/// raised, cleared, acknowledged, shelved, unshelved, suppressed, unsuppressed, escalated, re_raised, notified, expired
struct AlarmRow {
  Stamp when;
  std::string alarm, subject, event, priority, text;
};

struct CommandRow {
  Stamp when;
  std::string id;                      ///< unique in a journal; a later row with the same id confirms it
  std::string charger;
  bool permit = false;
  std::optional<double> current_limit_a;
  std::string reason;
  std::optional<Utc> confirmed;
};

struct AdviceRow {
  Stamp when;
  std::string kind, text;
  std::optional<double> gain_kwh;
  std::optional<Utc> best_from, best_to;
  std::string outcome;                 ///< "", "withdrawn: ...", "done: ..."
};

struct NoteRow {
  Stamp when;
  std::string event, string, text;
};

/// A message for the owner and what became of it. The same id replaces the earlier row.
struct NoticeRow {
  Stamp when;                          ///< when it was stored
  std::string id;
  std::string priority, alarm, subject, text;
  std::string state;                   ///< "waiting", "sent", "delivered", "folded", "expired"
  std::optional<Utc> state_utc;
  std::string detail;                  ///< folded: the summary's id; expired: why
};

/// Something worth remembering that is none of the above: start, stop, clock step, reload, damage.
struct EventRow {
  Stamp when;
  std::string kind, text;
};

/// A room's state for restart; the same key replaces.
struct SnapshotRow {
  Stamp when;
  std::string key;
  std::string data;
};

/// The clock was set: rows made untrusted before are to be moved by this.
struct ClockRow {
  Stamp when;
  Span offset_change{};
  bool trusted = true;
};

using Row = std::variant<StringRow, BankRow, VerdictChangeRow, AlarmRow, CommandRow, AdviceRow, NoteRow, NoticeRow, EventRow,
                         SnapshotRow, ClockRow>;

/// Samples may wait for the batch; everything else is written at once.
inline bool may_wait(const Row& r) { return std::holds_alternative<StringRow>(r) || std::holds_alternative<BankRow>(r); }

}  // namespace fw
