#pragma once
// Rows straight from the pages of an SQLite file, for a file whose head or trees are broken: every leaf page is
// looked at by itself, and a row is known by its shape. Format: https://www.sqlite.org/fileformat2.html
#include <cstdint>
#include <fstream>
#include <functional>
#include <string>
#include <variant>
#include <vector>

namespace fw::journal {

using PageValue = std::variant<std::monostate, std::int64_t, double, std::string>;

/// A row as it lies in a leaf page. In a table with a row number that column is empty and `number` holds it.
struct PageRow {
  bool numbered = false;
  std::int64_t number = 0;
  std::vector<PageValue> values;
};

class Pages {
 public:
  /// Takes the file, and beside it the write-ahead log "<path>-wal" if there is one.
  explicit Pages(const std::string& path);

  /// Nothing in it looks like a page of SQLite.
  bool empty() const { return page_bytes_ == 0; }
  std::size_t count() const { return log_frames_.size() + file_pages_; }

  /// Gives the rows of page i of count(); those of the log come first, newest first, so that of two states of a
  /// row the later one comes first. Cells that make no sense are left out.
  void rows(std::size_t i, const std::function<void(PageRow&&)>& each);

 private:
  bool read(std::size_t i, std::string& page);
  bool read_file_page(std::uint32_t number, std::string& page);
  bool record(std::string_view page, std::size_t at, std::size_t payload, PageRow& row, bool index);
  bool bytes_of(std::string_view page, std::size_t at, std::size_t payload, bool index, std::string& out);

  std::ifstream file_, log_;
  std::size_t page_bytes_ = 0, file_pages_ = 0, usable_ = 0;
  std::vector<std::size_t> log_frames_;   ///< where in the log, newest first
};

}  // namespace fw::journal
