#pragma once
// A snow layer on a roof panel through the hours: falls, settles, melts, softens, slides.
#include <optional>

namespace fw::snow {

struct Layer {
  double water_mm = 0;       ///< snow and ice as water, 0 and more
  double density_kgm3 = 80;  ///< 30..600
  double covered_share = 0;  ///< of the glass, 0..1
  double loosened_h = 0;     ///< hours of thaw at the glass so far
  double depth_cm() const { return density_kgm3 > 0 ? 100.0 * water_mm / density_kgm3 : 0.0; }
};

struct Conditions {
  double air_c = 0;
  double poa_wm2 = 0;            ///< light in the plane above the snow
  double tilt_deg = 0;
  double wind_ms = 1;
  double snowfall_cm_per_h = 0;  ///< depth of new snow
  double heat_below_wm2 = 0;     ///< through the roof and the panel from below
};

/// Density of new snow in kg/m3 for an air temperature: 50 when cold, 170 near melting.
/// Source: Hedstrom & Pomeroy 1998, Hydrological Processes 12, 1611: 67.92 + 51.25 exp(T / 2.59).
double new_snow_density_kgm3(double air_c);

/// Energy at the layer that goes into melt, W/m2, never negative: absorbed sun (the layer's albedo, more
/// the thinner it is, for dark glass below warms it), air above freezing (10 + 3 v W/(m2 K), common
/// practice), heat from below, less the glow to a cold sky.
double melt_power_wm2(const Layer& layer, const Conditions& conditions);

/// The layer after `hours` (0..24; call it in steps of an hour or less).
Layer after(Layer layer, const Conditions& conditions, double hours);

/// Share of light that reaches the cells over the whole panel: bare part plus what passes the layer.
double layer_transmission(const Layer& layer);

/// Does snow slide now? Air over poa / -80 (W/m2 per C) lets it go; 0.197 sin(tilt) of the slant
/// height an hour. Only for tilted glass: under 8 deg it does not slide at all, whatever the formula
/// says (common practice). Source: Marion et al. 2013, Solar Energy 97, 112; as tabulated with
/// Ryberg & Freeman 2017, NREL/TP-6A20-68705.
bool can_slide(double air_c, double poa_wm2);
double slide_share_per_h(double tilt_deg);
inline constexpr double least_sliding_tilt_deg = 8;

/// Hours of present conditions until the bond between ice and glass lets go so that snow can be pushed
/// off by hand: the glass must take in some 60 Wh/m2 of light and warmth (a thin film of ice and the
/// glass itself), which is a couple of hours of morning sun. Nothing when it is not thawing at all.
std::optional<double> hours_to_soften(const Layer& layer, const Conditions& conditions);

}  // namespace fw::snow
