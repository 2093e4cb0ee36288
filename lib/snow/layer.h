#pragma once
// A snow layer on a roof panel through the hours: it falls, settles, melts, loosens, slides.
#include <optional>

namespace fw::snow {

struct Layer {
  double water_mm = 0;        ///< as water, over the covered part
  double density_kgm3 = 80;   ///< 30..600
  double covered_share = 0;   ///< of the glass, 0..1
  double thaw_wh_m2 = 0;      ///< warmth the glass has taken in against the bond of the ice
  double depth_cm() const { return density_kgm3 > 0 ? 100.0 * water_mm / density_kgm3 : 0.0; }
};

struct Conditions {
  double air_c = 0;               ///< -60..50
  double poa_wm2 = 0;             ///< light in the plane above the snow, 0..1600
  double tilt_deg = 0;            ///< 0..90
  double wind_ms = 1;             ///< 0..60
  double snowfall_cm_per_h = 0;   ///< depth of new snow, 0..20
  double heat_below_wm2 = 0;      ///< through the roof to the panel, 0..200
};

/// Density of new snow in kg/m3: 68 when cold, 119 at freezing, up to 200.
/// Source: Hedstrom & Pomeroy 1998, Hydrological Processes 12, 1611: 67.92 + 51.25 exp(T / 2.59).
double new_snow_density_kgm3(double air_c);

/// Energy that goes into melt, W per m2 of covered glass, never negative: absorbed sun (thin snow lets it
/// through to the dark glass), air (10 + 3 v W/(m2 K)) and the glow to the sky (50 W/m2) against a
/// surface at freezing, heat from below. Coefficients: common practice, no source.
double melt_power_wm2(const Layer& layer, const Conditions& conditions);

/// The layer after `hours` of these conditions, worked through in steps of at most half an hour; 0..72 h.
/// A layer without water is no layer: covered_share 0.
Layer layer_after(Layer layer, const Conditions& conditions, double hours);

/// Share of light that reaches the cells over the whole panel: the bare part and what passes the layer.
double layer_transmission(const Layer& layer);

/// Does snow on tilted glass let go: air_c above poa_wm2 / -80. Source: Marion et al. 2013, Solar
/// Energy 97, 112.
bool can_slide(double air_c, double poa_wm2);

/// Slant height that slides off in an hour: 0.197 sin(tilt). Source as above (printed as 1.97 tenths).
double slide_share_per_h(double tilt_deg);

/// Flatter glass than this does not shed by sliding, whatever the formula says (common practice); only
/// layer_after() applies it.
inline constexpr double least_sliding_tilt_deg = 8;

/// Hours of present conditions until the ice lets go of the glass and loose snow can be pushed off:
/// 0 when it has, none when it is not thawing. The bond takes 60 Wh/m2 (half a millimetre of
/// ice), which is a couple of hours of morning sun through a thin cover.
std::optional<double> hours_to_soften(const Layer& layer, const Conditions& conditions);

}  // namespace fw::snow
