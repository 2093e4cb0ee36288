#include "roof/string_model.h"

#include <algorithm>

#include "sun/angle.h"

namespace fw::roof {

StringModel::StringModel(const StringSheet& sheet)
    : sheet_(sheet),
      module_(sheet.module),
      normal_(sky::normal(sheet.plane)),
      diffuse_iam_(roof::iam_diffuse(sheet.plane.tilt_deg, sheet.glass)),
      cos_tilt_(sun::cos_deg(sheet.plane.tilt_deg)) {}

StringModel StringModel::on(const sky::Plane& plane) const {
  StringSheet moved = sheet_;
  moved.plane = plane;
  return StringModel(moved);
}

double controller_limit_w(const Controller& controller, double bank_v) {
  return std::min(controller.max_pv_power_w, controller.max_bank_current_a * bank_v / controller.efficiency);
}

double bypassed_voltage_v(const StringModel& string, double v_mp_v, int bypassed) {
  constexpr double diode_v = 0.5;
  const int groups = string.sheet().series * string.sheet().bypass_diodes_per_module;
  if (bypassed <= 0 || groups <= 0) return v_mp_v;
  if (bypassed >= groups) return 0;
  return std::max(v_mp_v * (groups - bypassed) / groups - diode_v * bypassed, 0.0);
}

ColdVoltage cold_voltage(const StringModel& string, double coldest_air_c) {
  const StringSheet& s = string.sheet();
  ColdVoltage c;
  c.v_oc_v = cold_v_oc_v(string.module().rated_v_oc_v(), s.module.beta_per_k, coldest_air_c, s.series);
  c.limit_v = s.controller.max_pv_voltage_v;
  c.margin_share = (c.limit_v - c.v_oc_v) / c.limit_v;
  if (const auto factor = nec_cold_factor(coldest_air_c))
    c.table_v_oc_v = *factor * string.module().rated_v_oc_v() * s.series;
  return c;
}

}  // namespace fw::roof
