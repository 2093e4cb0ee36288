#pragma once
// Snow on one string's glass through the hours: it falls, warms, melts, freezes again, slides. Kept as water (mm,
// equal to kg/m2): water decides what light gets through and what heat it takes to be rid of the layer.

#include "units/time.h"

namespace fw::snow {

/// So long after snow was forecast it may still lie where nobody has seen it come or go.
inline constexpr Span forecast_counts_for = hours{36};

struct Layer {
  double water_mm = 0;
  double cold_wh_m2 = 0;         ///< warmth it takes before anything melts: cold ice, and water that froze again
  double density_kgm3 = 100;     ///< 30..500; says only how deep it is and how well it insulates
  double depth_cm() const { return 100 * water_mm / density_kgm3; }
};

/// What acts on the glass during a step.
struct Exposure {
  double sun_wm2 = 0;            ///< on the plane, above the snow, 0..1600
  double air_c = 0;              ///< -60..50
  double fresh_cm = 0;           ///< falling in the step
  double tilt_deg = 0;           ///< 0..90
  double wind_ms = 1;            ///< 0..60, counted up to 8: a roof's panel lies in the lee of much
  double clear_share = 1;        ///< of the cloudless light: a clear sky draws heat from the snow
  double heat_below_wm2 = 0;     ///< through the roof to the panel, 0..200
};

/// Density of new snow in kg/m3: 68 when cold, 119 at freezing, up to 200.
/// Source: Hedstrom & Pomeroy 1998, Hydrological Processes 12, 1611: 67.92 + 51.25 exp(T / 2.59).
double new_snow_density_kgm3(double air_c);

/// Water in fresh snow of a depth, by the air it fell in.
double water_of_fresh_mm(double fresh_cm, double air_c);

/// Share of the light that reaches the cells, 0..1: exp(-depth / 2.2 cm) in new snow (up to 100 kg/m3), from there on
/// exp(-water / reach), the reach going to 3.5 mm of water at 250 kg/m3 as grains grow. That is 45 to 71 per m, about the
/// middle of the 23 to 97 per m measured with silicon cells (Fukami, Kojima & Aburakawa 1985, Annals of Glaciology 6).
double light_through(double water_mm, double density_kgm3);
inline double light_through(const Layer& layer) { return light_through(layer.water_mm, layer.density_kgm3); }

/// Water of snow of a density that takes `cover` (0..1) of the light; above 0.985 the light says no more.
double water_for_cover(double cover, double density_kgm3);

/// The layer when the light tells how much lies there: as cold as it was; one not known before is as cold as the air.
Layer seen_as(const Layer& layer, double water_mm, double air_c);

/// The layer after `hours` (0..24) of exposure. The whole takes up absorbed sun and the air's warmth, less the glow to the
/// sky, on top, and light that got through, the air at the panel's back and heat from below at the glass. Below freezing
/// that only warms it, above it melts; at night it cools and its water freezes again. A thick layer keeps the cold
/// air off its foot. Coefficients: textbook ranges, in layer.cpp. Slides on tilts of 8 degrees and more only, after
/// Marion et al. 2013. Leaves out rain and drift.
Layer layer_after(Layer layer, const Exposure& exposure, double hours);

/// Does snow on tilted glass let go: air_c above poa_wm2 / -80. Source: Marion et al. 2013, Solar Energy 97, 112.
bool can_slide(double air_c, double poa_wm2);

/// Share of falling snow that stays on a slope free to shed: all up to 30 degrees, none from 60 on.
/// After the roof shape coefficient of EN 1991-1-3 (from memory).
double staying_share(double tilt_deg);

/// Slant height that slides off in an hour: 0.197 sin(tilt). Source as above (printed as 1.97 tenths).
double slide_share_per_h(double tilt_deg);

/// Flatter glass than this does not shed by sliding, whatever the formula says (common practice); only
/// layer_after() applies it.
inline constexpr double least_sliding_tilt_deg = 8;

}  // namespace fw::snow
