#pragma once
// SQLite behind three small classes. The C handles live in database.cpp and nowhere else; every call
// that can fail says so by its result, and the database remembers why. A handle belongs to one thread.
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

struct sqlite3;
struct sqlite3_stmt;

namespace fw::journal {

/// Why a call on the file failed, as far as it decides what to do next.
enum class Trouble {
  none,
  full,        ///< no room on the card
  read_only,   ///< may be read, not written
  damaged,     ///< the file's structure is broken
  not_sqlite,  ///< the header is no SQLite header
  busy,        ///< another program writes
  missing,     ///< cannot be opened: no such folder, no right to it
  other,
};

class Database;

/// A prepared statement. Columns count from 0, parameters from 1.
class Statement {
 public:
  enum class Step { row, done, failed };

  Statement& bind(int i, std::int64_t v);
  Statement& bind(int i, std::optional<std::int64_t> v);
  Statement& bind(int i, std::string_view v);
  Statement& bind(int i, double v);
  Statement& bind(int i, std::optional<double> v);
  Statement& bind_column(int i, const Statement& from, int c);
  Step step();
  /// Runs a statement that gives no rows, and makes it ready for the next values.
  bool run();
  void reset();

  std::int64_t integer(int c) const;
  std::optional<std::int64_t> maybe_integer(int c) const;
  double real(int c) const;
  std::optional<double> maybe_real(int c) const;
  std::string text(int c) const;

 private:
  friend class Database;
  struct Close { void operator()(sqlite3_stmt* s) const; };
  Database* db_ = nullptr;
  std::unique_ptr<sqlite3_stmt, Close> stmt_;  ///< null: could not be prepared; step() fails
};

enum class Access { read, write };

class Database {
 public:
  Database() = default;
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;

  /// Opens or creates. False: trouble() and message() say why.
  bool open(const std::string& path, Access access, bool immutable = false);
  void close() { db_.reset(); }
  bool is_open() const { return db_ != nullptr; }

  bool exec(const std::string& sql);
  /// A statement must not outlive the database it comes from.
  Statement prepare(std::string_view sql);
  /// The first column of the first row; nothing when there is no row, it is NULL, or the call failed.
  std::optional<std::int64_t> integer(std::string_view sql);
  std::optional<std::string> text(std::string_view sql);

  bool begin() { return exec("BEGIN IMMEDIATE"); }
  bool commit() { return exec("COMMIT"); }
  void rollback();
  /// Moves what it can from the log into the file without waiting for anybody. Pages left in the log, -1 when it failed.
  int checkpoint();
  /// `wanted` is asked every few thousand steps of the engine; false ends the statement.
  void keep_asking(bool (*wanted)(void*), void* context);

  /// Of the last call that failed.
  Trouble trouble() const { return trouble_; }
  const std::string& message() const { return message_; }
  std::int64_t rows_changed() const;

 private:
  friend class Statement;
  struct Close { void operator()(sqlite3* db) const; };
  void remember(int code);

  std::unique_ptr<sqlite3, Close> db_;
  Trouble trouble_ = Trouble::none;
  std::string message_;
  bool (*wanted_)(void*) = nullptr;
  void* wanted_context_ = nullptr;
};

}  // namespace fw::journal
