#pragma once
// One string as built: modules, wiring, plane, losses and the controller behind it.
#include <optional>

#include "roof/glass.h"
#include "roof/module.h"
#include "sky/plane.h"

namespace fw::roof {

struct Controller {
  double max_pv_power_w = 1e9;    ///< its own limit on the array side
  double max_bank_current_a = 1e9;  ///< output side
  double max_pv_voltage_v = 1e9;  ///< above it the controller stops or is damaged
  double efficiency = 0.97;       ///< output over array power, 0.5..1
};

struct StringSheet {
  ModuleSheet module;
  int series = 1;    ///< modules in a row, 1..30
  int parallel = 1;  ///< rows side by side, 1..30
  int bypass_diodes_per_module = 3;
  sky::Plane plane;
  GlassModel glass;
  double loss_share = 0.03;       ///< mismatch, connectors, light dirt, nameplate: of all power, 0..0.5
  double wire_loss_share = 0.01;  ///< of the rating at rated current; falls with the load
  Controller controller;
  bool perez = false;             ///< sky diffuse after Perez 1990 in place of Hay & Davies
};

/// The sheet with everything precomputed that does not change from minute to minute.
class StringModel {
 public:
  explicit StringModel(const StringSheet& sheet);
  const StringSheet& sheet() const { return sheet_; }
  const Module& module() const { return module_; }
  int modules() const { return sheet_.series * sheet_.parallel; }
  double rated_w() const { return module_.rated_w() * modules(); }
  double rated_v_mp_v() const { return module_.rated_v_mp_v() * sheet_.series; }
  const sun::Direction& normal() const { return normal_; }
  const DiffuseIam& diffuse_iam() const { return diffuse_iam_; }
  double cos_tilt() const { return cos_tilt_; }
  /// The same string on another plane (the rig stands otherwise, or calibration has moved it).
  StringModel on(const sky::Plane& plane) const;

 private:
  StringSheet sheet_;
  Module module_;
  sun::Direction normal_;
  DiffuseIam diffuse_iam_;
  double cos_tilt_ = 1;
};

/// Power limit on the array side, W, at a bank voltage (rated power limit and output current).
double controller_limit_w(const Controller& controller, double bank_v);

/// Voltage of the string with `bypassed` of its diode groups out of work in every row (0..all): the
/// groups' share is gone and each conducting diode costs 0.5 V. 0 when all are bypassed.
double bypassed_voltage_v(const StringModel& string, double v_mp_v, int bypassed);

/// Does a cold morning bring the open string too near the controller's maximum?
struct ColdVoltage {
  double v_oc_v = 0;     ///< at the coldest cell, full light
  double limit_v = 0;
  double margin_share = 0;  ///< (limit - v_oc) / limit; negative is over
  std::optional<double> table_v_oc_v;  ///< with the NEC table factor in place of the coefficient
};
ColdVoltage cold_voltage(const StringModel& string, double coldest_air_c);

}  // namespace fw::roof
