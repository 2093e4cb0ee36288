#include "journal/reader.h"

#include <algorithm>
#include <filesystem>
#include <limits>
#include <map>
#include <utility>

#include "journal/database.h"
#include "journal/five.h"
#include "journal/names.h"
#include "journal/packed.h"
#include "journal/saved_copy.h"
#include "journal/schema.h"
#include "journal/scratch.h"
#include "journal/store.h"
#include "journal/table_io.h"
#include "words/words.h"

namespace fw::journal {

namespace {

constexpr int piece = 20'000;

Stamp stamp(const Statement& s, int utc, int trusted) {
  Stamp w;
  w.utc = utc_ms(s.integer(utc));
  w.trusted = s.integer(trusted) != 0;
  return w;
}

std::optional<Utc> maybe_utc(const Statement& s, int c) {
  const auto v = s.maybe_integer(c);
  return v ? std::optional{utc_ms(*v)} : std::nullopt;
}

}  // namespace

struct Reader::Impl {
  std::string path, remark;
  std::optional<Scratch> scratch;            // outlives the file in it
  Database db;
  Names names;

  Fault fault() const {
    if (db.trouble() == Trouble::damaged)
      return {path, "the journal is damaged; the daemon sets such a file aside and saves what can be read. Read the new one"};
    return {path, "the journal cannot be read: " + db.message()};
  }

  /// Rows of a sample table with seq > last, at most a piece; moves last. A row whose structure broke ends it.
  template <class Sample, class Read>
  bool rows(const std::string& sql, Read read, std::int64_t last, std::vector<Sample>& out) {
    out.clear();
    auto s = db.prepare(sql + " WHERE seq>? ORDER BY seq LIMIT ?");
    s.bind(1, last).bind(2, std::int64_t{piece});
    Statement::Step step;
    while ((step = s.step()) == Statement::Step::row) out.push_back(read(s));
    return step == Statement::Step::done;
  }

  /// A piece of the five-minute rows and, where these end, of the minutes after them; one read
  /// transaction, so that no row that is just moving from one to the other is missed.
  template <class Sample, class Read>
  bool both(const std::string& sql_five, const std::string& sql_minute, Read read, std::int64_t last, std::vector<Sample>& fives,
            std::vector<Sample>& minutes) {
    minutes.clear();
    if (!db.exec("BEGIN")) return false;
    bool ok = rows<Sample>(sql_five, read, last, fives);
    if (ok && fives.size() < piece) ok = rows<Sample>(sql_minute, read, fives.empty() ? last : fives.back().seq, minutes);
    if (!ok) db.rollback();
    return ok && db.exec("COMMIT");
  }

  /// Five-minute rows of both ages in one sequence. Minutes that are moved by the daemon between two
  /// pieces are met again as five-minute rows, for both tables count in the same sequence.
  template <class Fives, class Sample, class Read, class Give>
  bool fives(const std::string& sql_five, const std::string& sql_minute, Read read, Give give) {
    std::int64_t last = -1;
    std::vector<Sample> fives, minutes;
    while (true) {
      if (!both<Sample>(sql_five, sql_minute, read, last, fives, minutes)) return false;
      for (const auto& r : fives) give(r), last = r.seq;
      if (fives.size() == piece) continue;
      const bool end = minutes.size() < piece;
      Fives join;
      for (const auto& r : minutes) join.take(r);
      const auto open = join.first_open();
      for (const auto& f : end ? join.finish() : join.closed())
        if (end || !open || f.seq < *open) give(f);
      if (end) return true;
      last = open ? *open - 1 : minutes.back().seq;
    }
  }

  template <class Row, class Read>
  Result<std::vector<Row>> events(const std::string& sql, Period p, Read read) {
    std::vector<Row> all;
    auto s = db.prepare(sql + " WHERE utc>=? AND utc<? ORDER BY seq");
    s.bind(1, p.from ? ms_of(*p.from) : std::numeric_limits<std::int64_t>::min())
        .bind(2, p.to ? ms_of(*p.to) : std::numeric_limits<std::int64_t>::max());
    Statement::Step step;
    while ((step = s.step()) == Statement::Step::row) all.push_back(read(s));
    if (step == Statement::Step::failed) return fault();
    return all;
  }
};

Reader::Reader(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Reader::Reader(Reader&&) noexcept = default;
Reader& Reader::operator=(Reader&&) noexcept = default;
Reader::~Reader() = default;

Result<Reader> Reader::open(const std::string& path) {
  namespace fs = std::filesystem;
  std::error_code none;
  if (!fs::exists(path, none)) return Fault{path, "there is no such journal"};
  if (fs::is_directory(path, none)) return Fault{path, "this is a folder; a journal is a file"};
  auto impl = std::make_unique<Impl>();
  impl->path = path;
  Database& db = impl->db;
  const auto opens = [&](const std::string& file, bool immutable = false) { return db.open(file, Access::read, immutable) && origin_of(db) != Origin::unreadable; };
  if (!opens(path)) {
    // A journal at rest in a folder that may not be written has nobody to share a log with: it is read as it lies.
    const Trouble t = db.trouble();
    if (t == Trouble::damaged || t == Trouble::not_sqlite || t == Trouble::busy || !opens(path, true)) {
      if (db.trouble() == Trouble::not_sqlite) return Fault{path, "this is not a firnwatt journal"};
      if (db.trouble() == Trouble::missing) return Fault{path, "the journal cannot be opened: no right to read it"};
      return impl->fault();
    }
    // The log that a killed writer left holds the newest rows and can be taken up only where files may be made.
    std::error_code no_log;
    if (const auto log = fs::file_size(path + "-wal", no_log); !no_log && log > 0) {
      std::string why = "no folder for temporary files";
      impl->scratch = Scratch::make();
      if (!impl->scratch || !impl->scratch->take(path, "journal", why))
        return Fault{path, "its newest rows lie in " + fs::path(path).filename().string() + "-wal beside it, which cannot be read from here (" + why +
                               "). Copy both files to a folder that may be written"};
      if (!opens(*impl->scratch / "journal")) return impl->fault();
    }
  }
  switch (origin_of(db)) {
    case Origin::empty: return Fault{path, "the journal is empty: nothing has been recorded yet"};
    case Origin::foreign: return Fault{path, "this is another program's SQLite file, not a firnwatt journal"};
    case Origin::newer:
      return Fault{path, "this journal was made by a newer firnwatt; this one reads up to version " + std::to_string(schema_version()) +
                             ". Update firnwatt to read it"};
    case Origin::unreadable: return impl->fault();
    case Origin::ours: break;
  }
  auto s = db.prepare("SELECT id,text FROM name");
  Statement::Step step;
  while ((step = s.step()) == Statement::Step::row) impl->names.put(static_cast<int>(s.integer(0)), s.text(1));
  if (step == Statement::Step::failed) return impl->fault();
  return Reader(std::move(impl));
}

Result<Reader> Reader::open_whole(const std::string& path) {
  auto reader = open(path);
  bool damaged = false;
  if (reader) {
    Database& db = reader->impl_->db;
    const auto verdict = db.text("PRAGMA quick_check(1)");
    damaged = verdict ? *verdict != "ok" : db.trouble() == Trouble::damaged;
    if (!damaged) return reader;
  }
  std::error_code wrong;
  const bool is_file = std::filesystem::is_regular_file(path, wrong) && std::filesystem::file_size(path, wrong) > 0;
  Database look;
  // A head that is gone may still have a journal behind it.
  damaged = damaged || (is_file && (!look.open(path, Access::read) || origin_of(look) == Origin::unreadable) &&
                        (look.trouble() == Trouble::damaged || look.trouble() == Trouble::not_sqlite));
  look.close();
  auto scratch = damaged ? Scratch::make() : std::nullopt;
  std::string why;
  if (!scratch || !scratch->take(path, "damaged", why)) return reader;
  const auto saved = save_copy(*scratch / "damaged", *scratch / "journal");
  if (!saved || saved->rows == 0) return reader;
  auto rest = open(*scratch / "journal");
  if (!rest) return reader;
  rest->impl_->path = path;
  rest->impl_->scratch = std::move(scratch);
  rest->impl_->remark = "the journal is damaged; this is what can be read of it, " + std::to_string(saved->rows) + " rows" +
                        (saved->lost ? " (about " + std::to_string(saved->lost) + " samples could not be)" : "");
  return rest;
}

const std::string& Reader::remark() const { return impl_->remark; }

About Reader::about() const {
  const auto text = snapshot("rig");
  return text ? about_in(*text) : About{};
}

const std::string& Reader::name(int id) const {
  if (id != 0 && !impl_->names.knows(id)) {
    // Made since the reader was opened, or lost with a damaged file.
    auto s = impl_->db.prepare("SELECT text FROM name WHERE id=?");
    if (s.bind(1, std::int64_t{id}).step() == Statement::Step::row) impl_->names.put(id, s.text(0));
    else impl_->names.put(id, "unnamed-" + std::to_string(id));
  }
  return impl_->names.text(id);
}

std::optional<std::string> Reader::snapshot(std::string_view key) const {
  auto s = impl_->db.prepare("SELECT data FROM snapshot WHERE key=?");
  if (s.bind(1, key).step() != Statement::Step::row) return std::nullopt;
  return unpacked(s.text(0));
}

std::optional<std::pair<Utc, Utc>> Reader::span() const {
  std::optional<std::int64_t> first, last;
  for (const char* t : {"string_five", "string_minute", "bank_five", "bank_minute"}) {
    const std::string table(t);
    const auto lo = impl_->db.integer("SELECT min(minute) FROM " + table), hi = impl_->db.integer("SELECT max(minute+minutes) FROM " + table);
    if (lo && (!first || *lo < *first)) first = lo;
    if (hi && (!last || *hi > *last)) last = hi;
  }
  if (!first || !last) return std::nullopt;
  return std::pair{utc_of_minute(*first), utc_of_minute(*last)};
}

namespace {
bool inside(const Period& p, std::int64_t minute) {
  const Utc t = utc_of_minute(minute);
  return (!p.from || t >= *p.from) && (!p.to || t < *p.to);
}
}  // namespace

Result<void> Reader::each_five(Period p, const std::function<void(const StringSample&)>& take) const {
  const bool ok = impl_->fives<StringFives, StringSample>(select_string_sql("string_five", ""), select_string_sql("string_minute", ""),
                                                          string_sample, [&](const StringSample& r) {
                                                            if (inside(p, r.minute)) take(r);
                                                          });
  if (!ok) return impl_->fault();
  return {};
}

Result<void> Reader::each_bank(Period p, int step, const std::function<void(const BankSample&)>& take) const {
  const auto give = [&](const BankSample& r) {
    if (inside(p, r.minute)) take(r);
  };
  if (step >= 5) {
    const bool ok = impl_->fives<BankFives, BankSample>(select_bank_sql("bank_five", ""), select_bank_sql("bank_minute", ""), bank_sample, give);
    if (!ok) return impl_->fault();
    return {};
  }
  std::int64_t last = -1;
  std::vector<BankSample> fives, minutes;
  while (true) {
    if (!impl_->both<BankSample>(select_bank_sql("bank_five", ""), select_bank_sql("bank_minute", ""), bank_sample, last, fives, minutes))
      return impl_->fault();
    for (const auto& r : fives) give(r), last = r.seq + r.minutes - 1;
    for (const auto& r : minutes) give(r), last = r.seq;
    if (fives.size() < piece && minutes.size() < piece) return {};
  }
}

Result<std::vector<DayEnergy>> Reader::energy(Period p) const {
  const auto words = Words::in_zone(about().timezone, false);
  const auto date_of = [&](Utc t) {
    return words ? day_in(words->local_date(t)) : std::optional{static_cast<int>(ms_of(floor_to(t, days{1})) / 86'400'000)};
  };
  const auto first = p.from ? date_of(*p.from) : std::nullopt;
  const auto last = p.to ? date_of(*p.to - Span{1}) : std::nullopt;
  const std::int64_t from = first.value_or(std::numeric_limits<int>::min()), to = last.value_or(std::numeric_limits<int>::max());
  // In one read transaction: the daemon moves minutes into the sums by day. They are added here, for the database would sort them all first.
  std::map<std::pair<int, int>, DayEnergy> sums;
  const auto add = [&](const char* sql) {
    auto s = impl_->db.prepare(sql);
    s.bind(1, from).bind(2, to);
    Statement::Step step;
    while ((step = s.step()) == Statement::Step::row) {
      const int date = static_cast<int>(s.integer(0)), string = static_cast<int>(s.integer(1));
      DayEnergy& e = sums.try_emplace({date, string}, DayEnergy{date, string, {}, 0, 0, 0}).first->second;
      for (int i = 0; i < part_count; ++i) e.split[static_cast<std::size_t>(i)] += s.integer(2 + i);
      e.minutes += s.integer(12);
      e.light_minutes += s.integer(13);
      e.light_live += s.integer(14);
    }
    return step == Statement::Step::done;
  };
  if (!impl_->db.exec("BEGIN")) return impl_->fault();
  const bool ok = add("SELECT date,string,made,cloud,snow,soiling,shade,curtailed,cold,outage,no_data,unexplained,minutes,light_minutes,light_live "
                      "FROM string_day WHERE date BETWEEN ? AND ?") &&
                  add("SELECT date,string,made,cloud,snow,soiling,shade,curtailed,cold,outage,no_data,unexplained,minutes,light*minutes,light*live "
                      "FROM (SELECT *,made+cloud+snow+soiling+shade+curtailed+cold+outage+no_data+unexplained>0 AS light FROM string_minute) "
                      "WHERE date BETWEEN ? AND ?");
  if (!ok) {
    impl_->db.rollback();
    return impl_->fault();
  }
  if (!impl_->db.exec("COMMIT")) return impl_->fault();
  std::vector<DayEnergy> all;
  for (const auto& [key, e] : sums) all.push_back(e);
  return all;
}

Split rounded_dwh(const Split& s) {
  const auto dwh = [](std::int64_t deciwatt_minutes) {
    return (2 * deciwatt_minutes + (deciwatt_minutes < 0 ? -60 : 60)) / 120;
  };
  Split out{};
  for (std::size_t i = 0; i < s.size(); ++i) out[i] = i == unexplained ? 0 : dwh(s[i]);
  out[unexplained] = dwh(clear_sky(s)) - clear_sky(out);
  return out;
}

Result<std::vector<AlarmRow>> Reader::alarms(Period p) const {
  return impl_->events<AlarmRow>("SELECT utc,trusted,alarm,subject,event,priority,text FROM alarm", p, [](const Statement& s) {
    return AlarmRow{stamp(s, 0, 1), s.text(2), s.text(3), s.text(4), s.text(5), s.text(6)};
  });
}

Result<std::vector<CommandRow>> Reader::commands(Period p) const {
  return impl_->events<CommandRow>(
      "SELECT utc,trusted,id,charger,permit,current_limit_a,reason,confirmed FROM command", p, [](const Statement& s) {
        return CommandRow{stamp(s, 0, 1), s.text(2), s.text(3), s.integer(4) != 0, s.maybe_real(5), s.text(6), maybe_utc(s, 7)};
      });
}

Result<std::vector<AdviceRow>> Reader::advice(Period p) const {
  return impl_->events<AdviceRow>("SELECT utc,trusted,kind,text,gain_kwh,best_from,best_to,outcome FROM advice", p, [](const Statement& s) {
    return AdviceRow{stamp(s, 0, 1), s.text(2), s.text(3), s.maybe_real(4), maybe_utc(s, 5), maybe_utc(s, 6), s.text(7)};
  });
}

Result<std::vector<NoteRow>> Reader::notes(Period p) const {
  return impl_->events<NoteRow>("SELECT utc,trusted,event,string,text FROM note", p, [](const Statement& s) {
    return NoteRow{stamp(s, 0, 1), s.text(2), s.text(3), s.text(4)};
  });
}

Result<std::vector<NoticeRow>> Reader::notices(Period p) const {
  return impl_->events<NoticeRow>(std::string("SELECT ") + notice_columns + " FROM notice", p, notice_row);
}

Result<std::vector<EventRow>> Reader::events(Period p) const {
  return impl_->events<EventRow>("SELECT utc,trusted,kind,text FROM event", p, [](const Statement& s) {
    return EventRow{stamp(s, 0, 1), s.text(2), s.text(3)};
  });
}

Result<std::vector<VerdictChangeRow>> Reader::changes(Period p) const {
  return impl_->events<VerdictChangeRow>("SELECT utc,trusted,string,cause,confidence_pm,reason,evidence FROM change", p,
                                         [this](const Statement& s) {
                                           return VerdictChangeRow{
                                               stamp(s, 0, 1), name(static_cast<int>(s.integer(2))),
                                               static_cast<Cause>(std::clamp<std::int64_t>(s.integer(3), 0, cause_count - 1)),
                                               static_cast<double>(s.integer(4)) / 1000, name(static_cast<int>(s.integer(5))), s.text(6)};
                                         });
}

}  // namespace fw::journal
