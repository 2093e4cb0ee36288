#pragma once
// What a string of modules makes of uneven light: modules of three bypassed parts in rows, rows in parallel. Test only.
#include <vector>

namespace fw::score {

struct Cells {
  double stc_w = 300;           ///< a module as it really is
  double v_mp = 32, v_oc = 38;
  double gamma_per_k = -0.0037, beta_oc_per_k = -0.0029, beta_mp_per_k = -0.0036;
  double light_v = 0.025;       ///< working voltage's share lost per e-fold of light
  double dim_w = 25;            ///< below about this light the yield falls
  int series = 2, parallel = 1;
};
struct Working {
  double power_w = 0, volts = 0, open_volts = 0;
};
/// light[row][part]: W/m2 behind the glass of each bypassed part (series * 3 parts a row).
Working working_point(const Cells& cells, const std::vector<std::vector<double>>& light, double cell_c);
/// The voltage above the working point at which only `share` of the power flows.
double throttled_volts(const Working& full, double share);

}  // namespace fw::score
