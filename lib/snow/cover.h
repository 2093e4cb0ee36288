#pragma once
// Light through what lies on the glass. Powers of a cell under a layer go with the light.

namespace fw::snow {

/// Kind of snow by how it lets light through.
enum class Grain { coarse_wet, settled, fine };

/// Share of the light a cell can use that passes a snow layer, reflection included, 0..1. depth_cm
/// 0..200, below 0 counts as 0. 1 / (1 + a d + b d^2), the start of asymptotic two-stream theory (after
/// Zege and Kokhanovsky), fitted to silicon-weighted layers over a black plate: coarse wet snow of
/// 350 kg/m3 and 4 m2/kg, settled of 150 and 30, fine of 200 and 50. Ten centimetres leave next to
/// nothing.
double snow_transmission(double depth_cm, Grain grain = Grain::settled);

/// The span in which natural snow lies at a depth: the layers above and the extinction measured with silicon
/// cells, 23 to 97 per m (Fukami, Kojima & Aburakawa 1985, Annals of Glaciology 6).
struct Band {
  double low = 0, high = 1;
};
Band snow_transmission_band(double depth_cm);

/// Depth in cm that passes `share` of the light (0..1), the inverse of snow_transmission(); at most 200.
double equivalent_depth_cm(double share, Grain grain = Grain::settled);

/// Share through clear ice without bubbles, silicon-weighted, thickness_mm 0..50; surface reflection
/// left out. Interpolated in figures made from the absorption of Warren & Brandt 2008, J. Geophys.
/// Res. 113 D14220. Frost, rime and bubbly ice scatter: take snow_transmission().
double clear_ice_transmission(double thickness_mm);

}  // namespace fw::snow
