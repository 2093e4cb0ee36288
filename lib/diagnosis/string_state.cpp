#include "diagnosis/string_state.h"

#include <array>
#include <cmath>

namespace fw::diagnosis {

namespace {

constexpr std::array snow_pass{0.003, 0.01, 0.02, 0.035, 0.05, 0.07, 0.095, 0.125, 0.16, 0.20, 0.245, 0.295, 0.35, 0.41, 0.48, 0.56, 0.64, 0.72, 0.79, 0.86};
constexpr std::array film_pass{0.82, 0.88};
constexpr std::array frost_pass{0.60, 0.70, 0.78, 0.85, 0.91};
constexpr std::array shade_pass{0.0, 0.10, 0.20, 0.32, 0.43, 0.53, 0.64, 0.76, 0.86};

}  // namespace

std::pair<int, int> StringStates::snow_rows(Cover cover) const {
  int from = snow_from, to = snow_to;
  const auto pass = [&](int i) { return rows_[static_cast<std::size_t>(i)].pass; };
  static constexpr std::array<std::pair<double, double>, cover_count> passes{
      {{0, 1}, {0, 0.051}, {0.034, 0.11}, {0.06, 0.20}, {0.13, 0.33}, {0.24, 0.49}, {0.39, 0.65}, {0.55, 1}, {0, 1}}};
  const auto [low, high] = passes[static_cast<std::size_t>(cover)];
  while (from < to - 1 && pass(from) < low) ++from;
  while (to > from + 1 && pass(to - 1) > high) --to;
  return {from, to};
}

StringStates::StringStates(int series, int parallel, int diode_groups) {
  rows_.push_back({Kind::clean, 1, 0, 0});
  const auto add = [&](Kind kind, const auto& passes, int& from, int& to) {
    from = size();
    for (std::size_t i = 0; i < passes.size(); ++i) {
      const double next = i + 1 < passes.size() ? passes[i + 1] : 1.0;
      const double low = passes[i] > 0 ? passes[i] : 0.1;
      rows_.push_back({kind, passes[i], 0.5 * std::log(next / low), 0});
    }
    to = size();
  };
  add(Kind::film, film_pass, film_from, film_to);
  add(Kind::frost, frost_pass, frost_from, frost_to);
  add(Kind::snow, snow_pass, snow_from, snow_to);
  add(Kind::shade, shade_pass, shade_from, shade_to);
  leaf_from = size();
  const int groups = series * diode_groups;
  for (int n = 1; n <= diode_groups && n < groups; ++n)
    if (parallel == 1) rows_.push_back({Kind::leaf, 1.0 - static_cast<double>(n) / groups - 0.01, 0.02, n});
  leaf_to = size();
  half_from = size();
  if (parallel > 1)
    for (const double frost : {0.72, 0.80, 0.87, 0.94, 1.0})
      rows_.push_back({Kind::half, frost * (parallel - 1) / parallel, 0.08, 0});
  half_to = size();
  open = size();
  rows_.push_back({Kind::open, 0, 0, 0});
}

}  // namespace fw::diagnosis
