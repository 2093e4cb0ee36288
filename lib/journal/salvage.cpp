#include "journal/salvage.h"

#include <algorithm>
#include <set>

#include "journal/schema.h"

namespace fw::journal {

namespace {
constexpr const char* worth_most[] = {"notice", "alarm", "command", "note", "advice", "event", "clock"};
constexpr int rows_a_piece = 2000;
constexpr std::int64_t beyond_any = std::int64_t{1} << 40;
}  // namespace

Salvage::Salvage(const std::string& path, Names& names, Store& into) {
  bool readable = from_.open(path, Access::read);
  // Without this a file shorter than its head says is refused whole.
  from_.exec("PRAGMA writable_schema=ON");
  readable = readable && origin_of(from_) == Origin::ours;
  if (!readable) {
    from_.close();
    pages_.emplace(path, names);
  }
  auto s = from_.prepare("SELECT id,text FROM name ORDER BY id");
  int before = 0;
  while (s.step() == Statement::Step::row) {
    const int id = static_cast<int>(s.integer(0));
    if (!names.knows(id)) names.put(id, s.text(1));
    before = std::max(before, id);
  }
  // When the names could not be read, none of theirs may be given to another text.
  if (before == 0 && readable) names.reserve_below(1000);
  names.all_unsaved();
  const auto go_on = [&](const std::string& table, const std::string& finer) {
    auto& next = into.next_seq[table];
    next = std::max({next, last_seq(table) + 1, finer.empty() ? 0 : last_seq(finer) + 1});
    into.run_start.try_emplace(table, next);
  };
  go_on("string_minute", "string_five");
  go_on("bank_minute", "bank_five");
  go_on("change", "");
  for (const char* t : worth_most) go_on(t, "");
  // A table whose root is gone is out of SQLite's reach, its leaves are not out of ours.
  const bool rootless = std::any_of(into.next_seq.begin(), into.next_seq.end(), [](const auto& t) { return t.second > beyond_any; });
  if (rootless && !pages_) {
    from_.close();
    pages_.emplace(path, names);
  }
}

std::int64_t Salvage::last_seq(const std::string& table) {
  if (!from_.is_open()) return beyond_any;
  if (const auto last = from_.integer("SELECT max(seq) FROM " + table)) return *last;
  return from_.trouble() == Trouble::damaged ? beyond_any : 0;
}

std::string Salvage::shared_columns(const std::string& table, Database& into, int& count) {
  std::set<std::string> ours;
  auto a = into.prepare("SELECT name FROM pragma_table_info('" + table + "')");
  while (a.step() == Statement::Step::row) ours.insert(a.text(0));
  std::string columns;
  count = 0;
  auto b = from_.prepare("SELECT name FROM pragma_table_info('" + table + "') ORDER BY cid");
  while (b.step() == Statement::Step::row)
    if (ours.count(b.text(0))) {
      columns += (columns.empty() ? "" : ",") + b.text(0);
      ++count;
    }
  return columns;
}

namespace {
std::string insert_sql(const std::string& table, const std::string& columns, int count) {
  std::string sql = "INSERT OR IGNORE INTO " + table + '(' + columns + ") VALUES(?";
  for (int i = 1; i < count; ++i) sql += ",?";
  return sql + ')';
}
}  // namespace

void Salvage::copy_whole(const std::string& table, Database& into) {
  int count = 0;
  const std::string columns = shared_columns(table, into, count);
  if (count == 0) return;
  auto read = from_.prepare("SELECT " + columns + " FROM " + table);
  auto write = into.prepare(insert_sql(table, columns, count));
  while (read.step() == Statement::Step::row) {
    for (int i = 0; i < count; ++i) write.bind_column(i + 1, read, i);
    if (write.run()) saved_ += into.rows_changed();
  }
}

bool Salvage::copy(Table& t, Database& into, int limit) {
  int count = 0;
  const std::string columns = shared_columns(t.name, into, count);
  if (count == 0) return false;
  auto read = from_.prepare("SELECT " + columns + " FROM " + t.name + " WHERE seq>=? ORDER BY seq LIMIT ?");
  read.bind(1, t.next).bind(2, std::int64_t{limit});
  auto write = into.prepare(insert_sql(t.name, columns, count));
  Statement::Step step;
  while ((step = read.step()) == Statement::Step::row) {
    const std::int64_t seq = read.integer(0);
    if (t.dense && seq > t.next && t.next > 0) lost_ += seq - t.next;
    t.next = seq + 1;
    for (int i = 0; i < count; ++i) write.bind_column(i + 1, read, i);
    if (write.run()) saved_ += into.rows_changed();
    --limit;
  }
  if (step == Statement::Step::done) return limit == 0;
  return jump(t);
}

// Over an unreadable place: in growing strides beyond it, then back to its end by halves.
bool Salvage::jump(Table& t) {
  const auto readable = [&](std::int64_t seq) {
    auto probe = from_.prepare("SELECT seq FROM " + t.name + " WHERE seq>=? ORDER BY seq LIMIT 1");
    return probe.bind(1, seq).step() == Statement::Step::row;
  };
  std::int64_t bad = t.next, stride = 1;
  while (bad + stride <= t.last && !readable(bad + stride)) stride *= 2;
  std::int64_t good = bad + stride;
  if (good > t.last) return false;
  while (good - bad > 1) {
    const std::int64_t middle = bad + (good - bad) / 2;
    (readable(middle) ? good : bad) = middle;
  }
  if (t.dense) lost_ += good - t.next;
  t.next = good;
  return true;
}

void Salvage::essentials(Database& into, Names& names) {
  if (pages_) pages_->essentials(into, names);
  if (!from_.is_open() || !into.begin()) return;
  copy_whole("snapshot", into);
  for (const char* name : worth_most) {
    Table t{name, 0, last_seq(name), false};
    while (copy(t, into, rows_a_piece)) {
    }
  }
  copy_whole("string_day", into);
  if (!into.commit()) into.rollback();
  for (const char* name : {"change", "string_minute", "bank_minute", "string_five", "bank_five"})
    waiting_.push_back({name, 0, last_seq(name), std::string_view(name).ends_with("minute")});
}

bool Salvage::step(Database& into, Names& names) {
  if (waiting_.empty()) return pages_ && pages_->step(into, names);
  if (!into.begin()) return true;
  const bool more = copy(waiting_.front(), into, rows_a_piece);
  if (!into.commit()) into.rollback();
  if (!more) waiting_.erase(waiting_.begin());
  return !waiting_.empty();
}

}  // namespace fw::journal
