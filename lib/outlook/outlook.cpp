#include "outlook/outlook.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "outlook/cells_ahead.h"
#include "outlook/kept.h"
#include "outlook/sentences.h"
#include "rig/alarm_limits.h"
#include "units/json.h"

namespace fw::outlook {
namespace {
constexpr Span plan_every = minutes{15};
constexpr Span soc_fresh = minutes{30}, wind_fresh = hours{2};
constexpr Span replan_after = minutes{2};
constexpr int tomorrow_from_minute = 14 * 60;

bool sees_sky(Cause c) { return c == Cause::clear || c == Cause::cloud || c == Cause::soiling; }
}  // namespace

Outlook::Outlook(const rig::Rig& rig, const Words& words)
    : rig_(rig),
      words_(words),
      thermal_(std::max(1.0, rig.bank.capacity_wh())),
      hindsight_(std::max(1.0, rig.bank.capacity_wh())),
      glass_(rig),
      advice_(rig.name, words_),
      away_(rig.advice.away),
      latitude_deg_(rig.site.latitude_deg),
      longitude_deg_(rig.site.longitude_deg) {}

std::optional<double> Outlook::made_w(const RigMinute& m) const {
  double made = 0;
  for (std::size_t s = 0; s < m.strings.size() && s < rig_.strings.size(); ++s) {
    if (!m.strings[s].power_w) return {};
    made += *m.strings[s].power_w * rig_.strings[s].controller.efficiency;
  }
  return made;
}

std::optional<double> Outlook::load_w(const RigMinute& m) const {
  if (m.load_w) return m.load_w;
  const auto made = made_w(m);
  if (shore_ || !m.bank_current_a || !m.bank_voltage_v || !made) return {};
  return std::max(0.0, *made - *m.bank_current_a * *m.bank_voltage_v);
}

void Outlook::learn(const RigMinute& m, const std::vector<Verdict>& verdicts) {
  if (m.forecast && !forecasts_.newest_is(m.forecast->received)) {
    forecasts_.take(*m.forecast);
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
    if (!soc_ || std::abs(*m.soc - *soc_) > 0.03) replan_now_ = true;
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
  for (std::size_t s = 0; s < verdicts.size() && s < rig_.strings.size(); ++s) {
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
  const auto load = load_w(m);
  if (load && !shore_) {
    const int minute_of_day = words_.minute_of_day(m.start);
    if (m.soc) shortage_.on_minute(*m.soc, loads().cut_off(*load, m.soc), *load, loads().usual(minute_of_day / 60, m.air_c).watts);
    loads().learn(m.start, minute_of_day, *load, m.air_c, m.soc);
  }
  const bool heavy = loads().heavy().has_value();
  if (heavy != heavy_before_) replan_now_ = true;
  heavy_before_ = heavy;
  if (m.cell_min_c) {
    const double c_rate = m.bank_current_a && rig_.bank.capacity_ah > 0 ? std::abs(*m.bank_current_a) / rig_.bank.capacity_ah : 0;
    thermal_.learn(m.at, *m.cell_min_c, {m.air_c, m.cabin_c, m.bank_heater_w.value_or(0), c_rate});
  }
  heater_on_ = m.bank_heater_on.value_or(m.bank_heater_w.value_or(0) > 1);
  heater_w_ += (m.bank_heater_w.value_or(0) - heater_w_) / 1440;
  const auto made = made_w(m);
  if (!charging_allowed_ && load && made && !shore_) {
    double could_w = 0;
    for (std::size_t s = 0; s < verdicts.size() && s < rig_.strings.size(); ++s) could_w += verdicts[s].expected_w * rig_.strings[s].controller.efficiency;
    hindsight_.while_held_off(*made, *load, could_w);
  }
  hindsight_.on_minute(m.start, made, shore_ ? std::nullopt : load, m.soc, loads().usual(12, air_c_).watts);
}

void Outlook::close_hour(const RigMinute& m) {
  const Forecast* forecast = forecasts_.get();
  const ForecastHour* said = forecast ? forecast->at(*hour_) : nullptr;
  std::optional<double> share;
  double weight = 0;
  if (hour_clear_w_ > 0) {
    share = std::clamp(hour_light_w_ / hour_clear_w_, 0.0, 1.3);
    weight = std::min(1.0, hour_clear_w_ / 60 / noon_clear_w_ / static_cast<double>(std::max<std::size_t>(1, glass_.size())));
  }
  const auto air_c = air_count_ > 0 ? std::optional<double>(air_sum_ / air_count_) : std::nullopt;
  weather_.learn(*hour_, share, weight, air_c, said);
  if (air_c) forecasts_.learn(*hour_, *air_c);
  hour_light_w_ = hour_clear_w_ = air_sum_ = 0;
  air_count_ = 0;

  // What was said of this hour a day ago, and what is said now of the same hour tomorrow.
  hindsight_.judge(m.start, shore_ ? std::nullopt : soc_);
  if (plan_.soc_known && plan_.hours.size() > 25 && m.start - plan_.at < hours{1}) {
    const PlanHour& h = plan_.hours[23];
    hindsight_.promise(h.from + hours{1}, h.soc_mid, (h.soc_high - h.soc_low) / 2 / 1.2816 / hindsight_.widen());
  }
}

/// What clearing is said to be worth just now.
std::optional<double> Outlook::promised_kwh() const {
  const Clearing& c = plan_.clearing;
  if (!planned_at_ || c.choice == Choice::no_snow) return {};
  return c.choice == Choice::wait_snow ? std::max(c.now_kwh, 0.0) : c.today_kwh;
}

void Outlook::book_clearings(const Stamp& when) {
  for (const Cleared& c : glass_.accounts().take_closed(when.utc, words_)) {
    AdviceRow row{when, "clearing", "", c.kwh, c.at, {}, "done: brought " + Words::energy(c.kwh)};
    row.text = "Cleared about " + words_.clock(c.at) + ", brought about " + Words::energy(c.kwh) + " that day" +
               (c.promised_kwh ? " (expected: " + about(*c.promised_kwh) + ")." : ".");
    effects_.push_back(Store{row});
    brought_ = row.text;
    brought_until_ = words_.next_local_midnight(when.utc) + hours{12};
  }
}

void Outlook::replan(const RigMinute& m, const std::vector<const roof::Calibration*>& calibrations) {
  PlanInput in;
  in.now = m.start + minutes{1};
  for (std::size_t s = 0; s < glass_.size(); ++s) {
    const OnGlass& g = glass_[s];
    in.strings.push_back({s < calibrations.size() ? calibrations[s] : nullptr, g.layer, g.standing_share, g.under_snow ? g.thick_pass : 1});
    in.under_snow.push_back(g.under_snow);
    in.soiling_loss.push_back(g.soiling_loss);
    in.snow_seen |= g.under_snow && g.snow_seen.has_value();
  }
  in.away = away_;
  const Forecast* forecast = forecasts_.get();
  in.weather = weather_.ahead({m.at, in.now, m.clock_trusted}, plan_hours + 1, forecast, air_c_);
  in.forecast_used = std::any_of(in.weather.begin(), in.weather.end(), [](const WeatherHour& w) { return w.forecast; });
  if (forecast) in.forecast_age = m.at - forecast->received;
  in.site = roof::site_of(rig_.site, latitude_deg_, longitude_deg_);
  in.snowing_now = glass_.snowing();
  in.advised = plan_.clearing.choice == Choice::clear;
  in.reserve_told = ahead_standing_;
  if (wind_at_ && m.start - *wind_at_ < wind_fresh) in.wind_ms = wind_ms_;
  // Whoever has a jack or knows his heading can stand otherwise.
  const bool movable = rig_.advice.jack_min_deg || rig_.advice.jack_max_deg || heading_deg_;
  if (movable && words_.minute_of_day(in.now) < 17 * 60)
    in.attitude = roof::Attitude{heading_deg_.value_or(rig_.site.heading_deg), pitch_deg_.value_or(rig_.site.pitch_deg),
                                 roll_deg_.value_or(rig_.site.roll_deg)};

  CellsAhead cells;
  if (cell_c_ && rig_.has_bank)
    cells = cells_ahead(rig_, thermal_, {*cell_c_, cabin_c_, charging_allowed_, heater_on_, heater_w_}, in.now, in.weather);
  in.cells_c = cells.cell_c;
  in.cell_sigma_k = cells.sigma_k;
  for (std::size_t h = 0; h < in.weather.size(); ++h) {
    const Span ahead = std::max<Span>(Span{}, in.weather[h].from - in.now);
    const auto l = loads().ahead(ahead, words_.minute_of_day(in.weather[h].from) / 60, in.weather[h].air_c);
    in.loads.push_back({l.watts + (h < cells.heat_w.size() ? cells.heat_w[h] : 0), l.error_w});
  }
  if (soc_ && rig_.has_bank) {
    BankNow b;
    b.soc = *soc_;
    b.charging_allowed = charging_allowed_;
    b.widen = hindsight_.widen();
    b.unexplained_w = hindsight_.unexplained_w();
    b.full_draw_w = hindsight_.full_draw_w();
    b.held_feeds = hindsight_.held_feeds();
    b.served = shortage_.served();
    in.bank = b;
  }
  plan_ = make_plan(rig_, words_, in);
  planned_at_ = m.start;
  replan_now_ = false;
  ahead_standing_ = reserve_in_sight();
}

bool Outlook::reserve_in_sight() const {
  if (!plan_.soc_known || shore_) return false;
  const double first = rig::alarm_limit("reserve_ahead", rig_);
  const double limit = ahead_standing_ ? first + rig_.alarm_deadband("reserve_ahead", 0.25 * first) : first;
  auto within = [&](const std::optional<Utc>& t, double hours) { return t && hours_of(*t - plan_.at) <= hours; };
  if (away_ && within(plan_.reserve_at, (ahead_standing_ ? 28 : 14) * 24)) return true;
  // What was likely is over when it has become unlikely, not at every passing cloud.
  const auto& reserve = plan_.reserve_perhaps ? plan_.reserve_perhaps : plan_.reserve_at;
  const auto& departure = plan_.departure_perhaps ? plan_.departure_perhaps : plan_.departure_at;
  // Below what is kept for leaving, with a sun that lifts it out of there: nothing to decide.
  const bool passing = plan_.departure_at && *plan_.departure_at <= plan_.at && plan_.rises;
  if (rig_.bank.departure_reserve_soc > rig_.bank.reserve_soc && !passing && within(departure, limit)) return true;
  return within(reserve, limit);
}

void Outlook::on_minute(const RigMinute& m, const std::vector<Verdict>& verdicts,
                        const std::vector<const roof::Calibration*>& calibrations) {
  const Stamp when{m.start, m.at, m.clock_trusted};
  learn(m, verdicts);
  const Forecast* forecast = forecasts_.get();
  replan_now_ |= glass_.on_minute(m, verdicts, forecast ? forecast->at(m.start) : nullptr, air_c_, wind_ms_, promised_kwh());
  book_clearings(when);
  if (cabin_c_)
    cabin_standing_ = *cabin_c_ <= rig::alarm_limit("cabin_cold", rig_) + (cabin_standing_ ? rig_.alarm_deadband("cabin_cold", 1) : 0);
  if (soc_) low_standing_ = *soc_ <= low_limit() + (low_standing_ ? rig_.alarm_deadband("bank_low", 0.03) : 0);
  if ((soc_ && low_standing_) || weak_cells()) low_by_load_ = false;
  else if (heavy_soon()) low_by_load_ = true;
  if (!m.clock_trusted) return;
  const bool due = !planned_at_ || m.start - floor_to(*planned_at_, plan_every) >= plan_every || m.start < *planned_at_;
  if (due || (replan_now_ && m.start - *planned_at_ >= replan_after)) {
    replan(m, calibrations);
    advise(when);
  }
}

void Outlook::advise_clearing(const Stamp& when) {
  const Clearing& c = plan_.clearing;
  if (rig_.advice.climb == rig::Climb::never && !away_) {
    advice_.withdraw("clearing", "withdrawn: nobody climbs", when);
    return;
  }
  const bool trifle = c.choice == Choice::too_small && std::max({c.today_kwh, c.possible_today_kwh, c.later_kwh}) < 0.1;
  if (c.choice == Choice::no_snow || (trifle && !advice_.has("clearing"))) {
    advice_.withdraw("clearing", glass_.accounts().any_open() ? "done: cleared" : "withdrawn: the glass is free", when);
    return;
  }
  Advice a{clearing_text(rig_, words_, plan_, away_), c.today_kwh, {}, {}, std::to_string(static_cast<int>(c.choice)) + (away_ ? "away" : "")};
  const bool worth_after = c.choice == Choice::wait_snow && (!c.lies_now || c.today_kwh >= rig_.advice.min_gain_kwh);
  if (c.choice == Choice::clear || worth_after) {
    a.best_from = c.best_from;
    a.best_to = c.best_to;
  }
  advice_.put("clearing", a, when);
}

void Outlook::advise_surplus(const Stamp& when) {
  const auto standing = advice_.all().find("surplus");
  const bool stands = standing != advice_.all().end();
  const double worth_kwh = rig::alarm_limit("surplus", rig_);
  const bool of_tomorrow = stands && standing->second.sort == "tomorrow";
  // No coming and going at the limit: what stands need not be worth as much.
  const auto worth = [&](const std::optional<Surplus>& s, bool told) { return s && s->kwh >= (told ? 0.6 : 1) * worth_kwh; };
  const auto tell = [&](const Surplus& s, const char* day) { advice_.put("surplus", {surplus_text(words_, s, plan_.at), s.kwh, s.from, s.to, day}, when); };
  // Tomorrow is spoken of once today's sun is past its best: before that there is nothing to arrange for it.
  const bool tomorrow_counts = of_tomorrow || words_.minute_of_day(when.utc) >= tomorrow_from_minute;
  if (worth(plan_.surplus_today, stands))
    tell(*plan_.surplus_today, "today");
  else if (tomorrow_counts && worth(plan_.surplus_tomorrow, of_tomorrow))
    tell(*plan_.surplus_tomorrow, "tomorrow");
  else if (stands && standing->second.best_to && *standing->second.best_to <= when.utc)
    advice_.withdraw("surplus", "withdrawn: no more to spare", when);
  else
    advice_.withdraw_if_lasting("surplus", "withdrawn: no more to spare", when);
}

void Outlook::advise(const Stamp& when) {
  advise_clearing(when);
  advise_surplus(when);
  if (plan_.cleaning.worth_it && !away_ && rig_.advice.climb != rig::Climb::never)
    advice_.put("cleaning", {"Film on the glass. " + washing_text(plan_.cleaning), plan_.cleaning.kwh_a_week, {}, {}, "film"}, when);
  else
    advice_.withdraw("cleaning", "withdrawn: not worth it now", when);
  if (plan_.attitude) {
    const std::string text = attitude_text(rig_, words_, plan_);
    if (!text.empty() && !away_)
      advice_.put("attitude", {text, std::max(plan_.attitude->pitch_all_kwh, plan_.attitude->turn_all_kwh), {}, {}, text.substr(0, 4)}, when);
    else
      advice_.withdraw("attitude", "withdrawn: not worth it now", when);
  }
  if (ahead_standing_ && reserve_likely(plan_, away_)) {
    const bool reached = plan_.reserve_at && *plan_.reserve_at <= plan_.at;
    // The time its words name first.
    const bool leaving_first = rig_.bank.departure_reserve_soc > rig_.bank.reserve_soc && plan_.departure_at && *plan_.departure_at > plan_.at;
    std::optional<Utc> by = leaving_first ? plan_.departure_at : plan_.reserve_at;
    if (by) by = floor_to(*by, minutes{5});
    advice_.put("saving", {reserve_text(rig_, words_, plan_, soc_, away_, loads().standing_w()), {}, {}, reached ? std::nullopt : by,
                           reached ? "reached" : away_ ? "away" : "here"}, when);
  } else {
    advice_.withdraw_if_lasting("saving", "withdrawn: the reserve is out of sight", when);
  }
}

void Outlook::on_note(const Note& note, Now now) {
  switch (note.event) {
    case NoteEvent::panels_cleared: glass_.cleared(note.string, now.utc, promised_kwh()); break;
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
  for (Effect& e : advice_.take_effects()) out.push_back(std::move(e));
  return out;
}

std::optional<double> Outlook::hours_left() const {
  if (!plan_.soc_known || !plan_.reserve_at || shore_) return {};
  return std::max(0.0, hours_of(*plan_.reserve_at - plan_.at));
}

std::string Outlook::cleaning_sentence() const {
  const bool climbs = !away_ && rig_.advice.climb != rig::Climb::never;
  return climbs && plan_.cleaning.worth_it ? washing_text(plan_.cleaning) : "Nothing to do now.";
}

bool Outlook::clearing_worth_saying() const {
  if (away_ || rig_.advice.climb == rig::Climb::never) return false;
  const Clearing& c = plan_.clearing;
  if (c.choice == Choice::clear) return true;
  return (c.choice == Choice::wait_snow || c.choice == Choice::wait_day) &&
         std::max(c.today_kwh, c.later_kwh) >= rig_.advice.min_gain_kwh;
}

bool Outlook::clearing_hour_near() const {
  return plan_.clearing.choice == Choice::clear && plan_.clearing.best_from && *plan_.clearing.best_from - plan_.at <= hours{2};
}

std::string Outlook::clearing_sentence(Now now) const {
  (void)now;
  return clearing_text(rig_, words_, plan_, away_);
}

std::string Outlook::held_off_sentence() const { return held_off_text(words_, plan_, away_); }

double Outlook::low_limit() const { return rig::alarm_limit("bank_low", rig_); }

std::vector<std::string> Outlook::summary_lines() const { return lines_beside(""); }

std::vector<std::string> Outlook::lines_beside(std::string_view alarm) const {
  std::vector<std::string> out;
  if (!planned_at_) return out;
  const bool sun_said = alarm == "reserve_ahead", bank_said = sun_said || (alarm == "bank_low" && !low_by_load_);
  const std::string bank = bank_said ? "" : bank_line(rig_, words_, plan_, soc_, bank_v_, bank_a_);
  if (!bank.empty()) out.push_back(bank);
  if (!sun_said) out.push_back(energy_line(words_, plan_, away_));
  std::string last = clearing_text(rig_, words_, plan_, away_);
  if (last.empty() && plan_.surplus_today && plan_.surplus_today->kwh >= 0.2) last = surplus_text(words_, *plan_.surplus_today, plan_.at);
  if (last.empty() && brought_until_ && plan_.at < *brought_until_) last = brought_;
  if (!last.empty()) out.push_back(last);
  return out;
}

std::string Outlook::snapshot() const {
  nlohmann::json j{{"v", 2},
                   {"forecasts", forecasts_.snapshot()},
                   {"weather", weather_.snapshot()},
                   {"loads", home_loads_.snapshot()},
                   {"away_loads", away_loads_.snapshot()},
                   {"thermal", kept::json_of(thermal_.memory())},
                   {"hindsight", hindsight_.snapshot()},
                   {"shortage", shortage_.snapshot()},
                   {"glass", glass_.snapshot()},
                   {"advice", advice_.snapshot()},
                   {"away", away_},
                   {"shore", shore_},
                   {"heater", heater_w_},
                   {"low", low_standing_},
                   {"low_by_load", low_by_load_},
                   {"ahead", ahead_standing_},
                   {"cabin", cabin_standing_}};
  if (brought_until_) j["brought"] = {{"text", brought_}, {"until", ms_of(*brought_until_)}};
  return json_text(j);
}

void Outlook::restore(std::string_view text) {
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 2) return;
  forecasts_.restore(kept::text(j, "forecasts"));
  weather_.restore(kept::text(j, "weather"));
  home_loads_.restore(kept::text(j, "loads"));
  away_loads_.restore(kept::text(j, "away_loads"));
  if (const auto memory = kept::thermal(j, "thermal")) thermal_.recall(*memory);
  hindsight_.restore(kept::text(j, "hindsight"));
  shortage_.restore(kept::text(j, "shortage"));
  glass_.restore(kept::text(j, "glass"));
  advice_.restore(kept::text(j, "advice"));
  away_ = kept::flag(j, "away", away_);
  shore_ = kept::flag(j, "shore", shore_);
  heater_w_ = kept::number(j, "heater");
  low_standing_ = kept::flag(j, "low", false);
  low_by_load_ = kept::flag(j, "low_by_load", false);
  ahead_standing_ = kept::flag(j, "ahead", false);
  cabin_standing_ = kept::flag(j, "cabin", false);
  if (const auto it = j.find("brought"); it != j.end()) {
    brought_ = kept::text(*it, "text");
    brought_until_ = kept::time(*it, "until");
  }
  replan_now_ = true;
}

}  // namespace fw::outlook
