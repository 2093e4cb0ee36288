#include "outlook/attitude_gain.h"

#include <cmath>

namespace fw::outlook {
namespace {
struct Energy { double today = 0, all = 0; };

Energy energy_at(const rig::Rig& rig, const RoofAhead& roof, const sky::Site& site, Utc today_until, const roof::Attitude& attitude) {
  Energy out;
  sun::Ephemeris ephemeris;
  std::vector<roof::StringModel> models;
  for (const auto& s : rig.strings) {
    const sky::Plane mounted{s.tilt_deg, s.azimuth_deg - rig.site.heading_deg};
    models.push_back(roof::string_model(s).on(roof::plane_on_rig(mounted, attitude)));
  }
  for (std::size_t i = 0; i < roof.steps.size(); i += 2) {
    const auto& step = roof.steps[i];
    if (step.ghi_wm2 <= 0) continue;
    double h = step.hours;
    if (i + 1 < roof.steps.size()) h += roof.steps[i + 1].hours;
    const Utc middle = step.from + Span{static_cast<std::int64_t>(h * 1.8e6)};
    const sky::State sky = sky::under_share_of_clear(sky::clear_state(site, middle, ephemeris, step.air_c), step.clear_share);
    for (const auto& m : models) {
      const double kwh = roof::expected(m, sky, {step.air_c, step.wind_ms.value_or(1)}).limited_w * h / 1000;
      out.all += kwh;
      if (step.from < today_until) out.today += kwh;
    }
  }
  return out;
}
}  // namespace

AttitudeGain attitude_gain(const rig::Rig& rig, const RoofAhead& roof, const sky::Site& site, Utc today_until,
                           const roof::Attitude& now) {
  AttitudeGain out;
  const Energy as_it_stands = energy_at(rig, roof, site, today_until, now);
  out.now_kwh = as_it_stands.all;
  for (const auto& end : {rig.advice.jack_min_deg, rig.advice.jack_max_deg}) {
    if (!end) continue;
    const Energy e = energy_at(rig, roof, site, today_until, {now.heading_deg, *end, now.roll_deg});
    if (e.all - as_it_stands.all > out.pitch_all_kwh) {
      out.pitch_deg = *end;
      out.pitch_kwh = e.today - as_it_stands.today;
      out.pitch_all_kwh = e.all - as_it_stands.all;
    }
  }
  for (int turn : {90, 180, 270}) {
    const Energy e = energy_at(rig, roof, site, today_until, {std::fmod(now.heading_deg + turn, 360.0), now.pitch_deg, now.roll_deg});
    if (e.all - as_it_stands.all > out.turn_all_kwh) {
      out.turn_deg = turn;
      out.turn_all_kwh = e.all - as_it_stands.all;
    }
  }
  return out;
}

}  // namespace fw::outlook
