#pragma once
// Light through what lies on the glass. Powers of a cell under a layer go with the light.

namespace fw::snow {

/// Kind of snow by how it lets light through.
enum class Grain { coarse_wet, settled, fine };

/// Share of the light a cell can use that passes a snow layer, reflection included, 0..1. depth_cm
/// 0..200 (below 0 counts as 0). A closed form of asymptotic two-stream theory (Kokhanovsky &
/// Zege 2004, Applied Optics 43, 1589: scattering that falls as 1/(1 + c d), absorption as an
/// exponential), fitted to silicon-weighted layers: coarse wet 350 kg/m3 and 4 m2/kg, settled
/// 150 and 30, fine 200 and 50. Within the span of measured extinction (23 to 97 per m, Fukami,
/// Kojima & Aburakawa 1985, Annals of Glaciology 6). About 10 cm leaves next to nothing.
double snow_transmission(double depth_cm, Grain grain = Grain::settled);

/// The span in which measured and computed layers of natural snow lie at a depth.
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
