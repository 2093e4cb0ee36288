#include "outlook/outlook.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "outlook/sentences.h"
#include "units/json.h"
#include "units/text.h"

namespace fw::outlook {
namespace {
constexpr Span plan_every = minutes{15};
constexpr Span soc_fresh = minutes{30};
constexpr double sure_enough = 0.6;
constexpr double cover_that_counts = 0.15;
constexpr Span cleared_within = minutes{25};
constexpr Span snow_lasts = hours{36};
constexpr double seen_for_min = 60;
constexpr double closed_cover = 0.7, part_left = 0.45, dim_share = 0.35;
constexpr Span balance_span = hours{3};
constexpr double reserve_warn_h = 48;
constexpr double heavy_warn_h = 3;
constexpr double surplus_kwh = 0.5;
constexpr double cabin_limit_c = 4;
constexpr double likely_sd = 0.67;  // three chances in four

constexpr double light_counts = 1.0 / 20;  // a minute, against the layer as followed so far
constexpr double brightest_share = 1.05;   // of the cloudless light, over minutes
constexpr double bare_above = 0.85;
constexpr double light_that_tells = 0.05;  // cloudless watts over rated watts; below it no share means much
constexpr double looks_dead = 0.8;         // cover from which a string gives as little as one that is off
constexpr double dead_volts = 0.1;         // of the volts at its best power: nothing connected
constexpr Span replan_after = minutes{2};
constexpr Span gone_for = minutes{55};     // advice that a passing load or cloud takes away comes back

/// Share of the light the snow takes: what the verdict believes and what the string makes of the light assumed, each
/// unsure in its own way; the middle of the two on the scale on which snow adds up.
double cover_seen(const Verdict& v, double rated_w) {
  const double believed = 1 - std::clamp(v.snow_cover.value_or(0.9), 0.0, 0.999);
  if (!v.measured_w || v.cause != Cause::snow || v.expected_w < 0.03 * rated_w) return 1 - believed;
  return 1 - std::sqrt(believed * std::clamp(*v.measured_w / v.expected_w, 0.002, 1.0));
}

bool sees_sky(Cause c) { return c == Cause::clear || c == Cause::cloud || c == Cause::soiling; }
bool free_of_snow(Cause c) { return sees_sky(c) || c == Cause::shade; }

nlohmann::json json_of(const snow::Layer& l) { return {l.water_mm, l.cold_wh_m2, l.density_kgm3}; }

snow::Layer layer_in(const nlohmann::json& row, const char* key) {
  const auto it = row.find(key);
  if (it == row.end() || !it->is_array() || it->size() != 3) return {};
  for (const auto& v : *it)
    if (!v.is_number()) return {};
  return {std::clamp((*it)[0].get<double>(), 0.0, 1000.0), std::clamp((*it)[1].get<double>(), 0.0, 1e5),
          std::clamp((*it)[2].get<double>(), 30.0, 500.0)};
}

nlohmann::json json_of(const bank::ThermalModel::Memory& m) {
  nlohmann::json turns = nlohmann::json::array();
  for (const auto& [at, low_c, amplitude_k, strength] : m.turns) turns.push_back({ms_of(at), low_c, amplitude_k, strength});
  return {{"x", m.x}, {"p", m.p}, {"error", m.error}, {"hours", m.hours}, {"turns", turns}};
}

std::optional<bank::ThermalModel::Memory> memory_in(const nlohmann::json& j) {
  auto numbers = [](const nlohmann::json& a, std::size_t n) {
    return a.is_array() && a.size() == n && std::all_of(a.begin(), a.end(), [](const auto& v) { return v.is_number(); });
  };
  bank::ThermalModel::Memory m;
  if (!j.is_object() || !j.contains("x") || !j.contains("p") || !j.contains("error") || !j.contains("hours") || !j.contains("turns")) return {};
  if (!numbers(j["x"], m.x.size()) || !j["p"].is_array() || j["p"].size() != m.p.size() || !j["error"].is_number() ||
      !j["hours"].is_number() || !j["turns"].is_array())
    return {};
  for (std::size_t i = 0; i < m.x.size(); ++i) m.x[i] = j["x"][i].get<double>();
  for (std::size_t i = 0; i < m.p.size(); ++i) {
    if (!numbers(j["p"][i], m.p[i].size())) return {};
    for (std::size_t k = 0; k < m.p[i].size(); ++k) m.p[i][k] = j["p"][i][k].get<double>();
  }
  m.error = j["error"].get<double>();
  m.hours = j["hours"].get<double>();
  for (const auto& t : j["turns"]) {
    if (!numbers(t, 4)) return {};
    m.turns.push_back({elapsed_ms(static_cast<std::int64_t>(t[0].get<double>())), t[1].get<double>(), t[2].get<double>(), t[3].get<double>()});
  }
  return m;
}
}  // namespace

Outlook::Outlook(const rig::Rig& rig, const Words& words)
    : rig_(rig), words_(words), thermal_(std::max(1.0, rig.bank.capacity_wh())), strings_(rig.strings.size()), away_(rig.advice.away) {
  latitude_deg_ = rig.site.latitude_deg;
  longitude_deg_ = rig.site.longitude_deg;
}

std::optional<double> Outlook::load_of(const RigMinute& m) const {
  if (m.load_w) return m.load_w;
  if (shore_ || !m.bank_current_a || !m.bank_voltage_v) return {};
  double made = 0;
  for (std::size_t s = 0; s < m.strings.size() && s < rig_.strings.size(); ++s) {
    if (!m.strings[s].power_w) return {};
    made += *m.strings[s].power_w * rig_.strings[s].controller.efficiency;
  }
  return std::max(0.0, made - *m.bank_current_a * *m.bank_voltage_v);
}

void Outlook::learn(const RigMinute& m, const std::vector<Verdict>& verdicts) {
  if (m.forecast && (!has_forecast_ || m.forecast->received != forecast_.received)) {
    forecast_ = *m.forecast;
    has_forecast_ = true;
    replan_now_ = true;
  }
  air_c_ = m.air_c ? m.air_c : air_c_;
  cabin_c_ = m.cabin_c;
  if (m.wind_ms) {
    wind_ms_ = m.wind_ms;
    wind_at_ = m.start;
  }
  bank_v_ = m.bank_voltage_v;
  bank_a_ = m.bank_current_a;
  cell_c_ = m.cell_min_c ? m.cell_min_c : cell_c_;
  if (m.heading_deg) heading_deg_ = m.heading_deg;
  if (m.pitch_deg) pitch_deg_ = m.pitch_deg;
  if (m.roll_deg) roll_deg_ = m.roll_deg;
  if (m.latitude_deg != 0 || m.longitude_deg != 0) {
    latitude_deg_ = m.latitude_deg;
    longitude_deg_ = m.longitude_deg;
  }
  if (m.soc) {
    if (soc_ && std::abs(*m.soc - *soc_) > 0.03) replan_now_ = true;
    if (!soc_) replan_now_ = true;
    soc_ = m.soc;
    soc_at_ = m.start;
  } else if (soc_at_ && m.start - *soc_at_ > soc_fresh) {
    soc_.reset();
  }
  const bool allowed = (!m.permit_known || m.permit) && m.charge_allowed.value_or(true);
  if (allowed != charging_allowed_) replan_now_ = true;
  charging_allowed_ = allowed;

  if (!m.clock_trusted) return;
  const Utc hour = floor_to(m.start, hours{1});
  if (!hour_ || hour != *hour_) {
    if (hour_) close_hour(m);
    hour_ = hour;
  }
  for (std::size_t s = 0; s < verdicts.size() && s < strings_.size(); ++s) {
    const Verdict& v = verdicts[s];
    // A string held back says nothing of the light by itself; leaving the best hours out would make every sunny place dark.
    const bool held_back = v.cause == Cause::curtailed;
    if ((!sees_sky(v.cause) && !held_back) || v.confidence < 0.5 || !v.measured_w || v.clear_sky_w < 0.03 * rig_.strings[s].rated_w()) continue;
    const double light = held_back ? std::max(v.expected_w, *v.measured_w) : *v.measured_w;
    hour_light_w_ += light / (1 - std::clamp(v.soiling_loss.value_or(0), 0.0, 0.5));
    hour_clear_w_ += v.clear_sky_w;
    noon_clear_w_ = std::max(noon_clear_w_ * 0.99999, v.clear_sky_w);
  }
  if (m.air_c) {
    air_sum_ += *m.air_c;
    ++air_count_;
  }
  const auto load = load_of(m);
  if (load && !shore_) loads().learn(m.start, words_.minute_of_day(m.start), *load, m.air_c);
  const bool heavy = loads().heavy().has_value();
  if (heavy != heavy_before_) replan_now_ = true;
  heavy_before_ = heavy;
  if (m.cell_min_c) {
    const double c_rate = m.bank_current_a && rig_.bank.capacity_ah > 0 ? std::abs(*m.bank_current_a) / rig_.bank.capacity_ah : 0;
    thermal_.learn(m.at, *m.cell_min_c, {m.air_c, m.cabin_c, m.bank_heater_w.value_or(0), c_rate});
  }
  heater_on_ = m.bank_heater_on.value_or(m.bank_heater_w.value_or(0) > 1);
  heater_w_ += (m.bank_heater_w.value_or(0) - heater_w_) / 1440;

  // What the bank says against what was counted.
  double made = 0;
  bool complete = load.has_value() && !shore_;
  for (std::size_t s = 0; s < m.strings.size() && s < rig_.strings.size(); ++s) {
    complete &= m.strings[s].power_w.has_value();
    made += m.strings[s].power_w.value_or(0) * rig_.strings[s].controller.efficiency;
  }
  if (complete && m.soc && *m.soc > 0.985 && made > 0)
    full_draw_w_ += (std::clamp(made - *load, 0.0, 0.2 * made) - full_draw_w_) / 180;
  if (!complete || !soc_ || *soc_ > 0.985 || !m.soc) {
    balance_from_.reset();
  } else if (!balance_from_) {
    balance_from_ = m.start;
    balance_soc_ = *soc_;
    balance_wh_ = 0;
  } else {
    balance_wh_ += (made - *load) / 60 * (made > *load ? charge_efficiency : 1);
    if (m.start - *balance_from_ >= balance_span) {
      const double h = hours_of(m.start - *balance_from_);
      const double missing = (balance_wh_ - (*soc_ - balance_soc_) * rig_.bank.capacity_wh()) / h;
      const double bound = std::max(20.0, 0.3 * loads().usual(12, air_c_).watts);
      unexplained_w_ += 0.06 * (std::clamp(missing, -bound, bound) - unexplained_w_);
      balance_from_.reset();
    }
  }
}

void Outlook::close_hour(const RigMinute& m) {
  const ForecastHour* said = has_forecast_ ? forecast_.at(*hour_) : nullptr;
  std::optional<double> share;
  double weight = 0;
  if (hour_clear_w_ > 0) {
    share = std::clamp(hour_light_w_ / hour_clear_w_, 0.0, 1.3);
    weight = std::min(1.0, hour_clear_w_ / 60 / noon_clear_w_ / static_cast<double>(std::max<std::size_t>(1, strings_.size())));
  }
  weather_.learn(*hour_, share, weight, air_count_ > 0 ? std::optional<double>(air_sum_ / air_count_) : std::nullopt, said);
  hour_light_w_ = hour_clear_w_ = air_sum_ = 0;
  air_count_ = 0;

  // What was said of this hour a day ago, and what is said now of the same hour tomorrow.
  while (!promises_.empty() && promises_.front().due <= m.start) {
    const Promise p = promises_.front();
    promises_.pop_front();
    if (!soc_ || shore_ || m.start - p.due > hours{1} || p.sigma <= 0.003) continue;
    const double z = (*soc_ - p.mid) / p.sigma;
    missed2_ = missed2_ * 0.996 + std::min(z * z, 16.0);
    missed_weight_ = missed_weight_ * 0.996 + 1;
  }
  if (plan_.soc_known && plan_.hours.size() > 25 && m.start - plan_.at < hours{1}) {
    const PlanHour& h = plan_.hours[23];
    const double widen = std::sqrt((40 + missed2_) / (40 + missed_weight_));
    promises_.push_back({h.from + hours{1}, h.soc_mid, (h.soc_high - h.soc_low) / 2 / 1.2816 / widen});
    while (promises_.size() > 48) promises_.pop_front();
  }
}

void Outlook::follow_strings(const RigMinute& m, const std::vector<Verdict>& verdicts) {
  const ForecastHour* said = has_forecast_ ? forecast_.at(m.start) : nullptr;
  const double fresh_cm = said ? said->snow_cm.value_or(0) / 60 : 0;
  const bool snowing = said && said->snow_cm.value_or(0) >= 0.1;
  if (snowing != snowing_) replan_now_ = true;
  if (snowing) snow_fell_at_ = m.start;
  // A dark ridge at dawn looks like snow for a while: what nobody forecast has to be seen for longer before its going is a clearing.
  const bool fell = snow_fell_at_ && m.start - *snow_fell_at_ < snow_lasts;
  snowing_ = snowing;
  for (std::size_t s = 0; s < strings_.size() && s < verdicts.size(); ++s) {
    StringState& state = strings_[s];
    const Verdict& v = verdicts[s];
    const double rated = std::max(1.0, rig_.strings[s].rated_w());
    const double ghi = std::clamp(v.expected_w / rated * 1000 / 0.88, 0.0, 1200.0);
    const double share = v.clear_sky_w > 0 ? v.expected_w / v.clear_sky_w : 0.5;
    const snow::Exposure e{ghi, air_c_.value_or(0), fresh_cm, rig_.strings[s].tilt_deg, wind_ms_.value_or(1), share};
    const bool tells = v.clear_sky_w >= light_that_tells * rated;
    state.layer = layer_after(state.layer, e, 1.0 / 60);
    const double share_of_clear = v.measured_w && v.clear_sky_w > 0 ? *v.measured_w / v.clear_sky_w : 1;
    if (v.cause == Cause::snow || (v.cause == Cause::unsure && v.snow_cover)) {
      if (v.measured_w && *v.measured_w < dim_share * v.expected_w) state.dim_at = m.start;
      const double cover = cover_seen(v, rated);
      // Swept or slid in part: the weather does not bare half the glass within minutes.
      const bool stepped = state.snow_seen && m.start - *state.snow_seen <= cleared_within && state.cover_before > closed_cover && cover < part_left;
      if (tells) ++state.minutes_under;
      if (stepped && tells && !state.cleared_at && (fell || state.minutes_under >= seen_for_min)) {
        begin_account(state, state.dim_at ? *state.dim_at + minutes{1} : m.start);
        state.layer = seen_as(state.layer, snow::water_for_cover(cover, state.layer.density_kgm3), air_c_.value_or(0));
        state.cover_before = cover;
        replan_now_ = true;
      }
      const double by_light = snow::water_for_cover(cover, state.layer.density_kgm3);
      double water = cover > 0.95 ? std::max(by_light, state.layer.water_mm) : by_light;
      // A layer followed so far gives way to what the light shows within the half hour, not with every cloud.
      if (state.layer.water_mm > 0) water = state.layer.water_mm + (water - state.layer.water_mm) * light_counts;
      state.layer = seen_as(state.layer, water, air_c_.value_or(0));
      // Where the light no longer tells one thickness from another, what comes through still tells how little it is.
      const double through = light_through(state.layer);
      if (cover < 0.95) state.thick_pass = 1;
      else if (tells && v.measured_w && v.expected_w > 0)
        state.thick_pass += (std::clamp(*v.measured_w / v.expected_w / through, 0.0, 1.0) - state.thick_pass) * light_counts;
      state.cover_before = std::max(cover, state.cover_before * 0.98);
      state.shown_under_snow += (share_of_clear - state.shown_under_snow) * (state.shown_under_snow > 0 ? 1.0 / 15 : 1);
      state.snow_seen = m.start;
    } else if (free_of_snow(v.cause) && v.confidence >= sure_enough) {
      const bool at_once = (fell || state.minutes_under >= seen_for_min) && state.snow_seen && m.start - *state.snow_seen <= cleared_within && state.cover_before > 0.5 && !state.cleared_at;
      const double would = 1 - light_through(state.layer);
      // The weather did not do that, and more comes through than the layer would pass under the brightest sky.
      const bool proven = v.measured_w && *v.measured_w > 1.3 * (1 - would) * v.clear_sky_w;
      if (at_once && would > 0.4 && proven) {
        begin_account(state, m.start);
      }
      // What comes through proves bare glass, not the cause given for what does not: a dark sky and a shadow look like snow.
      if (tells) {
        const bool stepped = state.snow_seen && state.shown_under_snow > 0 && share_of_clear > 2.5 * state.shown_under_snow && m.start - *state.snow_seen <= cleared_within;
        const double shown = v.cause == Cause::clear || stepped ? 1 : share_of_clear / brightest_share / (1 - std::clamp(v.soiling_loss.value_or(0), 0.0, 0.5));
        const double at_most = shown < bare_above ? snow::water_for_cover(1 - std::max(shown, 0.0), state.layer.density_kgm3) : 0;
        if (at_most < state.layer.water_mm) {
          if (state.layer.water_mm - at_most > 0.5) replan_now_ = true;
          state.layer = seen_as(state.layer, at_most, air_c_.value_or(0));
        }
      }
      if (state.layer.water_mm == 0) {
        state.shown_under_snow = state.cover_before = state.minutes_under = 0;
        state.thick_pass = 1;
        state.snow_seen.reset();
      }
    }
    if (state.cleared_at) {
      state.would_be = layer_after(state.would_be, e, 1.0 / 60);
      const double without = v.expected_w * light_through(state.would_be);
      if (v.measured_w) state.brought_kwh += std::max(0.0, *v.measured_w - without) / 60000;
    }
    const bool under = 1 - light_through(state.layer) > (state.under_snow ? 0.7 : 1) * cover_that_counts;
    if (under != state.under_snow) replan_now_ = true;
    state.under_snow = under;
    if (v.soiling_loss) state.soiling_loss = std::clamp(*v.soiling_loss, 0.0, 0.6);
    if (v.cause == Cause::outage) {
      const auto& string = rig_.strings[s];
      const auto volts = s < m.strings.size() ? m.strings[s].voltage_v : std::nullopt;
      const bool dead = volts && *volts < std::max(2.0, dead_volts * string.module.v_mp_v * string.series);
      if (dead || !state.snow_seen || 1 - light_through(state.layer) < looks_dead)
        state.standing_share = std::clamp(v.performance_index.value_or(0), 0.0, 1.0);
    } else if (v.cause != Cause::dark && v.cause != Cause::stale && v.cause != Cause::unsure) {
      state.standing_share = 1 - state.soiling_loss;
    }
  }
  end_clearing_account(m.start, m.at, m.clock_trusted);
}

/// What a clearing brings is counted from here, and what was said of it is kept.
void Outlook::begin_account(StringState& state, Utc at) {
  state.cleared_at = at;
  state.would_be = state.layer;
  state.brought_kwh = 0;
  const Clearing& c = plan_.clearing;
  if (!promised_kwh_ && planned_at_ && c.choice != Choice::no_snow) promised_kwh_ = c.choice == Choice::wait_snow ? std::max(c.now_kwh, 0.0) : c.today_kwh;
}

// A clearing's account closes at dusk or when the snow would have gone.
void Outlook::end_clearing_account(Utc utc, Elapsed at, bool trusted) {
  double kwh = 0;
  bool any = false, open = false;
  Utc first = utc;
  for (const auto& s : strings_) {
    if (!s.cleared_at) continue;
    any = true;
    kwh += s.brought_kwh;
    first = std::min(first, *s.cleared_at);
    open |= s.would_be.water_mm > 0.05 && words_.local_midnight(utc) == words_.local_midnight(*s.cleared_at) &&
            words_.minute_of_day(utc) < 21 * 60;
  }
  if (!any || open) return;
  AdviceRow row{{utc, at, trusted}, "clearing", "", kwh, first, {}, ""};
  row.text = "Cleared about " + words_.clock(first) + ", brought about " + Words::energy(kwh) + " that day" +
             (promised_kwh_ ? " (expected: " + about(*promised_kwh_) + ")." : ".");
  promised_kwh_.reset();
  row.outcome = "done: brought " + Words::energy(kwh);
  effects_.push_back(Store{row});
  brought_ = row.text;
  brought_until_ = words_.next_local_midnight(utc) + hours{12};
  for (auto& s : strings_) s.cleared_at.reset();
}

void Outlook::replan(const RigMinute& m, const std::vector<const roof::Calibration*>& calibrations) {
  PlanInput in;
  in.now = m.start + minutes{1};
  for (std::size_t s = 0; s < strings_.size(); ++s) {
    StringNow now;
    if (s < calibrations.size()) now.calibration = calibrations[s];
    now.layer = strings_[s].layer;
    now.standing_share = strings_[s].standing_share;
    now.thick_pass = strings_[s].under_snow ? strings_[s].thick_pass : 1;
    in.strings.push_back(now);
    in.under_snow.push_back(strings_[s].under_snow);
    in.snow_seen |= strings_[s].under_snow && strings_[s].snow_seen.has_value();
  }
  in.away = away_;
  const Now now{m.at, in.now, m.clock_trusted};
  in.weather = weather_.ahead(now, plan_hours + 1, has_forecast_ ? &forecast_ : nullptr, air_c_);
  in.forecast_used = std::any_of(in.weather.begin(), in.weather.end(), [](const WeatherHour& w) { return w.forecast; });
  if (has_forecast_) in.forecast_age = m.at - forecast_.received;
  in.site = roof::site_of(rig_.site, latitude_deg_, longitude_deg_);
  in.snowing_now = snowing_;
  in.advised = plan_.clearing.choice == Choice::clear;
  if (wind_at_ && m.start - *wind_at_ < hours{2}) in.wind_ms = wind_ms_;
  for (const auto& s : strings_) in.soiling_loss.push_back(s.soiling_loss);
  // Whoever has a jack or knows his heading can stand otherwise.
  const bool movable = rig_.advice.jack_min_deg || rig_.advice.jack_max_deg || heading_deg_;
  if (movable && words_.minute_of_day(in.now) < 17 * 60)
    in.attitude = roof::Attitude{heading_deg_.value_or(rig_.site.heading_deg), pitch_deg_.value_or(rig_.site.pitch_deg),
                                 roll_deg_.value_or(rig_.site.roll_deg)};

  std::vector<double> heat_w(in.weather.size(), 0);
  if (cell_c_ && rig_.has_bank) {
    double rated = 0;
    std::vector<bank::Thermostat> heaters;
    for (const auto& h : rig_.heaters) {
      heaters.push_back({h.on_below_c, h.off_above_c, h.rated_w, heater_on_});
      rated += h.rated_w;
    }
    auto surroundings = [&](Span ahead, double) {
      const auto h = static_cast<std::size_t>(std::clamp<std::int64_t>((in.now + ahead - in.weather.front().from) / hours{1}, 0,
                                                                       std::ssize(in.weather) - 1));
      return bank::Surroundings{in.weather[h].air_c, cabin_c_, 0, 0};
    };
    const auto course = bank::course_of(thermal_, *cell_c_, surroundings, hours{plan_hours + 1}, 1.5, heaters);
    const auto hold = thermal_.hold();
    // Without a heater cells do not go on rising for days above all that surrounds them, whatever made them rise today.
    double ceiling = std::max(*cell_c_, cabin_c_.value_or(-99));
    const auto half_day = static_cast<std::size_t>(hours{12} / minutes{5});
    if (course.size() > half_day) ceiling = std::max(ceiling, course[half_day].cell_c);
    for (std::size_t h = 0; h < in.weather.size(); ++h) {
      const Span middle = in.weather[h].from + minutes{30} - in.now;
      const auto i = std::clamp<std::int64_t>(middle / minutes{5}, 0, std::ssize(course) - 1);
      double cell = course.empty() ? *cell_c_ : course[static_cast<std::size_t>(i)].cell_c;
      ceiling = std::max(ceiling, in.weather[h].air_c);
      if (rated == 0) cell = std::min(cell, ceiling);
      if (hold) cell = std::max(cell, hold->turn_c);
      // Until a day has shown how fast the cells follow, sun is not written off for a cold that is only guessed.
      if (thermal_.hours_learned() < 24 && *cell_c_ > rig_.bank.window.resume_c + 2) cell = std::max(cell, rig_.bank.window.resume_c + 1);
      // Held off by cold now: sun is counted again only when the cells are likely warm enough, not just perhaps.
      if (!course.empty() && *cell_c_ < rig_.bank.window.resume_c && !charging_allowed_) cell -= course[static_cast<std::size_t>(i)].sigma_k * likely_sd;
      in.cells_c.push_back(cell);
      // Held by a heater, or above all doubt for want of a day's learning: no spread to speak of.
      in.cell_sigma_k.push_back(course.empty() || hold || thermal_.hours_learned() < 24 ? 0 : course[static_cast<std::size_t>(i)].sigma_k);
      if (rated > 0) {
        int held = 0, points = 0;
        for (auto k = std::max<std::int64_t>(0, i - 6); k < std::min<std::int64_t>(i + 6, std::ssize(course)); ++k, ++points) held += course[static_cast<std::size_t>(k)].held;
        heat_w[h] = points > 0 ? std::max(0.0, rated * held / points - heater_w_) : 0;
      }
    }
  }
  for (std::size_t h = 0; h < in.weather.size(); ++h) {
    const Span ahead = std::max<Span>(Span{}, in.weather[h].from - in.now);
    const auto l = loads().ahead(ahead, words_.minute_of_day(in.weather[h].from) / 60, in.weather[h].air_c);
    in.loads.push_back({l.watts + heat_w[h], l.error_w});
  }
  if (soc_ && rig_.has_bank) {
    BankNow b;
    b.soc = *soc_;
    b.charging_allowed = charging_allowed_;
    b.widen = std::clamp(std::sqrt((40 + missed2_) / (40 + missed_weight_)), 0.4, 3.0);
    b.unexplained_w = unexplained_w_;
    b.full_draw_w = full_draw_w_;
    in.bank = b;
  }
  plan_ = make_plan(rig_, words_, in);
  planned_at_ = m.start;
  replan_now_ = false;

  ahead_standing_ = [&] {
    if (!plan_.soc_known || shore_) return false;
    const double first = rig_.alarm_limit("reserve_ahead", reserve_warn_h);
    const double limit = ahead_standing_ ? first + rig_.alarm_deadband("reserve_ahead", 0.25 * first) : first;
    const auto at = rig_.bank.departure_reserve_soc > rig_.bank.reserve_soc ? plan_.departure_at : plan_.reserve_at;
    if (away_ && plan_.reserve_at && hours_of(*plan_.reserve_at - plan_.at) < (ahead_standing_ ? 28 : 14) * 24) return true;
    if (at && hours_of(*at - plan_.at) <= limit) return true;
    return plan_.reserve_at && hours_of(*plan_.reserve_at - plan_.at) <= limit;
  }();
}

void Outlook::on_minute(const RigMinute& m, const std::vector<Verdict>& verdicts,
                        const std::vector<const roof::Calibration*>& calibrations) {
  learn(m, verdicts);
  follow_strings(m, verdicts);
  if (cabin_c_)
    cabin_standing_ = *cabin_c_ <= rig_.alarm_limit("cabin_cold", cabin_limit_c) + (cabin_standing_ ? rig_.alarm_deadband("cabin_cold", 1) : 0);
  if (soc_) low_standing_ = *soc_ <= low_limit() + (low_standing_ ? rig_.alarm_deadband("bank_low", 0.03) : 0);
  if (!m.clock_trusted) return;
  const bool due = !planned_at_ || m.start - floor_to(*planned_at_, plan_every) >= plan_every || m.start < *planned_at_;
  if (due || (replan_now_ && m.start - *planned_at_ >= replan_after)) {
    replan(m, calibrations);
    advise(m);
  }
}

void Outlook::put(const std::string& kind, const Advice& advice, const Stamp& when) {
  bool store = true;
  gone_since_.erase(kind);
  const auto standing = advice_.find(kind);
  if (standing != advice_.end()) {
    const Advice& old = standing->second;
    const double before = old.gain_kwh.value_or(0), now = advice.gain_kwh.value_or(0);
    const bool same_gain = std::abs(before - now) <= 0.1 + 0.25 * std::max(std::abs(before), std::abs(now));
    auto near = [&](const std::optional<Utc>& x, const std::optional<Utc>& y) {
      if (x.has_value() != y.has_value()) return false;
      if (!x) return true;
      const Span apart = std::max(*x, *y) - std::min(*x, *y);
      return apart <= std::max<Span>(hours{1}, (std::min(*x, *y) - when.utc) / 4);
    };
    // A window that time has run into is the same advice.
    const bool same_time = (old.best_from && *old.best_from <= when.utc) ||
                           (near(old.best_from, advice.best_from) && (advice.best_from || near(old.best_to, advice.best_to)));
    const bool same_head = old.sort == advice.sort;
    if (same_gain && same_time && same_head) return;
    // Running out while its hours run is no new advice: its topic keeps up, the journal need not.
    store = !(same_head && same_time && old.best_from && *old.best_from <= when.utc && now < before);
  }
  advice_[kind] = advice;
  if (store) effects_.push_back(Store{AdviceRow{when, kind, advice.text, advice.gain_kwh, advice.best_from, advice.best_to, ""}});
  nlohmann::json j{{"utc", iso_utc(when.utc)}, {"kind", kind}, {"text", advice.text}};
  if (advice.gain_kwh) j["gain_kwh"] = std::round(*advice.gain_kwh * 1000) / 1000;
  if (advice.best_from) j["best_from_utc"] = iso_utc(*advice.best_from);
  if (advice.best_to) j["best_to_utc"] = iso_utc(*advice.best_to);
  Publish p;
  p.topic = "firnwatt/" + rig_.name + "/advice/" + kind;
  p.payload = json_text(j);
  p.qos = 1;
  p.retain = true;
  effects_.push_back(p);
}

void Outlook::withdraw(const std::string& kind, const std::string& why, const Stamp& when) {
  const auto it = advice_.find(kind);
  if (it == advice_.end()) return;
  effects_.push_back(Store{AdviceRow{when, kind, it->second.text, it->second.gain_kwh, it->second.best_from, it->second.best_to, why}});
  Publish p;
  p.topic = "firnwatt/" + rig_.name + "/advice/" + kind;
  p.qos = 1;
  p.retain = true;
  effects_.push_back(p);
  advice_.erase(it);
  gone_since_.erase(kind);
}

void Outlook::withdraw_if_lasting(const std::string& kind, const std::string& why, const Stamp& when) {
  if (!advice_.contains(kind)) return;
  const auto [since, first] = gone_since_.try_emplace(kind, when.at);
  if (first || when.at - since->second < gone_for) return;
  withdraw(kind, why, when);
}

void Outlook::advise(const RigMinute& m) {
  const Stamp when{m.start, m.at, m.clock_trusted};
  const Clearing& c = plan_.clearing;
  const bool trifle = c.choice == Choice::too_small && std::max({c.today_kwh, c.possible_today_kwh, c.later_kwh}) < 0.1;
  if (rig_.advice.climb == rig::Climb::never && !away_) {
    withdraw("clearing", "withdrawn: nobody climbs", when);
  } else if (c.choice == Choice::no_snow || (trifle && !advice_.contains("clearing"))) {
    const bool done = std::any_of(strings_.begin(), strings_.end(), [](const StringState& s) { return s.cleared_at.has_value(); });
    withdraw("clearing", done ? "done: cleared" : "withdrawn: the glass is free", when);
  } else {
    Advice a{clearing_text(rig_, words_, plan_, away_), c.today_kwh, {}, {}, std::to_string(static_cast<int>(c.choice)) + (away_ ? "away" : "")};
    const bool worth_after = c.choice == Choice::wait_snow && (!c.lies_now || c.today_kwh >= rig_.advice.min_gain_kwh);
    if (c.choice == Choice::clear || worth_after) {
      a.best_from = c.best_from;
      a.best_to = c.best_to;
    }
    put("clearing", a, when);
  }
  const double worth_telling = advice_.contains("surplus") ? 0.6 * surplus_kwh : surplus_kwh;  // no coming and going at the limit
  if (plan_.surplus_today && plan_.surplus_today->kwh >= worth_telling) {
    const auto& s = *plan_.surplus_today;
    put("surplus", {surplus_text(words_, plan_), s.kwh, s.from, s.to, "today"}, when);
  } else if (!plan_.surplus_today && plan_.surplus_tomorrow && plan_.surplus_tomorrow->kwh >= worth_telling) {
    const auto& s = *plan_.surplus_tomorrow;
    put("surplus", {surplus_text(words_, plan_), s.kwh, s.from, s.to, "tomorrow"}, when);
  } else {
    const bool over = advice_.contains("surplus") && advice_["surplus"].best_to && *advice_["surplus"].best_to <= when.utc;
    if (over) withdraw("surplus", "withdrawn: no more to spare", when);
    else withdraw_if_lasting("surplus", "withdrawn: no more to spare", when);
  }
  if (plan_.cleaning.worth_it && !away_ && rig_.advice.climb != rig::Climb::never)
    put("cleaning", {cleaning_text(words_, plan_), plan_.cleaning.kwh_a_week, {}, {}, "film"}, when);
  else
    withdraw("cleaning", "withdrawn: not worth it now", when);
  if (plan_.attitude) {
    const std::string text = attitude_text(rig_, words_, plan_);
    if (!text.empty() && !away_)
      put("attitude", {text, std::max(plan_.attitude->pitch_all_kwh, plan_.attitude->turn_all_kwh), {}, {}, text.substr(0, 4)}, when);
    else
      withdraw("attitude", "withdrawn: not worth it now", when);
  }
  if (ahead_standing_) {
    const bool reached = plan_.reserve_at && *plan_.reserve_at <= plan_.at;
    put("saving", {reserve_text(rig_, words_, plan_, soc_, away_, loads().standing_w()), {}, {}, reached ? std::nullopt : plan_.reserve_at,
                   reached ? "reached" : away_ ? "away" : "here"}, when);
  } else {
    withdraw_if_lasting("saving", "withdrawn: the reserve is out of sight", when);
  }
}

void Outlook::on_note(const Note& note, Now now) {
  switch (note.event) {
    case NoteEvent::panels_cleared:
      for (std::size_t s = 0; s < strings_.size(); ++s) {
        if (note.string && *note.string != static_cast<int>(s)) continue;
        StringState& state = strings_[s];
        if (state.layer.water_mm > 0.2 && !state.cleared_at) begin_account(state, now.utc);
        state.layer = {};
        state.under_snow = false;
        state.cover_before = 0;
        state.snow_seen.reset();
        state.shown_under_snow = 0;
      }
      break;
    case NoteEvent::away: away_ = true; break;
    case NoteEvent::back: away_ = false; break;
    case NoteEvent::shore_on: shore_ = true; break;
    case NoteEvent::shore_off: shore_ = false; break;
    default: return;
  }
  planned_at_.reset();  // at once
}

std::vector<Effect> Outlook::take_effects() {
  std::vector<Effect> out;
  out.swap(effects_);
  return out;
}

std::optional<double> Outlook::hours_left() const {
  if (!plan_.soc_known || !plan_.reserve_at || shore_) return {};
  return std::max(0.0, hours_of(*plan_.reserve_at - plan_.at));
}

bool Outlook::clearing_worth_saying() const {
  if (away_ || rig_.advice.climb == rig::Climb::never) return false;
  const Clearing& c = plan_.clearing;
  if (c.choice == Choice::clear) return true;
  return (c.choice == Choice::wait_snow || c.choice == Choice::wait_day) &&
         std::max(c.today_kwh, c.later_kwh) >= rig_.advice.min_gain_kwh;
}

std::string Outlook::clearing_sentence(Now now) const {
  (void)now;
  return clearing_text(rig_, words_, plan_, away_);
}

std::string Outlook::held_off_sentence() const { return held_off_text(words_, plan_); }

double Outlook::low_limit() const { return rig_.alarm_limit("bank_low", rig_.bank.reserve_soc); }

std::vector<std::string> Outlook::summary_lines(Now now) const {
  (void)now;
  std::vector<std::string> out;
  if (!planned_at_) return out;
  const std::string bank = bank_line(rig_, words_, plan_, soc_, bank_v_, bank_a_);
  if (!bank.empty()) out.push_back(bank);
  out.push_back(energy_line(words_, plan_));
  std::string last = clearing_text(rig_, words_, plan_, away_);
  if (last.empty() && plan_.surplus_today && plan_.surplus_today->kwh >= 0.2) last = surplus_text(words_, plan_);
  if (last.empty() && brought_until_ && plan_.at < *brought_until_) last = brought_;
  if (!last.empty()) out.push_back(last);
  return out;
}

std::vector<Fact> Outlook::facts(Now now) const {
  (void)now;
  std::vector<Fact> out;
  out.reserve(8);  // references into it are held below
  auto fact = [&](std::string alarm) -> Fact& {
    Fact f;
    f.alarm = std::move(alarm);
    f.subject = "rig";
    out.push_back(std::move(f));
    return out.back();
  };
  if (rig_.has_bank) {
    const double cells = std::max(1.0, std::round(rig_.bank.nominal_v / 3.2));
    Fact& gone = fact("bank_gone");
    gone.condition = bank_v_ && *bank_v_ < 0.5 * rig_.bank.nominal_v;
    gone.text = "The bank has disconnected itself or is empty: " + (bank_v_ ? Words::volts(*bank_v_) : std::string("no voltage")) +
                ". Take the loads off; a charger that needs no battery voltage, such as shore power, can wake it.";
    gone.over_text = "The bank is back.";

    Fact& low = fact("bank_low");
    const auto heavy = loads().heavy();
    std::optional<double> rate_h;
    if (heavy && soc_ && heavy->watts > 0)
      rate_h = std::max(0.0, (*soc_ - rig_.bank.reserve_soc)) * rig_.bank.capacity_wh() * (cell_c_ ? usable_share(*cell_c_) : 1) /
               std::max(1.0, heavy->watts - (bank_a_ && bank_v_ ? std::max(0.0, *bank_a_ * *bank_v_ + heavy->watts) : 0.0));
    const bool heavy_soon = rate_h && *rate_h <= heavy_warn_h;
    const bool weak_cells = bank_v_ && *bank_v_ >= 0.5 * rig_.bank.nominal_v && *bank_v_ / cells <= 3.0;
    low.condition = !gone.condition && !shore_ && ((soc_ && low_standing_) || heavy_soon || weak_cells);
    if (weak_cells || (soc_ && *soc_ < rig_.bank.reserve_soc / 2)) low.priority = 2;
    if (heavy_soon && !(soc_ && low_standing_))
      low.text = heavy_text(*heavy, *rate_h);
    else if (weak_cells)
      low.text = "Bank at " + Words::volts(*bank_v_) + (soc_ ? ", " + Words::percent(*soc_) : std::string()) +
                 ": nearly empty. Switch off what can be spared now, or charge from another source, before it disconnects itself.";
    else if (soc_) {
      const double mark = *soc_ > rig_.bank.reserve_soc + 0.01 ? low_limit() : rig_.bank.reserve_soc;
      low.text = "Bank " + Words::percent(*soc_) + (*soc_ < mark - 0.01 ? ", below " : ", at ") + (mark > rig_.bank.reserve_soc ? "your limit of " : "its reserve of ") +
                 Words::percent(mark) + ". Switch off what can be spared, or charge from another source.";
    }
    if (soc_)
      low.over_text = std::string("Bank above ") + (low_limit() > rig_.bank.reserve_soc ? "your limit" : "its reserve") + " again: " + Words::percent(*soc_) + ".";

    Fact& ahead = fact("reserve_ahead");
    ahead.condition = ahead_standing_ && !low.condition;
    if (ahead_standing_) {
      ahead.text = reserve_text(rig_, words_, plan_, soc_, away_, loads().standing_w());
      ahead.confidence = std::clamp(plan_.reserve_beyond ? 0.8 : std::max(plan_.reserve_probability, plan_.departure_at ? 0.6 : 0.5), 0.0, 1.0);
      if (plan_.reserve_at) {
        const double left_h = hours_of(*plan_.reserve_at - plan_.at);
        if (left_h <= 12) ahead.priority = 2;
        if (away_ && left_h > 72) ahead.priority = 0;  // once, and again after a week
      }
    }

    Fact& surplus = fact("surplus");
    const double limit = rig_.alarm_limit("surplus", surplus_kwh);
    const auto& s = plan_.surplus_today;
    surplus.condition = s && s->kwh >= limit && hours_of(s->from - plan_.at) <= 3;
    if (s) surplus.text = surplus_text(words_, plan_);
  }
  if (cabin_c_) {
    Fact& cold = fact("cabin_cold");
    cold.condition = cabin_standing_;
    cold.text = "Cabin at " + words_.temperature(*cabin_c_) + ". Water may freeze; look at the heating.";
    cold.over_text = "Cabin at " + words_.temperature(*cabin_c_) + " again.";
  }
  return out;
}

std::string Outlook::snapshot() const {
  nlohmann::json j;
  j["v"] = 1;
  j["weather"] = weather_.snapshot();
  j["loads"] = home_loads_.snapshot();
  j["away_loads"] = away_loads_.snapshot();
  j["thermal"] = json_of(thermal_.memory());
  j["away"] = away_;
  j["shore"] = shore_;
  j["u"] = unexplained_w_;
  j["m2"] = missed2_;
  j["mw"] = missed_weight_;
  j["heater"] = heater_w_;
  j["full"] = full_draw_w_;
  j["low"] = low_standing_;
  j["ahead"] = ahead_standing_;
  j["cabin"] = cabin_standing_;
  if (promised_kwh_) j["promised"] = *promised_kwh_;
  if (brought_until_) j["brought"] = {{"text", brought_}, {"until", ms_of(*brought_until_)}};
  j["strings"] = nlohmann::json::array();
  for (const auto& s : strings_) {
    nlohmann::json row{{"layer", json_of(s.layer)}, {"share", s.standing_share}, {"soil", s.soiling_loss}};
    if (s.cleared_at) {
      row["cleared"] = ms_of(*s.cleared_at);
      row["kwh"] = s.brought_kwh;
      row["would"] = json_of(s.would_be);
    }
    if (s.snow_seen) row["seen"] = ms_of(*s.snow_seen);
    j["strings"].push_back(row);
  }
  j["promises"] = nlohmann::json::array();
  for (const auto& p : promises_) j["promises"].push_back({ms_of(p.due), p.mid, p.sigma});
  if (has_forecast_) {
    nlohmann::json rows = nlohmann::json::array();
    auto opt = [](const std::optional<double>& v) { return v ? nlohmann::json(*v) : nlohmann::json(); };
    for (const auto& r : forecast_.rows)
      rows.push_back({ms_of(r.from), opt(r.cloud), opt(r.air_c), opt(r.snow_cm), opt(r.irradiance_wm2), opt(r.wind_ms)});
    j["forecast"] = {{"at", ms_of(forecast_.received)}, {"rows", rows}};
  }
  for (const auto& [kind, a] : advice_) {
    nlohmann::json row{{"text", a.text}};
    if (a.gain_kwh) row["kwh"] = *a.gain_kwh;
    if (a.best_from) row["from"] = ms_of(*a.best_from);
    if (a.best_to) row["to"] = ms_of(*a.best_to);
    row["sort"] = a.sort;
    j["advice"][kind] = row;
  }
  return json_text(j);
}

void Outlook::restore(std::string_view text) {
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  auto number = [](const nlohmann::json& o, const char* key) {
    const auto it = o.find(key);
    return it != o.end() && it->is_number() ? it->get<double>() : 0.0;
  };
  auto flag = [](const nlohmann::json& o, const char* key, bool otherwise) {
    const auto it = o.find(key);
    return it != o.end() && it->is_boolean() ? it->get<bool>() : otherwise;
  };
  auto words_of = [](const nlohmann::json& o, const char* key) {
    const auto it = o.find(key);
    return it != o.end() && it->is_string() ? it->get<std::string>() : std::string();
  };
  auto time = [](const nlohmann::json& o, const char* key) -> std::optional<Utc> {
    const auto it = o.find(key);
    if (it == o.end() || !it->is_number_integer()) return {};
    return utc_ms(it->get<std::int64_t>());
  };
  weather_.restore(words_of(j, "weather"));
  home_loads_.restore(words_of(j, "loads"));
  away_loads_.restore(words_of(j, "away_loads"));
  if (j.contains("thermal"))
    if (const auto memory = memory_in(j["thermal"])) thermal_.recall(*memory);
  away_ = flag(j, "away", away_);
  shore_ = flag(j, "shore", shore_);
  low_standing_ = flag(j, "low", false);
  ahead_standing_ = flag(j, "ahead", false);
  cabin_standing_ = flag(j, "cabin", false);
  unexplained_w_ = number(j, "u");
  missed2_ = number(j, "m2");
  missed_weight_ = number(j, "mw");
  heater_w_ = number(j, "heater");
  full_draw_w_ = number(j, "full");
  if (j.contains("promised")) promised_kwh_ = number(j, "promised");
  if (const auto it = j.find("brought"); it != j.end() && it->is_object()) {
    brought_ = words_of(*it, "text");
    brought_until_ = time(*it, "until");
  }
  if (const auto it = j.find("strings"); it != j.end() && it->is_array())
    for (std::size_t s = 0; s < strings_.size() && s < it->size(); ++s) {
      const auto& row = (*it)[s];
      if (!row.is_object()) continue;
      strings_[s].layer = layer_in(row, "layer");
      strings_[s].standing_share = std::clamp(number(row, "share"), 0.0, 1.0);
      strings_[s].soiling_loss = std::clamp(number(row, "soil"), 0.0, 0.6);
      strings_[s].cleared_at = time(row, "cleared");
      strings_[s].brought_kwh = number(row, "kwh");
      strings_[s].snow_seen = time(row, "seen");
      strings_[s].would_be = layer_in(row, "would");
      strings_[s].under_snow = 1 - light_through(strings_[s].layer) > cover_that_counts;
    }
  if (const auto it = j.find("promises"); it != j.end() && it->is_array())
    for (const auto& p : *it)
      if (p.is_array() && p.size() == 3 && p[0].is_number_integer() && p[1].is_number() && p[2].is_number())
        promises_.push_back({utc_ms(p[0].get<std::int64_t>()), p[1].get<double>(), p[2].get<double>()});
  if (const auto it = j.find("forecast"); it != j.end() && it->is_object()) {
    const auto at = it->find("at");
    const auto rows = it->find("rows");
    if (at != it->end() && at->is_number_integer() && rows != it->end() && rows->is_array()) {
      forecast_ = {};
      forecast_.received = elapsed_ms(at->get<std::int64_t>());
      auto opt = [](const nlohmann::json& v) { return v.is_number() ? std::optional<double>(v.get<double>()) : std::nullopt; };
      for (const auto& r : *rows)
        if (r.is_array() && r.size() == 6 && r[0].is_number_integer())
          forecast_.rows.push_back({utc_ms(r[0].get<std::int64_t>()), opt(r[1]), opt(r[2]), opt(r[3]), opt(r[4]), opt(r[5])});
      has_forecast_ = !forecast_.rows.empty();
    }
  }
  if (const auto it = j.find("advice"); it != j.end() && it->is_object())
    for (const auto& [kind, row] : it->items()) {
      if (!row.is_object()) continue;
      Advice a{words_of(row, "text"), {}, time(row, "from"), time(row, "to"), words_of(row, "sort")};
      if (row.contains("kwh")) a.gain_kwh = number(row, "kwh");
      advice_[kind] = a;
    }
  replan_now_ = true;
}

}  // namespace fw::outlook
