#include "roof/described.h"

namespace fw::roof {

StringModel string_model(const rig::PvString& s) {
  StringSheet sheet;
  sheet.module.rated_w = s.module.stc_w;
  sheet.module.gamma_per_k = s.module.gamma_pmp_per_k;
  sheet.module.beta_per_k = s.module.beta_voc_per_k;
  if (s.module.v_oc_v > 0) sheet.module.v_oc_v = s.module.v_oc_v;
  if (s.module.v_mp_v > 0) sheet.module.v_mp_v = s.module.v_mp_v;
  sheet.series = s.series;
  sheet.parallel = s.parallel;
  sheet.plane = {s.tilt_deg, s.azimuth_deg};
  sheet.wire_loss_share = s.wire_loss;
  if (s.controller.max_power_w) sheet.controller.max_pv_power_w = *s.controller.max_power_w;
  if (s.controller.max_current_a) sheet.controller.max_bank_current_a = *s.controller.max_current_a;
  if (s.controller.max_voltage_v) sheet.controller.max_pv_voltage_v = *s.controller.max_voltage_v;
  sheet.controller.efficiency = s.controller.efficiency;
  return StringModel(sheet);
}

sky::Site site_of(const rig::Site& site, double latitude_deg, double longitude_deg) {
  sky::Site out = sky::site_at({latitude_deg, longitude_deg, site.altitude_m});
  if (site.linke_turbidity) out.turbidity = *site.linke_turbidity;
  if (!site.horizon.empty()) {
    std::vector<sky::Horizon::Point> points;
    for (const auto& p : site.horizon) points.push_back({p.azimuth_deg, p.elevation_deg});
    out.horizon = sky::Horizon(std::move(points));
  }
  return out;
}

}  // namespace fw::roof
