#pragma once
// The hidden states a string can be in. A row says what kind of state it is, what share of the light it
// lets through, and how wide the row is (half the distance to its neighbours, in natural logarithm).
#include <utility>
#include <vector>

namespace fw::diagnosis {

enum class Kind { clean, film, frost, snow, shade, leaf, half, open };

struct StringState {
  Kind kind = Kind::clean;
  double pass = 1;    ///< share of all light let through; shade: share of the beam
  double width = 0;   ///< of ln(pass)
  int bypassed = 0;   ///< leaf: diode groups out of work
};

/// What a snowfall left, in common for all strings: they differ, but not by everything. So narrow because strings and
/// light are believed in apart under each: what strings have in common must not be left to them. `any` is for what has
/// been swept or has slid in part.
enum class Cover { none, heaviest, heavy, thick, medium, light, thin, dusting, any };
inline constexpr int cover_count = 9;

/// Rows of one string, heaviest first within a kind; clean is row 0. A lost row under frost has rows of its
/// own, for frost comes to it as to any string.
class StringStates {
 public:
  /// series, parallel: the wiring; diode_groups: bypass groups in a row of modules.
  StringStates(int series, int parallel, int diode_groups);

  const std::vector<StringState>& rows() const { return rows_; }
  /// First and one past the last snow row of a cover.
  std::pair<int, int> snow_rows(Cover cover) const;

  int size() const { return static_cast<int>(rows_.size()); }
  const StringState& operator[](int i) const { return rows_[static_cast<std::size_t>(i)]; }

  // first and one past the last row of a kind
  int film_from = 0, film_to = 0, frost_from = 0, frost_to = 0, snow_from = 0, snow_to = 0, shade_from = 0, shade_to = 0,
      leaf_from = 0, leaf_to = 0, half_from = 0, half_to = 0, open = -1;

 private:
  std::vector<StringState> rows_;
};

}  // namespace fw::diagnosis
