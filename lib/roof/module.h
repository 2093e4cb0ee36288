#pragma once
// One module and its current-voltage curve as far as the watch needs it.
#include <array>
#include <optional>

namespace fw::roof {

/// Data sheet, standard test conditions. What a plate does not give is filled in by complete().
struct ModuleSheet {
  double rated_w = 0;             ///< 1..2000
  double gamma_per_k = -0.0035;   ///< relative change of power per kelvin, -0.01..0
  std::optional<double> v_oc_v, v_mp_v, i_sc_a, i_mp_a;
  double beta_per_k = -0.0028;    ///< relative change of open-circuit voltage per kelvin
};

/// DC power in W of modules rated rated_w. effective_wm2: light in the plane after the glass.
/// Source: PVWatts version 5, Dobos 2014, NREL/TP-6A20-62641 (without its low-light branch).
double dc_power_w(double rated_w, double effective_wm2, double cell_c, double gamma_per_k);

/// A module whose low-light behaviour and working voltage follow a one-diode curve.
class Module {
 public:
  explicit Module(const ModuleSheet& sheet);

  /// Power at the maximum power point in W: dc_power_w() times what the one-diode curve loses in
  /// weak light (1 at 1000 W/m2, about 0.97 at 200, 0.93 at 50). Light 0..1600, cell -60..110 C.
  double p_mp_w(double effective_wm2, double cell_c) const;
  /// Voltage at the maximum power point in V; 0 without light.
  double v_mp_v(double effective_wm2, double cell_c) const;
  /// Open-circuit voltage in V; 0 without light.
  double v_oc_v(double effective_wm2, double cell_c) const;
  double i_sc_a(double effective_wm2) const;

  double rated_w() const { return sheet_.rated_w; }
  double rated_v_mp_v() const { return *sheet_.v_mp_v; }
  double rated_v_oc_v() const { return *sheet_.v_oc_v; }
  double rated_i_mp_a() const { return *sheet_.i_mp_a; }
  /// True when voltages come from the sheet and not from a guess by the rating.
  bool voltage_known() const { return voltage_known_; }

 private:
  static constexpr int table_size = 91;
  double v_mp_ratio(double suns) const;
  ModuleSheet sheet_;
  bool voltage_known_ = false;
  double slope_v_ = 0;  ///< n Ns k T / q at 25 C: what a factor e of light does to the open-circuit voltage
  std::array<double, table_size> ratio_{};  ///< v_mp over that at one sun, 25 C, on an even grid of ln(suns) with a node at one sun
};

/// Coldest open-circuit voltage of `series` modules at a cell temperature, V: linear in temperature
/// (practice with IEC 62548 and NEC 690.7). beta_per_k is negative.
double cold_v_oc_v(double v_oc_v, double beta_per_k, double cell_c, int series);

/// Correction for crystalline silicon by the lowest air temperature, NEC table 690.7(A); between whole
/// degrees the colder band. 1 from 25 C up; colder than -40 C gives nothing.
std::optional<double> nec_cold_factor(double air_c);

}  // namespace fw::roof
