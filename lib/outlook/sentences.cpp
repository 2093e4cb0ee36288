#include "outlook/sentences.h"

#include <algorithm>
#include <cmath>

#include "units/text.h"
#include "words/about_when.h"

namespace fw::outlook {
namespace {
const char* part_of_day(int minute) {
  if (minute < 5 * 60) return "night";
  if (minute < 11 * 60) return "morning";
  if (minute < 13 * 60 + 30) return "noon";
  if (minute < 18 * 60) return "afternoon";
  return "evening";
}

std::string with_neighbour(const rig::Rig& rig) {
  return rig.advice.climb == rig::Climb::not_alone ? " Not alone." : "";
}

constexpr double worth_warming_kwh = 0.3;
constexpr double close_to_reserve = 0.10;  // of the bank; less than a cloudier day than forecast costs
constexpr Span forecast_old = hours{12};  // from here on its age is said

const char* const caution = " Loose snow only, mind ladder and ice.";

/// "until Monday evening"; beyond what was planned for and a few days more, only "about 9 days", "about 3 weeks".
std::string how_long(const Words& words, Utc reserve_at, Utc now) {
  const double days_left = hours_of(reserve_at - now) / 24;
  if (days_left < 6) return "until " + until(words, reserve_at, now);
  return "about " + (days_left < 14 ? fixed(days_left, 0) + " days" : fixed(days_left / 7, 0) + " weeks");
}

std::string lasts(const Words& words, const Plan& plan) {
  if (!plan.soc_known || !plan.reserve_at) return "";
  return " Bank lasts " + how_long(words, *plan.reserve_at, plan.at) + ".";
}

std::string span_of(Utc at, Utc now) {
  const double days = hours_of(at - now) / 24;
  return days >= 2 ? fixed(days, 0) + " days" : Words::span(at - now);
}

/// "" for next to nothing.
std::string lost_to_cold(double kwh, const char* day) {
  return kwh < 0.05 ? "" : "About " + Words::energy(kwh) + " of " + day + "'s sun will be lost to cold cells.";
}

/// To five minutes within a day, beyond that the part of the day.
std::string reached_when(const Words& words, Utc t, Utc now) { return t < now + hours{24} ? about_when(words, t, now) : until(words, t, now); }
}  // namespace

std::string about(double kwh) { return kwh < 0.015 ? "next to nothing" : "about " + Words::energy(kwh); }

std::string until(const Words& words, Utc t, Utc now) {
  const std::string part = part_of_day(words.minute_of_day(t));
  const Utc today = words.local_midnight(now), tomorrow = words.next_local_midnight(now);
  const Utc day_after = words.next_local_midnight(tomorrow);
  if (t < tomorrow) {
    if (t < now + hours{6} || today > t) return "about " + words.clock(t);
    return part == "night" ? "tonight" : part == "noon" ? "noon today" : "this " + part;
  }
  if (t >= now + days{6}) return words.day(t) + " " + words.local_date(t);
  if (part == "noon") return t < day_after ? "noon tomorrow" : words.day(t) + " noon";
  if (part == "night" && t >= now + hours{20} && t < now + days{6}) return "the night to " + words.day(t);
  if (t < day_after) return part == "night" ? "tonight, about " + words.clock(t) : "tomorrow " + part;
  return words.day(t) + " " + part;
}

std::string clearing_text(const rig::Rig& rig, const Words& words, const Plan& plan, bool away) {
  const Clearing& c = plan.clearing;
  if (c.choice == Choice::no_snow) return "";
  if (away) return "Nobody there to clear it." + lasts(words, plan);
  if (rig.advice.climb == rig::Climb::never) return "Nothing to do on the roof." + lasts(words, plan);
  std::string text;
  const std::string perhaps = plan.snow_seen ? "" : "Forecast snow may lie on the glass, not seen so far. ";
  switch (c.choice) {
    case Choice::no_snow: return "";
    case Choice::clear: {
      text = "Clearing today looks worth about " + Words::energy(c.today_kwh);
      if (c.total_kwh > 1.6 * c.today_kwh && c.total_kwh - c.today_kwh > 0.3)
        text += " (about " + Words::energy(c.total_kwh) + " in the coming days)";
      if (c.best_from && c.best_to) text += ", best " + words.range(*c.best_from, *c.best_to);
      text += ".";
      if (c.strings.size() < rig.strings.size()) text += " Even a small patch left can cost most of a string.";
      text += caution + with_neighbour(rig);
      break;
    }
    case Choice::wait_snow:
      if (!c.lies_now) {
        text = "Snow is forecast";
        if (c.snow_ends) text += " until " + about_when(words, *c.snow_ends, plan.at);
        text += ". Clearing after it looks worth about " + Words::energy(c.today_kwh);
        if (c.best_from && c.best_to) text += ", best " + words.range(*c.best_from, *c.best_to);
        return text + "." + caution + with_neighbour(rig);
      }
      text = "Wait until the snowfall ends";
      if (c.snow_ends) text += ", " + about_when(words, *c.snow_ends, plan.at);
      text += ": clearing now would bring " + about(c.now_kwh) + ".";
      if (c.best_from && c.best_to && c.today_kwh >= rig.advice.min_gain_kwh)
        text += " After that about " + Words::energy(c.today_kwh) + ", best " + words.range(*c.best_from, *c.best_to) + "." + caution + with_neighbour(rig);
      else if (c.later_day && c.later_kwh >= rig.advice.min_gain_kwh)
        text += " " + words.day(*c.later_day) + " looks worth it (about " + Words::energy(c.later_kwh) + ").";
      break;
    case Choice::wait_day:
      text = "Clearing now would bring " + about(c.today_kwh) + ".";
      if (c.later_day)
        text = (c.grey_until ? "Grey until " + words.day(*c.later_day) + ": clearing now would bring " : "Clearing now would bring ") + about(c.today_kwh) +
               ". " + words.day(*c.later_day) + " looks worth it (about " + Words::energy(c.later_kwh) + ").";
      text += lasts(words, plan);
      break;
    case Choice::not_needed:
      text = "Clearing is not needed today: the bank could take " + about(c.today_kwh) + " of " +
             Words::energy(c.possible_today_kwh) + ". Nothing to do.";
      break;
    case Choice::too_small:
      text = "Clearing would bring " + about(c.today_kwh) + " today, not worth the ladder. Nothing to do.";
      break;
    case Choice::unsafe:
      text = std::string("Leave the snow: too ") + (c.by_wind ? "windy" : "cold") + " for the roof today." + lasts(words, plan);
      break;
  }
  return perhaps + text;
}

std::string bank_line(const rig::Rig& rig, const Words& words, const Plan& plan, std::optional<double> soc,
                      std::optional<double> bank_v, std::optional<double> bank_a) {
  if (!rig.has_bank) return "";
  if (!soc) {
    if (!bank_v) return "Bank: state of charge unknown.";
    const SocSpan s = soc_from_voltage(*bank_v, rig.bank.nominal_v, bank_a, rig.bank.capacity_ah);
    return "Bank at " + Words::volts(*bank_v) + ", state of charge unknown, " + fixed(s.low * 100, 0) + "-" + Words::percent(s.high) + ".";
  }
  std::string text = "Bank " + Words::percent(*soc);
  if (plan.reserve_at && *plan.reserve_at <= plan.at) return text + (std::round(*soc * 100) < std::round(rig.bank.reserve_soc * 100) ? ", below its reserve." : ", at its reserve.");
  // A reserve that is just missed in the days ahead is not far away, however long the sums go on after it.
  if ((!plan.reserve_at || plan.reserve_beyond) && plan.lowest_soc < rig.bank.reserve_soc + close_to_reserve && *soc > plan.lowest_soc + 0.02)
    return text + ", comes down to about " + Words::percent(plan.lowest_soc) + " by " + until(words, plan.lowest_at, plan.at) + ".";
  if (plan.reserve_at) return text + ", lasts " + how_long(words, *plan.reserve_at, plan.at) + ".";
  return text + ", the reserve is not in sight.";
}

std::string held_off_text(const Words& words, const Plan& plan, bool away) {
  const std::string text = plan.held_off_from ? lost_to_cold(plan.today_held_off_kwh, "today") : "";
  if (text.empty()) return "";
  if (plan.today_held_off_kwh < worth_warming_kwh || away) return text;
  return text + (*plan.held_off_from <= plan.at ? " Warming their space now would let it in." : " Warming their space by about " + words.clock(*plan.held_off_from) + " would let it in.");
}

std::string energy_line(const Words& words, const Plan& plan, bool away) {
  // Once the sun is down the day that counts is the next.
  const bool over = words.minute_of_day(plan.at) >= 12 * 60 && plan.today_made_kwh < 0.015;
  std::string text = over ? "Tomorrow " + about(plan.tomorrow_made_kwh) : "Today " + about(plan.today_made_kwh) + " still to come";
  if (!plan.forecast_used) text += ", going by the last days (no forecast).";
  else if (plan.forecast_age >= forecast_old) text += " if the sky does what was forecast " + Words::span(plan.forecast_age) + " ago.";
  else text += " if the sky does what was forecast.";
  if (const std::string held = held_off_text(words, plan, away); !held.empty()) text += " " + held;
  return text;
}

std::string surplus_text(const Words& words, const Surplus& s, Utc now) {
  const bool full_now = s.from <= now + minutes{15};
  return (full_now ? "Bank full." : "Bank likely full " + about_when(words, s.from, now) + ".") + " About " + Words::energy(s.kwh) +
         " more will be there until " + words.clock(s.to) + " if you have a use for it.";
}

bool reserve_likely(const Plan& plan, bool away) {
  return (plan.reserve_at && (away || !plan.reserve_beyond)) || plan.departure_at;
}

std::string reserve_text(const rig::Rig& rig, const Words& words, const Plan& plan, std::optional<double> soc, bool away,
                         std::optional<double> standing_w) {
  const bool keeps_to_leave = rig.bank.departure_reserve_soc > rig.bank.reserve_soc;
  // Beyond the days planned for it is a figure, not news.
  const bool in_sight = plan.reserve_at && *plan.reserve_at > plan.at && (away || !plan.reserve_beyond);
  const bool there = soc && Words::percent(*soc) == Words::percent(rig.bank.departure_reserve_soc);
  const bool leaving_ahead = keeps_to_leave && !there && plan.departure_at && *plan.departure_at > plan.at;
  std::string text = soc ? "Bank " + Words::percent(*soc) : "";
  if (const double more = soc.value_or(1) - rig.bank.departure_reserve_soc; keeps_to_leave && !leaving_ahead && more <= 0.03)
    text += std::string(there ? ", at" : more < 0 ? ", below" : ", near") + " the departure reserve of " + Words::percent(rig.bank.departure_reserve_soc);
  if (soc) text += ".";
  const std::string reserve_when = in_sight ? reached_when(words, *plan.reserve_at, plan.at) : "";
  const std::string leave_when = leaving_ahead ? reached_when(words, *plan.departure_at, plan.at) : "";
  const std::string reserve = "reserve (" + Words::percent(rig.bank.reserve_soc) + ") reached " + reserve_when + ".";
  const bool at_once = leaving_ahead && in_sight && !away && leave_when == reserve_when;
  if (leaving_ahead) {
    text += " Departure reserve (" + Words::percent(rig.bank.departure_reserve_soc) + ")" + (at_once ? " and " + reserve : " reached " + leave_when + ".");
    if (!away) text += *plan.departure_at - plan.at < hours{24} ? " A move would have to come before." : " Enough to leave until then.";
  }
  if (in_sight && !at_once)
    text += away ? " Reserve in about " + span_of(*plan.reserve_at, plan.at) + ", " + until(words, *plan.reserve_at, plan.at) + "." : " " + Words::capital(reserve);
  const bool likely = reserve_likely(plan, away);
  if (!likely) {
    const bool leave_first = keeps_to_leave && plan.departure_perhaps && *plan.departure_perhaps > plan.at;
    if (const auto& when = leave_first ? plan.departure_perhaps : plan.reserve_perhaps; when && *when > plan.at)
      text += std::string(leave_first ? " Departure reserve (" : " Reserve (") + Words::percent(leave_first ? rig.bank.departure_reserve_soc : rig.bank.reserve_soc) +
              ") reached only if it goes worse than likely, " + reached_when(words, *when, plan.at) + ".";
  }
  const bool reached = plan.reserve_at && *plan.reserve_at <= plan.at;
  if (reached) text = "Bank " + (soc ? Words::percent(*soc) : std::string("low")) + (soc && std::round(*soc * 100) < std::round(rig.bank.reserve_soc * 100) ? ", below its reserve of " : ", at its reserve of ") + Words::percent(rig.bank.reserve_soc) + ".";
  // Before noon the sun that counts is today's.
  const bool today = words.minute_of_day(plan.at) < 12 * 60;
  text += std::string(" Sun ") + (today ? "today " : "tomorrow ") + about(today ? plan.today_made_kwh : plan.tomorrow_made_kwh) +
          (plan.forecast_used ? "." : ", going by the last days.");
  // Sun that cold cells will not take is the nearest source there is.
  const std::string cold = today ? held_off_text(words, plan, away) : lost_to_cold(plan.tomorrow_held_off_kwh, "tomorrow");
  if (!cold.empty()) text += " " + cold;
  const bool warm_first = today && plan.held_off_from && plan.today_held_off_kwh >= worth_warming_kwh && !away;
  if (away && standing_w && *standing_w >= 2)
    text += " Standing loads of about " + Words::watts(*standing_w) + ": switch off what can be spared.";
  else if (warm_first)
    text += reached ? " Until then switch off what can be spared." : "";
  else if (reached)
    text += " Switch off what can be spared, or charge from another source.";
  else if (!likely)
    text += " Nothing to do yet.";
  else if (plan.saving_w)
    text += " Using about " + Words::watts(*plan.saving_w) + " less from now on would carry it" +
            (plan.saving_until ? (plan.saving_to_sun ? " to the sun, " : " to daylight, ") + about_when(words, *plan.saving_until, plan.at) : std::string(" through")) + ".";
  else
    text += in_sight || leaving_ahead ? " Another source will be needed by then." : " Switch off what can be spared, or charge from another source.";
  if (!text.empty() && text.front() == ' ') text.erase(0, 1);
  return text;
}

std::string washing_text(const Cleaning& cleaning) {
  return "Cleaning looks worth about " + Words::energy(cleaning.kwh_a_week) +
         " a week. Water and a soft cloth when the glass is above freezing, mind the ladder.";
}

std::string attitude_text(const rig::Rig& rig, const Words&, const Plan& plan) {
  if (!plan.attitude) return "";
  const AttitudeGain& a = *plan.attitude;
  const double worth = std::max(rig.advice.min_gain_kwh, 0.05 * a.now_kwh), week = 7 * 24.0 / plan_hours;
  const std::string caution = " Only as far as the rig stands safely and level enough for its appliances.";
  if (a.pitch_deg && a.pitch_all_kwh >= worth)
    return std::string("Nose ") + (*a.pitch_deg >= 0 ? "up" : "down") + " to " + fixed(std::abs(*a.pitch_deg), 0) +
           "\u00b0 with the jack looks worth about " + Words::energy(std::max(0.0, a.pitch_kwh)) + " today, about " +
           Words::energy(a.pitch_all_kwh * week) + " in a week of such days." + caution;
  if (a.turn_all_kwh >= worth)
    return "Standing turned by " + std::to_string(a.turn_deg) + "\u00b0 clockwise at the next stop would bring about " +
           Words::energy(a.turn_all_kwh * week) + " more in a week of such days." + caution;
  return "";
}

std::string heavy_text(const HeavyLoad& heavy, double hours_left) {
  const double step = hours_left > 1 ? 6 : 12;  // of an hour: ten minutes, five
  hours_left = std::round(hours_left * step) / step;
  return "Loads at " + Words::watts(heavy.watts) + " for " + Words::span(std::chrono::floor<std::chrono::duration<std::int64_t, std::ratio<300>>>(heavy.lasting)) + ": at this rate the reserve is reached " +
         (hours_left < 0.2 ? std::string("within minutes") : "in about " + Words::span(Span{static_cast<std::int64_t>(hours_left * 3.6e6)})) + ". Something left on?";
}

}  // namespace fw::outlook
