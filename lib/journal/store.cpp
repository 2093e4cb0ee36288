#include "journal/store.h"

#include "journal/packed.h"
#include "journal/schema.h"
#include "journal/table_io.h"
#include "words/words.h"

namespace fw::journal {

namespace {

constexpr const char* event_tables[] = {"change", "alarm", "command", "advice", "note", "notice", "event", "clock"};

std::optional<std::int64_t> ms(std::optional<Utc> t) { return t ? std::optional{ms_of(*t)} : std::nullopt; }

}  // namespace

NoticeRow notice_row(const Statement& s) {
  NoticeRow r;
  r.when.utc = utc_ms(s.integer(0));
  r.when.trusted = s.integer(1) != 0;
  r.id = s.text(2);
  r.priority = s.text(3);
  r.alarm = s.text(4);
  r.subject = s.text(5);
  r.text = s.text(6);
  r.state = s.text(7);
  if (const auto t = s.maybe_integer(8)) r.state_utc = utc_ms(*t);
  r.detail = s.text(9);
  return r;
}

Store::Opened Store::open(const std::string& path, bool bulk, Names& names, Pending& pending) {
  const auto failed = [&] {
    const Trouble t = db.trouble();
    return t == Trouble::damaged || t == Trouble::not_sqlite ? Opened::damaged : Opened::failed;
  };
  if (!db.open(path, Access::write)) return failed();
  switch (origin_of(db)) {
    case Origin::newer: return Opened::newer;
    case Origin::foreign: return Opened::foreign;
    case Origin::unreadable: return failed();
    case Origin::empty:
      if (!db.exec("PRAGMA page_size=4096; PRAGMA auto_vacuum=INCREMENTAL")) return failed();
      break;
    case Origin::ours: break;
  }
  if (!db.exec("PRAGMA journal_mode=WAL; PRAGMA wal_autocheckpoint=0; PRAGMA journal_size_limit=131072; PRAGMA secure_delete=OFF; PRAGMA cache_size=-800") ||
      !db.exec(bulk ? "PRAGMA synchronous=OFF" : "PRAGMA synchronous=FULL") || !migrate(db))
    return failed();

  Names from_file;
  auto s = db.prepare("SELECT id,text FROM name");
  Statement::Step step;
  while ((step = s.step()) == Statement::Step::row) from_file.put(static_cast<int>(s.integer(0)), s.text(1));
  if (step == Statement::Step::failed) return failed();
  std::map<int, int> renumbered;
  for (const auto& [id, text] : names.all()) renumbered[id] = from_file.id(text);
  pending.renumber(renumbered);
  names = std::move(from_file);

  const auto last = [&](const std::string& a, const std::string& b) {
    const auto of = [&](const std::string& t) { return db.integer("SELECT max(seq) FROM " + t).value_or(0); };
    return std::max(of(a), b.empty() ? 0 : of(b));
  };
  const auto continue_at = [&](const std::string& table, std::int64_t seq) {
    next_seq[table] = std::max(next_seq[table], seq);
    run_start.try_emplace(table, next_seq[table]);
  };
  continue_at("string_minute", last("string_minute", "string_five") + 1);
  continue_at("bank_minute", last("bank_minute", "bank_five") + 1);
  for (const char* t : event_tables) continue_at(t, last(t, "") + 1);
  return db.trouble() == Trouble::damaged ? Opened::damaged : Opened::ready;
}

bool Store::put(const Pending& pending, Names& names, What what, const std::string& zone) {
  if (!db.begin()) return false;
  const auto before = next_seq;
  if (put_rows(pending, names, what, zone) && db.commit()) {
    names.saved();
    return true;
  }
  db.rollback();
  next_seq = before;
  return false;
}

bool Store::can_write() {
  if (db.begin() && db.exec("PRAGMA user_version=" + std::to_string(schema_version())) && db.commit()) return true;
  db.rollback();
  return false;
}

bool Store::put_rows(const Pending& pending, const Names& names, What what, const std::string& zone) {
  auto name = db.prepare("INSERT OR REPLACE INTO name VALUES(?,?)");
  for (int id : names.unsaved())
    if (!name.bind(1, std::int64_t{id}).bind(2, names.text(id)).run()) return false;

  for (const Row& r : pending.urgent)
    if (const auto* clock = std::get_if<ClockRow>(&r); clock && !redate(*clock, zone)) return false;

  if (what == What::all) {
    if (!pending.strings.empty()) {
      auto insert = db.prepare(insert_string_sql("string_minute"));
      for (StringSample r : pending.strings) {
        r.seq = seq("string_minute");
        bind(insert, r);
        if (!insert.run()) return false;
      }
    }
    if (!pending.banks.empty()) {
      auto insert = db.prepare(insert_bank_sql("bank_minute"));
      for (BankSample r : pending.banks) {
        r.seq = seq("bank_minute");
        bind(insert, r);
        if (!insert.run()) return false;
      }
    }
    for (const Row& r : pending.changes)
      if (!put_row(r, names)) return false;
  }
  for (const Row& r : pending.urgent)
    if (!put_row(r, names)) return false;
  for (const auto& [key, r] : pending.snapshots)
    if (!db.prepare("INSERT OR REPLACE INTO snapshot VALUES(?,?,?)").bind(1, key).bind(2, ms_of(r.when.utc)).bind(3, std::string_view(packed(r.data))).run())
      return false;
  return true;
}

bool Store::put_row(const Row& row, const Names& names) {
  const auto insert = [&](const std::string& table, const std::string& rest, const Stamp& when) {
    auto s = db.prepare("INSERT INTO " + table + " VALUES(?,?,?," + rest);
    s.bind(1, seq(table)).bind(2, ms_of(when.utc)).bind(3, std::int64_t{when.trusted});
    return s;
  };
  if (const auto* r = std::get_if<VerdictChangeRow>(&row))
    return insert("change", "?,?,?,?,?)", r->when)
        .bind(4, std::int64_t{names.find(r->string)})
        .bind(5, std::int64_t{static_cast<int>(r->cause)})
        .bind(6, static_cast<std::int64_t>(r->confidence * 1000 + 0.5))
        .bind(7, std::int64_t{names.find(r->reason)})
        .bind(8, r->evidence)
        .run();
  if (const auto* r = std::get_if<AlarmRow>(&row))
    return insert("alarm", "?,?,?,?,?)", r->when)
        .bind(4, r->alarm).bind(5, r->subject).bind(6, r->event).bind(7, r->priority).bind(8, r->text).run();
  if (const auto* r = std::get_if<CommandRow>(&row))
    return insert("command", "?,?,?,?,?,?) ON CONFLICT(id) DO UPDATE SET confirmed=coalesce(excluded.confirmed,confirmed)", r->when)
        .bind(4, r->id).bind(5, r->charger).bind(6, std::int64_t{r->permit}).bind(7, r->current_limit_a).bind(8, r->reason)
        .bind(9, ms(r->confirmed)).run();
  if (const auto* r = std::get_if<AdviceRow>(&row))
    return insert("advice", "?,?,?,?,?,?)", r->when)
        .bind(4, r->kind).bind(5, r->text).bind(6, r->gain_kwh).bind(7, ms(r->best_from)).bind(8, ms(r->best_to)).bind(9, r->outcome).run();
  if (const auto* r = std::get_if<NoteRow>(&row))
    return insert("note", "?,?,?)", r->when).bind(4, r->event).bind(5, r->string).bind(6, r->text).run();
  if (const auto* r = std::get_if<NoticeRow>(&row))
    return insert("notice",
                  "?,?,?,?,?,?,?,?) ON CONFLICT(id) DO UPDATE SET priority=excluded.priority,alarm=excluded.alarm,"
                  "subject=excluded.subject,text=excluded.text,state=excluded.state,state_utc=excluded.state_utc,detail=excluded.detail",
                  r->when)
        .bind(4, r->id).bind(5, r->priority).bind(6, r->alarm).bind(7, r->subject).bind(8, r->text).bind(9, r->state)
        .bind(10, ms(r->state_utc)).bind(11, r->detail).run();
  if (const auto* r = std::get_if<EventRow>(&row))
    return insert("event", "?,?)", r->when).bind(4, r->kind).bind(5, r->text).run();
  if (const auto* r = std::get_if<ClockRow>(&row))
    return insert("clock", "?)", r->when).bind(4, std::int64_t{r->offset_change.count()}).run();
  return true;
}

// Rows that still wait have been moved in memory. Only this run's rows: how far off the clock was in
// an earlier run nobody knows.
bool Store::redate(const ClockRow& clock, const std::string& zone) {
  const auto words = Words::in_zone(zone, false);
  auto moved = db.prepare("SELECT seq,minute,date FROM string_minute WHERE trusted=0 AND seq>=?");
  moved.bind(1, run_start["string_minute"]);
  auto set = db.prepare("UPDATE string_minute SET date=? WHERE seq=?");
  Statement::Step step;
  while ((step = moved.step()) == Statement::Step::row) {
    const int date = moved_date(moved.integer(1) + minutes_moved(clock), static_cast<int>(moved.integer(2)), clock, words);
    if (!set.bind(1, std::int64_t{date}).bind(2, moved.integer(0)).run()) return false;
  }
  if (step == Statement::Step::failed) return false;

  const auto update = [&](const std::string& table, const std::string& column, std::int64_t by) {
    return db.prepare("UPDATE " + table + " SET " + column + '=' + column + "+?,trusted=max(trusted,?) WHERE trusted=0 AND seq>=?")
        .bind(1, by).bind(2, std::int64_t{clock.trusted}).bind(3, run_start[table]).run();
  };
  if (!update("string_minute", "minute", minutes_moved(clock)) || !update("bank_minute", "minute", minutes_moved(clock))) return false;
  for (const char* t : event_tables)
    if (!update(t, "utc", clock.offset_change.count())) return false;
  return true;
}

std::map<std::string, std::string> Store::snapshots() {
  std::map<std::string, std::string> all;
  auto s = db.prepare("SELECT key,data FROM snapshot");
  while (s.step() == Statement::Step::row)
    if (auto data = unpacked(s.text(1))) all[s.text(0)] = std::move(*data);
  return all;
}

std::vector<NoticeRow> Store::open_notices() {
  std::vector<NoticeRow> open;
  auto s = db.prepare(std::string("SELECT ") + notice_columns + " FROM notice WHERE state IN('waiting','sent') ORDER BY seq");
  while (s.step() == Statement::Step::row) open.push_back(notice_row(s));
  return open;
}

}  // namespace fw::journal
