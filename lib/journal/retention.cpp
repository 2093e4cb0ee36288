#include "journal/retention.h"

#include <algorithm>

#include "journal/five.h"
#include "journal/table_io.h"

namespace fw::journal {

namespace {

constexpr std::int64_t day_minutes = 1440;

/// The rows from the oldest on that belong to one piece: up to `cut`, or wrong in time.
template <class Sample, class Read, class Take>
bool oldest(Database& db, const std::string& sql, Read read, std::int64_t cut, std::int64_t now_minute, std::int64_t& last, Take take) {
  auto s = db.prepare(sql);
  Statement::Step step;
  while ((step = s.step()) == Statement::Step::row) {
    const Sample r = read(s);
    if (r.minute >= cut && r.minute <= now_minute + day_minutes) return true;
    last = r.seq;
    take(r);
  }
  return step == Statement::Step::done;
}

bool age_strings(Database& db, std::int64_t cut, std::int64_t now_minute) {
  StringFives fives;
  auto day = db.prepare(add_day_sql());
  bool ok = true;
  std::int64_t last = 0;
  if (!oldest<StringSample>(db, select_string_sql("string_minute", "ORDER BY seq"), string_sample, cut, now_minute, last,
                            [&](const StringSample& r) {
                              fives.take(r);
                              bind_day(day, r);
                              ok = ok && day.run();
                            }) || !ok)
    return false;
  auto insert = db.prepare(insert_string_sql("string_five"));
  for (const auto& f : fives.finish()) {
    bind(insert, f);
    if (!insert.run()) return false;
  }
  return db.exec("DELETE FROM string_minute WHERE seq<=" + std::to_string(last));
}

bool age_banks(Database& db, std::int64_t cut, std::int64_t now_minute) {
  BankFives fives;
  std::int64_t last = 0;
  if (!oldest<BankSample>(db, select_bank_sql("bank_minute", "ORDER BY seq"), bank_sample, cut, now_minute, last,
                          [&](const BankSample& r) { fives.take(r); }))
    return false;
  auto insert = db.prepare(insert_bank_sql("bank_five"));
  for (const auto& f : fives.finish()) {
    bind(insert, f);
    if (!insert.run()) return false;
  }
  return db.exec("DELETE FROM bank_minute WHERE seq<=" + std::to_string(last));
}

Aged in_transaction(Database& db, bool (*work)(Database&, std::int64_t, std::int64_t), std::int64_t a, std::int64_t b) {
  if (!db.begin()) return Aged::failed;
  if (work(db, a, b) && db.commit()) return Aged::piece;
  db.rollback();
  return Aged::failed;
}

bool age_both(Database& db, std::int64_t cut, std::int64_t now_minute) {
  return age_strings(db, cut, now_minute) && age_banks(db, cut, now_minute);
}

bool drop_fives(Database& db, std::int64_t cut, std::int64_t) {
  return db.exec("DELETE FROM string_five WHERE seq<=(SELECT max(seq) FROM (SELECT seq FROM string_five WHERE minute<" +
                 std::to_string(cut) + " ORDER BY seq LIMIT 4000))") &&
         db.exec("DELETE FROM bank_five WHERE seq<=(SELECT max(seq) FROM (SELECT seq FROM bank_five WHERE minute<" +
                 std::to_string(cut) + " ORDER BY seq LIMIT 2000))");
}

bool drop_changes(Database& db, std::int64_t, std::int64_t) {
  return db.exec("DELETE FROM change WHERE seq<=(SELECT max(seq) FROM (SELECT seq FROM change ORDER BY seq LIMIT 1000))");
}

std::optional<std::int64_t> first_minute(Database& db, const std::string& table) {
  return db.integer("SELECT minute FROM " + table + " ORDER BY seq LIMIT 1");
}

std::int64_t day_after(std::int64_t minute) {
  const std::int64_t r = minute % day_minutes;
  return minute - (r < 0 ? r + day_minutes : r) + day_minutes;
}

}  // namespace

Aged age_minutes(Database& db, std::int64_t before_minute, std::int64_t now_minute) {
  // Whole days only: a five-minute interval is never cut, and a day's rows move once.
  before_minute = day_after(before_minute) - day_minutes;
  const auto s = first_minute(db, "string_minute"), b = first_minute(db, "bank_minute");
  const auto due = [&](std::optional<std::int64_t> m) { return m && (*m < before_minute || *m > now_minute + day_minutes); };
  if (!due(s) && !due(b)) return Aged::nothing;
  std::int64_t oldest_due = before_minute;
  for (auto m : {s, b})
    if (due(m)) oldest_due = std::min(oldest_due, *m);
  return in_transaction(db, age_both, std::min(day_after(oldest_due), before_minute), now_minute);
}

Aged make_room(Database& db, std::int64_t now_minute) {
  if (const auto aged = age_minutes(db, now_minute - 2 * day_minutes, now_minute); aged != Aged::nothing) return aged;
  std::optional<std::int64_t> first;
  for (const char* table : {"string_five", "bank_five"})
    if (const auto m = first_minute(db, table); m && (!first || *m < *first)) first = m;
  if (first) return in_transaction(db, drop_fives, day_after(*first), 0);
  if (db.integer("SELECT 1 FROM change LIMIT 1")) return in_transaction(db, drop_changes, 0, 0);
  return Aged::nothing;
}

std::int64_t used_bytes(Database& db) {
  return (db.integer("PRAGMA page_count").value_or(0) - db.integer("PRAGMA freelist_count").value_or(0)) *
         db.integer("PRAGMA page_size").value_or(0);
}

}  // namespace fw::journal
