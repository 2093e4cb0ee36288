#include "journal/page_salvage.h"

#include <algorithm>
#include <array>
#include <string_view>

namespace fw::journal {

namespace {

constexpr std::size_t pages_a_piece = 200;
constexpr std::int64_t bank = -1;

/// What must not be lost; the names were read before.
constexpr std::array<std::string_view, 9> essential{"notice", "alarm", "command", "note", "advice", "event", "clock", "snapshot", "string_day"};
constexpr std::array<std::string_view, 3> aged{"change", "string_five", "bank_five"};

template <std::size_t n>
bool in(const std::array<std::string_view, n>& names, std::string_view name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

bool fits(char shape, const PageValue& v) {
  const bool none = std::holds_alternative<std::monostate>(v);
  switch (shape) {
    case 'i': return std::holds_alternative<std::int64_t>(v);
    case 'I': return none || std::holds_alternative<std::int64_t>(v);
    case 'r': return std::holds_alternative<double>(v) || std::holds_alternative<std::int64_t>(v);
    case 'R': return none || std::holds_alternative<double>(v) || std::holds_alternative<std::int64_t>(v);
    case 't': return std::holds_alternative<std::string>(v);
    default: return none || std::holds_alternative<std::string>(v);
  }
}

std::int64_t whole(const PageValue& v) {
  const auto* n = std::get_if<std::int64_t>(&v);
  return n ? *n : 0;
}

}  // namespace

void PageSalvage::learn_tables(Database& into) {
  auto names = into.prepare("SELECT name,sql FROM sqlite_master WHERE type='table' ORDER BY rowid");
  while (names.step() == Statement::Step::row) {
    Table t;
    t.name = names.text(0);
    t.numbered = names.text(1).find("WITHOUT ROWID") == std::string::npos;
    std::string columns, places;
    auto c = into.prepare("SELECT name,type,\"notnull\",pk FROM pragma_table_info('" + t.name + "') ORDER BY cid");
    while (c.step() == Statement::Step::row) {
      const int at = static_cast<int>(t.shape.size());
      const std::string name = c.text(0), type = c.text(1);
      const char letter = type == "TEXT" ? 't' : type == "REAL" ? 'r' : 'i';
      t.shape.push_back(c.integer(2) != 0 || c.integer(3) != 0 ? letter : static_cast<char>(letter - 'a' + 'A'));
      if (name == "minutes" && t.numbered) t.minutes = at;
      if (name == "string" && letter == 'i') t.string = at;
      if (name == "reason" && letter == 'i') t.reason = at;
      columns += (at ? "," : "") + name;
      places += at ? ",?" : "?";
    }
    t.insert = "INSERT OR IGNORE INTO " + t.name + '(' + columns + ") VALUES(" + places + ')';
    tables_.push_back(std::move(t));
  }
}

/// By its columns; minutes and five minutes look alike but for how many minutes a row holds.
const PageSalvage::Table* PageSalvage::table_of(const PageRow& row) const {
  for (const Table& t : tables_) {
    if (t.numbered != row.numbered || t.shape.size() != row.values.size()) continue;
    bool is = true;
    for (std::size_t i = 0; is && i < t.shape.size(); ++i)
      is = i == 0 && t.numbered ? std::holds_alternative<std::monostate>(row.values[0]) : fits(t.shape[i], row.values[i]);
    if (!is) continue;
    if (t.minutes >= 0) {
      const auto minutes = whole(row.values[static_cast<std::size_t>(t.minutes)]);
      if (minutes < 1 || minutes > 5 || (minutes > 1) != std::string_view(t.name).ends_with("five")) continue;
    }
    return &t;
  }
  return nullptr;
}

/// Pages given back keep their rows: minutes that are in the five-minute rows and the sums by day already.
bool PageSalvage::stale(const Table& t, const PageRow& row) const {
  if (!std::string_view(t.name).ends_with("_minute")) return false;
  const bool of_string = t.string >= 0;
  const auto last = aged_.find(of_string ? whole(row.values[static_cast<std::size_t>(t.string)]) : bank);
  if (last == aged_.end()) return false;
  const Aged& a = last->second;
  const auto minute = whole(row.values[1]);
  return row.number <= a.seq || (minute >= a.minute && minute < a.minute + 5) || (of_string && whole(row.values[4]) < a.date);
}

/// Days whose sums are lost are summed again from their five-minute rows.
void PageSalvage::sum_days(Database& into) {
  const std::string parts = "made,cloud,snow,soiling,shade,curtailed,cold,outage,no_data,unexplained";
  into.exec("INSERT OR IGNORE INTO string_day(date,string," + parts + R"(,minutes,light_minutes,light_live)
      SELECT date,string,sum(made),sum(cloud),sum(snow),sum(soiling),sum(shade),sum(curtailed),sum(cold),sum(outage),sum(no_data),
             sum(unexplained),sum(minutes),sum(light*minutes),sum(light*live)
      FROM (SELECT *,made+cloud+snow+soiling+shade+curtailed+cold+outage+no_data+unexplained>0 AS light FROM string_five) GROUP BY date,string)");
}

void PageSalvage::learn_aged(Database& into) {
  const auto learn = [&](const char* sql, auto take) {
    auto s = into.prepare(sql);
    while (s.step() == Statement::Step::row) take(aged_[s.integer(0)], s);
  };
  const auto last = [](Aged& a, const Statement& s) {
    a.seq = s.integer(1);
    a.minute = s.integer(2);
  };
  // of a max() SQLite gives the other columns of the same row
  learn("SELECT string,max(seq),minute FROM string_five GROUP BY string", last);
  learn("SELECT -1,max(seq),minute FROM bank_five HAVING max(seq) NOT NULL", last);
  learn("SELECT string,max(date) FROM string_day GROUP BY string", [](Aged& a, const Statement& s) { a.date = s.integer(1); });
}

bool PageSalvage::insert(Database& into, Names& names, const Table& t, PageRow& row) {
  const auto renamed = [&](int column, bool needed) {
    if (column < 0) return;
    PageValue& v = row.values[static_cast<std::size_t>(column)];
    const std::int64_t old = whole(v);
    if (old == 0) return;
    const auto known = old_names_.find(old);
    v = std::int64_t{known != old_names_.end() ? names.id(known->second) : needed ? names.id("string " + std::to_string(old)) : 0};
  };
  renamed(t.string, true);
  renamed(t.reason, false);
  auto write = into.prepare(t.insert);
  for (std::size_t i = 0; i < row.values.size(); ++i) {
    const int at = static_cast<int>(i) + 1;
    if (i == 0 && t.numbered) write.bind(at, row.number);
    else if (const auto* n = std::get_if<std::int64_t>(&row.values[i])) write.bind(at, *n);
    else if (const auto* r = std::get_if<double>(&row.values[i])) write.bind(at, *r);
    else if (const auto* s = std::get_if<std::string>(&row.values[i])) write.bind(at, std::string_view(*s));
    else write.bind(at, std::optional<std::int64_t>{});
  }
  return write.run() && into.rows_changed() > 0;
}

void PageSalvage::page(Database& into, Names& names, Pass pass) {
  pages_.rows(at_, [&](PageRow&& row) {
    const Table* t = table_of(row);
    if (!t || t->name == "name") return;
    const bool wanted = pass == Pass::essentials ? in(essential, t->name) : pass == Pass::aged ? in(aged, t->name) : t->name.ends_with("_minute");
    if (!wanted) return;
    if (pass == Pass::minutes) {
      PageRow asked = row;
      if (t->string >= 0) {
        // what has aged is known by the new names
        const auto known = old_names_.find(whole(row.values[static_cast<std::size_t>(t->string)]));
        if (known != old_names_.end()) asked.values[static_cast<std::size_t>(t->string)] = std::int64_t{names.find(known->second)};
      }
      if (stale(*t, asked)) return;
    }
    if (!insert(into, names, *t, row)) return;
    ++saved_;
    samples_ += pass == Pass::minutes;
  });
}

void PageSalvage::essentials(Database& into, Names& names) {
  if (pages_.empty()) return;
  learn_tables(into);
  for (at_ = 0; at_ < pages_.count(); ++at_)
    pages_.rows(at_, [&](PageRow&& row) {
      const Table* t = table_of(row);
      if (t && t->name == "name") old_names_.try_emplace(row.number, std::get<std::string>(row.values[1]));
    });
  for (const auto& [id, text] : known_names_) old_names_.try_emplace(id, text);
  if (into.begin()) {
    for (at_ = 0; at_ < pages_.count(); ++at_) page(into, names, Pass::essentials);
    if (!into.commit()) into.rollback();
  }
  at_ = 0;
}

bool PageSalvage::step(Database& into, Names& names) {
  if (tables_.empty() || pass_ == Pass::done) return false;
  if (!into.begin()) return true;
  for (std::size_t n = 0; n < pages_a_piece && at_ < pages_.count(); ++n, ++at_) page(into, names, pass_);
  if (!into.commit()) into.rollback();
  if (at_ < pages_.count()) return true;
  at_ = 0;
  if (pass_ == Pass::aged) {
    sum_days(into);
    learn_aged(into);
    pass_ = Pass::minutes;
    return true;
  }
  pass_ = Pass::done;
  return false;
}

}  // namespace fw::journal
