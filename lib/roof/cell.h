#pragma once
// Temperature of the cells, degrees Celsius. Air -60..60, wind 0..60 m/s, irradiance 0..1600 W/m2.

namespace fw::roof {

/// Source: Faiman 2008, Prog. Photovolt. 16, 307; u0 25 W/(m2 K), u1 6.84 W s/(m3 K).
double cell_faiman_c(double poa_wm2, double air_c, double wind_ms, double u0 = 25.0, double u1 = 6.84);

/// Back of module and cell. Source: King et al. 2004, SAND2004-3535, open rack glass/polymer.
double module_king_c(double poa_wm2, double air_c, double wind_ms);
double cell_king_c(double poa_wm2, double air_c, double wind_ms);

/// No wind term. Source: Ross 1981, nominal operating cell temperature 45 C.
double cell_ross_c(double poa_wm2, double air_c, double noct_c = 45.0);

}  // namespace fw::roof
