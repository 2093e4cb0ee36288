#include "roof/cell.h"

#include <cmath>

namespace fw::roof {

double cell_faiman_c(double poa_wm2, double air_c, double wind_ms, double u0, double u1) {
  return air_c + poa_wm2 / (u0 + u1 * wind_ms);
}

double module_king_c(double poa_wm2, double air_c, double wind_ms) {
  return air_c + poa_wm2 * std::exp(-3.56 - 0.075 * wind_ms);
}

double cell_king_c(double poa_wm2, double air_c, double wind_ms) {
  return module_king_c(poa_wm2, air_c, wind_ms) + poa_wm2 / 1000.0 * 3.0;
}

double cell_ross_c(double poa_wm2, double air_c, double noct_c) { return air_c + (noct_c - 20.0) / 800.0 * poa_wm2; }

}  // namespace fw::roof
