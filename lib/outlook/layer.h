#pragma once
// A layer of snow on one string's glass, carried forward through the weather ahead. Kept as water (mm,
// equal to kg/m2): water decides both what light gets through and what heat it takes to be rid of it.
#include "units/time.h"

namespace fw::outlook {

struct Layer {
  double water_mm = 0;
};

/// Water in fresh snow of a depth, by the air it fell in (see snow::new_snow_density_kgm3).
double water_of_fresh_mm(double fresh_cm, double air_c);

/// Share of the light that reaches the cells, 0..1, for a layer of settled snow. Fitted to asymptotic
/// two-stream theory for settled snow at 250 kg/m3 (68 % at 2 mm depth, 29 % at 1 cm, 6 % at 5 cm).
double light_through(double water_mm);

/// The layer that takes `cover` (0..1) of the light; above 0.975 the light says no more.
double water_for_cover(double cover);

/// What acts on the glass during a step.
struct Exposure {
  double ghi_wm2 = 0;      ///< on the plane, before the snow
  double air_c = 0;
  double fresh_cm = 0;     ///< falling in the step
  double tilt_deg = 0;
  double wind_ms = 1;
  double clear_share = 1;  ///< of the sky: a clear one draws heat from the snow
};

/// The layer after `hours` of exposure. It melts on two sides. On top: sun absorbed by the snow and air above
/// freezing, less the glow to the sky. At the glass: light that gets through warms the dark cells, and the
/// snow itself keeps the cold air off them, so that a thin layer goes in sun far below freezing. Slides on
/// tilts of 8 degrees and more only, after Marion et al. 2013 (Solar Energy 97, 112). Leaves out rain and drift.
Layer after(Layer layer, const Exposure& e, double hours);

}  // namespace fw::outlook
