// Which conditions stand: verdicts with memory and a deadband.
#include <algorithm>
#include <cmath>

#include "diagnosis/state.h"
#include "rig/alarm_limits.h"

namespace fw::diagnosis {

namespace {

constexpr double frost_gone_min = 150;      ///< of sun: until then a thin cover may be rime
constexpr Span covered_in = hours{1};       ///< by snow that no forecast speaks of, at the least
constexpr double still_snows = 0.5, not_over = 0.55;   ///< chance that it falls; what is then held to; estimates
constexpr double film_there_min = 300, film_gone_min = 120;   ///< dirt takes days, a cleaning does not
constexpr double alert_from_deg = 10;       ///< a lower sun proves too little

/// Coldest air forecast for the coming night and morning.
std::optional<double> coldest_ahead(const RigMinute& m) {
  std::optional<double> c;
  if (!m.forecast) return c;
  for (const auto& row : m.forecast->rows)
    if (row.air_c && row.from >= m.start && row.from < m.start + hours{18}) c = c ? std::min(*c, *row.air_c) : *row.air_c;
  return c;
}

}  // namespace

void Diagnosis::State::conditions(const RigMinute& m) {
  const Utc now = m.start;
  const bool bank_gone = m.bank_voltage_v && *m.bank_voltage_v < 0.75 * rig.bank.nominal_v;
  for (std::size_t i = 0; i < strings.size(); ++i) {
    StringMemory& s = strings[i];
    const StringLook& l = s.look;
    const Opinion& o = s.opinion;
    const StringMinute& in = m.strings[i];
    const bool light = l.usable && s.verdict.cause != Cause::dark && m.clock_trusted && !bank_gone;
    if (o.snow > 0.5) s.icy_minutes = 180;
    else if (s.icy_minutes > 0 && site_look.air_c.value_or(0) > 2) s.icy_minutes -= 1;

    // over-voltage: the controller waits until the glass has warmed
    const double limit_v = s.calibration.paper().sheet().controller.max_pv_voltage_v;
    const bool over = l.over_voltage;
    if (over) s.over_voltage_volts = l.volts;
    s.over_voltage.step(now, over ? 1 : 0, 3, 0.6, 0.2);
    if (site_look.sun_elevation_deg < 2 && limit_v < 1e8) {
      const auto cold = coldest_ahead(m);
      const auto ahead = cold ? roof::cold_voltage(s.calibration.paper(), *cold) : roof::ColdVoltage{};
      s.cold_open_v = cold && ahead.margin_share < 1 - rig::alarm_limit("over_voltage", rig) ? ahead.v_oc_v : 0;
      s.cold_air_c = cold.value_or(0);
    } else if (site_look.sun_elevation_deg > 15) {
      s.cold_open_v = 0;
    }

    if (site_look.sun_elevation_deg < 0) s.least_pass = 1;
    if (light && !over) {
      const double free = 1 - o.held_back;
      // A thin cover may be frost for the first hours, or a plane that leans otherwise than described for the first days:
      // until then only one that takes two fifths is told. Later an eighth will do, where no snow was forecast a quarter.
      const bool may_be_other = minutes_of_sun < frost_gone_min || !s.calibration.settled();
      const bool thin = o.snow_pass > (may_be_other ? 0.58 : site_look.snow_lately ? 0.88 : 0.72);
      // What a sweeping or a slide left of a closed cover: the word about it is over, though not all of the glass is bare.
      const bool mostly_gone = s.least_pass < 0.2 && o.snow_pass > 0.55;
      // Snow that cloud outweighs, or of which the watts cannot tell, is no word to be sent yet; nor snow out of a sky
      // that promised none on glass that was bare within the hour.
      const bool too_soon = !site_look.forecast_snow && s.last_bare && now - *s.last_bare < covered_in;
      const double sure = (o.cause == Cause::snow && !too_soon) || s.snow.on ? o.snow : std::min(o.snow, 0.6);
      // While it still falls, glass that is free for a while is no end of it.
      const double falls_on = s.snow.on && site_look.snowing > still_snows ? not_over : 0;
      const double snow = std::max(falls_on, mostly_gone ? 0 : thin ? 0.3 * o.snow : sure);
      const bool high = site_look.sun_elevation_deg > alert_from_deg;
      const bool stood = s.snow.on;
      if ((high || s.snow.on) && (free > 0.5 || snow < 0.5)) s.snow.step(now, snow, 5, 0.72, 0.30);
      if (stood && !s.snow.on) s.some_snow_left = mostly_gone && o.snow > 0.5;
      if (s.snow.on && o.snow > 0.5) s.least_pass = std::min(s.least_pass, o.snow_pass);
      if (s.snow.on) s.snow.lost_kwh += s.verdict.split.snow_w / 60e3;
      const bool alive = l.has_volts && l.volts_to_open > 0.5;   // voltage is there, current is not
      if (high) {
        s.outage.step(now, alive ? 0 : o.open * free, 12, 0.85, 0.30);
        s.controller.step(now, alive ? o.open * free : 0, 12, 0.75, 0.30);
        s.half.step(now, o.half * free, 40, 0.88, 0.30);
        s.shade.step(now, o.leaf * free, 60, 0.88, 0.30);
        const bool rests = in.stage && (*in.stage == Stage::floating || *in.stage == Stage::absorption);
        s.float_low.step(now, rests && m.soc && *m.soc < 0.85 && o.held_back > 0.5 ? 1 : 0, 25, 0.8, 0.3);
      }
    }
    const bool open_sky = filter.cloudless() > 0.8 && light;
    if (open_sky && s.film.known()) {
      const double loss = s.film.loss();
      const double limit = rig::alarm_limit("soiling", rig), back = limit - rig.alarm_deadband("soiling", 0.375 * limit);
      const bool dirty = s.film.claimed() && loss > limit && s.film.low() > 0.5 * limit && s.icy_minutes <= 0, clean = loss < back;
      s.soiling.step(now, dirty ? 1 : clean ? 0 : s.soiling.level, clean ? film_gone_min : film_there_min, 0.8, 0.25);
    }
    s.stale.step(now, s.verdict.cause == Cause::stale ? 1 : 0, 3, 0.9, 0.3);
    if (s.verdict.cause == Cause::stale && !s.silent_since) s.silent_since = now - (s.frozen ? in.still_for : std::min<Span>(in.age, hours{48}));
    if (s.verdict.cause != Cause::stale && !s.stale.on) s.silent_since.reset();
    // the reminder for a string its owner switched off
    if (s.off_by_owner) s.may_switch_on = m.cell_min_c && *m.cell_min_c >= rig.bank.window.resume_c + 1 && site_look.sun_elevation_deg > 5;
  }
}

}  // namespace fw::diagnosis
