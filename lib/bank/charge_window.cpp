#include "bank/charge_window.h"

#include <algorithm>
#include <cmath>

namespace fw::bank {

std::vector<Band> default_bands() { return {{0, 10, 0.1}, {10, 25, 0.2}, {25, 45, 0.5}}; }

namespace {

/// Rate just above (side > 0) or just below a temperature.
double beside(const std::vector<Band>& bands, double c, int side) {
  for (const Band& b : bands) {
    const bool inside = side > 0 ? b.from_c <= c && c < b.to_c : b.from_c < c && c <= b.to_c;
    if (inside) return b.c_rate;
  }
  return 0;
}

double step_rate(const std::vector<Band>& bands, double c) { return std::min(beside(bands, c, -1), beside(bands, c, 1)); }

}  // namespace

double c_rate_at(const std::vector<Band>& bands, double cell_c, bool interpolate) {
  if (!std::isfinite(cell_c)) return 0;
  const double step = step_rate(bands, cell_c);
  if (!interpolate || step <= 0) return step;
  for (const Band& b : bands) {
    if (cell_c <= b.from_c || cell_c >= b.to_c) continue;
    const double middle = (b.from_c + b.to_c) / 2;
    const bool lower_half = cell_c < middle;
    const double border = lower_half ? b.from_c : b.to_c;
    const double neighbour = beside(bands, border, lower_half ? -1 : 1);
    if (neighbour >= b.c_rate) return step;
    // The neighbour's line ends at its own middle; a missing neighbour counts as zero at the border.
    double neighbour_at = border;
    for (const Band& n : bands)
      if (lower_half ? n.to_c == border : n.from_c == border) neighbour_at = (n.from_c + n.to_c) / 2;
    const double share = (cell_c - neighbour_at) / (middle - neighbour_at);
    return std::min(step, neighbour + share * (b.c_rate - neighbour));
  }
  return step;
}

double c_rate_for(const std::vector<Band>& bands, double cell_min_c, double cell_max_c, bool interpolate) {
  return std::min(c_rate_at(bands, cell_min_c, interpolate), c_rate_at(bands, cell_max_c, interpolate));
}

}  // namespace fw::bank
