#pragma once
// How much current a bank may be charged with at a cell temperature.
// Pure functions; degC in, C-rate (current over rated capacity in one hour, 1/h) out.
#include <vector>

namespace fw::bank {

/// Charge current allowed between two cell temperatures.
struct Band { double from_c = 0; double to_c = 0; double c_rate = 0; };

/// A cautious table for iron phosphate cells when the owner gives none: nothing at or below 0 and at or above
/// 45 degC, 0.1 up to 10, 0.2 up to 25, 0.5 up to 45. Each figure is the lower of two public cell specifications
/// (makers not named); that cold charging is to be slow or none: Petzl & Danzer 2014 (J. Power Sources 254),
/// Zinth et al. 2014 (J. Power Sources 271). The maker's own table comes first.
std::vector<Band> default_bands();

/// C-rate allowed at one cell temperature. Exactly on a border the lower of the two neighbours counts; outside
/// every band, in a gap, and for a temperature that is no number: 0. Bands need not be sorted.
/// interpolate: inside a band the rate eases in from a lower neighbour between the bands' middles; it is never
/// above the band's own rate.
double c_rate_at(const std::vector<Band>& bands, double cell_c, bool interpolate = false);

/// C-rate for a bank: the coldest cell's and the hottest cell's, whichever is lower.
double c_rate_for(const std::vector<Band>& bands, double cell_min_c, double cell_max_c, bool interpolate = false);

}  // namespace fw::bank
