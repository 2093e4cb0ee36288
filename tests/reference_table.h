#pragma once
// Reference figures in tests/<room>/data: a '#' line with the source, a header row, plain cells.
#include <doctest/doctest.h>

#include <cmath>
#include <fstream>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

#include "units/text.h"

namespace fw::test {

class ReferenceRow {
 public:
  std::map<std::string, std::string> cells;
  const std::string& text(const std::string& column) const {
    const auto it = cells.find(column);
    if (it == cells.end()) throw std::runtime_error("no column " + column);
    return it->second;
  }
  double number(const std::string& column) const {
    const auto v = number_in(text(column));
    if (!v) throw std::runtime_error("no number in " + column + ": '" + text(column) + "'");
    return *v;
  }
  Utc utc(const std::string& column) const {
    const auto v = utc_in(text(column));
    if (!v) throw std::runtime_error("no time in " + column);
    return *v;
  }
};

inline std::vector<std::string> cells_of(const std::string& line) {
  std::vector<std::string> out;
  std::size_t from = 0;
  for (;;) {
    const auto comma = line.find(',', from);
    out.push_back(line.substr(from, comma - from));
    if (comma == std::string::npos) return out;
    from = comma + 1;
  }
}

/// Rows of tests/<path>; fails the test case when there are none.
inline std::vector<ReferenceRow> reference_table(const std::string& path) {
  std::ifstream in(std::string(FW_TESTS_DIR) + "/" + path);
  std::vector<ReferenceRow> rows;
  std::vector<std::string> names;
  std::string line;
  while (std::getline(in, line)) {
    if (line.empty() || line[0] == '#') continue;
    const auto cells = cells_of(line);
    if (names.empty()) {
      names = cells;
      continue;
    }
    ReferenceRow row;
    for (std::size_t i = 0; i < names.size(); ++i) row.cells[names[i]] = i < cells.size() ? cells[i] : "";
    rows.push_back(std::move(row));
  }
  REQUIRE(!rows.empty());
  return rows;
}

/// |a - b| <= tolerance, with the figures shown when not.
#define FW_NEAR(a, b, tolerance)                       \
  do {                                                 \
    const double fw_a = (a), fw_b = (b);               \
    CAPTURE(fw_a);                                     \
    CAPTURE(fw_b);                                     \
    CHECK(std::abs(fw_a - fw_b) <= (tolerance));       \
  } while (0)

}  // namespace fw::test
