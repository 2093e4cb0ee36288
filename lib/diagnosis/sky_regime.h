#pragma once
// The hidden states of the sky, one sky for all strings. A regime says how the share of the clear-sky
// light (k) is spread, how much it moves from minute to minute and over twenty minutes, and how long it
// lasts. The shares live on a lattice that is even in ln k, with cloudless exactly on a node.
#include <array>

namespace fw::diagnosis {

enum class Regime { cloudless, thin, broken, overcast, thick, behind };  ///< behind: sun behind hill, wood or house
inline constexpr int regime_count = 6;

struct RegimeRow {
  double dwell_min;          ///< mean duration
  double flicker;            ///< typical |change of ln k| from minute to minute
  double spread;             ///< typical standard deviation of ln k over twenty minutes
  double drift;              ///< chance of a step to either neighbouring node in a minute
  double jump;               ///< chance that the share is drawn anew in a minute
  double typical;            ///< share of winter daylight, no forecast at hand
};

/// Orders of magnitude from measured one-minute irradiance in the literature and from practice; each is
/// used with a spread of a factor of two.
inline constexpr std::array<RegimeRow, regime_count> regime_rows{{
    {120, 0.003, 0.006, 0.00, 0.0, 0.40},
    {50, 0.012, 0.040, 0.06, 0.3, 0.12},
    {50, 0.100, 0.300, 0.20, 1.0, 0.20},
    {120, 0.030, 0.120, 0.20, 0.3, 0.18},
    {150, 0.010, 0.045, 0.20, 0.20, 0.12},
    {70, 0.006, 0.050, 0.06, 0.02, 0.00},
}};

inline constexpr int under_sky = 72;       ///< nodes of light under a sky, clear to dark
inline constexpr int behind_nodes = 28;    ///< nodes behind an obstacle: no beam, diffuse light times a factor
inline constexpr int share_count = under_sky + behind_nodes;
inline constexpr int cloudless_node = 5;
inline constexpr double share_step = 0.06;

/// k at a node under_sky, 1.35 down to about 0.02.
double share_at(int node);
/// Factor on the model's diffuse light at a node behind an obstacle: 0.4 to 5.4.
double rest_at(int node);

/// Density of k on the lattice by regime; each sums to 1.
const std::array<std::array<double, share_count>, regime_count>& share_density();

/// Chance that a regime is left within a minute, when the chance that something stands before the sun goes from
/// `before` to `now` in it.
double leave_per_minute(Regime regime, double before, double now);

/// How likely each regime is beforehand, with a forecast cloud cover of 0..1 or none (negative), and the chance that
/// something stands before the sun.
std::array<double, regime_count> regime_prior(double forecast_cloud, double hidden);

}  // namespace fw::diagnosis
