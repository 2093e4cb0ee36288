#include "journal/database.h"

#include <sqlite3.h>

#include <cerrno>

namespace fw::journal {

namespace {

Trouble trouble_of(int code) {
  switch (code & 0xff) {
    case SQLITE_OK:
    case SQLITE_ROW:
    case SQLITE_DONE: return Trouble::none;
    case SQLITE_FULL: return Trouble::full;
    case SQLITE_READONLY: return Trouble::read_only;
    case SQLITE_CORRUPT: return Trouble::damaged;
    case SQLITE_NOTADB: return Trouble::not_sqlite;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
    case SQLITE_INTERRUPT: return Trouble::busy;
    case SQLITE_CANTOPEN:
    case SQLITE_PERM:
    case SQLITE_AUTH: return Trouble::missing;
    default: return Trouble::other;
  }
}

}  // namespace

void Statement::Close::operator()(sqlite3_stmt* s) const { sqlite3_finalize(s); }
void Database::Close::operator()(sqlite3* db) const { sqlite3_close_v2(db); }

Statement& Statement::bind(int i, std::int64_t v) {
  if (stmt_) sqlite3_bind_int64(stmt_.get(), i, v);
  return *this;
}
Statement& Statement::bind(int i, std::optional<std::int64_t> v) {
  if (v) return bind(i, *v);
  if (stmt_) sqlite3_bind_null(stmt_.get(), i);
  return *this;
}
Statement& Statement::bind(int i, std::string_view v) {
  if (stmt_) sqlite3_bind_text(stmt_.get(), i, v.data() ? v.data() : "", static_cast<int>(v.size()), SQLITE_TRANSIENT);
  return *this;
}
Statement& Statement::bind(int i, double v) {
  if (stmt_) sqlite3_bind_double(stmt_.get(), i, v);
  return *this;
}
Statement& Statement::bind(int i, std::optional<double> v) {
  if (v) return bind(i, *v);
  if (stmt_) sqlite3_bind_null(stmt_.get(), i);
  return *this;
}

Statement& Statement::bind_column(int i, const Statement& from, int c) {
  if (stmt_) sqlite3_bind_value(stmt_.get(), i, sqlite3_column_value(from.stmt_.get(), c));
  return *this;
}

Statement::Step Statement::step() {
  if (!stmt_) return Step::failed;
  const int code = sqlite3_step(stmt_.get());
  if (code == SQLITE_ROW) return Step::row;
  if (code == SQLITE_DONE) return Step::done;
  db_->remember(code);
  return Step::failed;
}

bool Statement::run() {
  const bool ok = step() == Step::done;
  reset();
  return ok;
}

void Statement::reset() {
  if (stmt_) sqlite3_reset(stmt_.get());
}

std::int64_t Statement::integer(int c) const { return sqlite3_column_int64(stmt_.get(), c); }
std::optional<std::int64_t> Statement::maybe_integer(int c) const {
  if (sqlite3_column_type(stmt_.get(), c) == SQLITE_NULL) return std::nullopt;
  return sqlite3_column_int64(stmt_.get(), c);
}
double Statement::real(int c) const { return sqlite3_column_double(stmt_.get(), c); }
std::optional<double> Statement::maybe_real(int c) const {
  if (sqlite3_column_type(stmt_.get(), c) == SQLITE_NULL) return std::nullopt;
  return sqlite3_column_double(stmt_.get(), c);
}
std::string Statement::text(int c) const {
  const auto* p = reinterpret_cast<const char*>(sqlite3_column_text(stmt_.get(), c));
  return p ? std::string(p, static_cast<std::size_t>(sqlite3_column_bytes(stmt_.get(), c))) : std::string{};
}

void Database::remember(int code) {
  trouble_ = trouble_of(code);
  if (db_ && (code & 0xff) == SQLITE_IOERR) {
    const int e = sqlite3_system_errno(db_.get());
    if (e == EROFS || e == EACCES) trouble_ = Trouble::read_only;
    if (e == ENOSPC || e == EDQUOT) trouble_ = Trouble::full;
  }
  message_ = db_ ? sqlite3_errmsg(db_.get()) : sqlite3_errstr(code);
}

bool Database::open(const std::string& path, Access access, bool immutable) {
  std::string uri = "file:";
  for (char c : path) {
    constexpr char hex[] = "0123456789ABCDEF";
    const auto b = static_cast<unsigned char>(c);
    if (c == '?' || c == '#' || c == '%') {
      uri += '%';
      uri += hex[b >> 4];
      uri += hex[b & 15];
    } else {
      uri += c;
    }
  }
  if (immutable) uri += "?immutable=1";
  trouble_ = Trouble::none;
  message_.clear();
  sqlite3* raw = nullptr;
  const int flags = (access == Access::read ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE) | SQLITE_OPEN_URI | SQLITE_OPEN_NOMUTEX;
  const int code = sqlite3_open_v2(uri.c_str(), &raw, flags, nullptr);
  db_.reset(raw);
  if (code != SQLITE_OK) {
    remember(code);
    db_.reset();
    return false;
  }
  sqlite3_extended_result_codes(db_.get(), 1);
  sqlite3_busy_timeout(db_.get(), access == Access::read ? 3000 : 100);
  return true;
}

bool Database::exec(const std::string& sql) {
  if (!db_) return false;
  const int code = sqlite3_exec(db_.get(), sql.c_str(), nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) remember(code);
  return code == SQLITE_OK;
}

Statement Database::prepare(std::string_view sql) {
  Statement s;
  s.db_ = this;
  if (!db_) return s;
  sqlite3_stmt* raw = nullptr;
  const int code = sqlite3_prepare_v2(db_.get(), sql.data(), static_cast<int>(sql.size()), &raw, nullptr);
  s.stmt_.reset(raw);
  if (code != SQLITE_OK) remember(code);
  return s;
}

std::optional<std::int64_t> Database::integer(std::string_view sql) {
  auto s = prepare(sql);
  return s.step() == Statement::Step::row ? s.maybe_integer(0) : std::nullopt;
}

std::optional<std::string> Database::text(std::string_view sql) {
  auto s = prepare(sql);
  if (s.step() != Statement::Step::row) return std::nullopt;
  return s.text(0);
}

void Database::rollback() {
  if (db_ && sqlite3_get_autocommit(db_.get()) == 0) sqlite3_exec(db_.get(), "ROLLBACK", nullptr, nullptr, nullptr);
}

int Database::checkpoint() {
  if (!db_) return -1;
  int in_log = 0, moved = 0;
  const int code = sqlite3_wal_checkpoint_v2(db_.get(), nullptr, SQLITE_CHECKPOINT_PASSIVE, &in_log, &moved);
  if (code != SQLITE_OK && code != SQLITE_BUSY) {
    remember(code);
    return -1;
  }
  return in_log - moved;
}

void Database::keep_asking(bool (*wanted)(void*), void* context) {
  wanted_ = wanted;
  wanted_context_ = context;
  if (!db_) return;
  sqlite3_progress_handler(
      db_.get(), 2000,
      [](void* self) -> int {
        auto* d = static_cast<Database*>(self);
        return d->wanted_(d->wanted_context_) ? 0 : 1;
      },
      this);
}

std::int64_t Database::rows_changed() const { return db_ ? sqlite3_changes64(db_.get()) : 0; }

}  // namespace fw::journal
