#include "outlook/clearing.h"

#include <algorithm>
#include <cmath>

namespace fw::outlook {
namespace {
constexpr double light_enough_deg = 3;       // below it is dusk for somebody on a roof
constexpr double softening_wh_m2 = 100;      // sun that lets go the ice: a couple of winter morning hours (common practice)
constexpr double falling_cm_per_h = 0.1;

struct Option { std::size_t step; double day_kwh, total_kwh; };
}  // namespace

Clearing decide_clearing(const rig::Rig& rig, const Words& words, const RoofAhead& roof, const std::vector<LeftAlone>& left,
                         const std::vector<BankStep>& as_is, const std::optional<BankNow>& bank, const ClearingInput& in) {
  Clearing out;
  for (std::size_t s = 0; s < rig.strings.size() && s < in.under_snow.size(); ++s)
    if (in.under_snow[s]) out.strings.push_back(static_cast<int>(s));
  const std::size_t n = roof.steps.size();
  if (n == 0 || as_is.size() != n) return out;

  std::vector<std::size_t> midnight(n, n);  // the first step of the day after
  Utc day_after = words.local_midnight(roof.steps.back().from);
  for (std::size_t i = n - 1; i-- > 0;) {
    const Utc day = words.local_midnight(roof.steps[i].from);
    midnight[i] = day == day_after ? midnight[i + 1] : i + 1;
    day_after = day;
  }

  // Glass that today's snowfall will cover is worth a word as well, if much hangs on it.
  out.lies_now = !out.strings.empty();
  for (std::size_t s = 0; s < rig.strings.size() && s < in.under_snow.size(); ++s) {
    if (in.under_snow[s]) continue;
    bool will = false;
    for (std::size_t i = 0; i < midnight.front() && !will; ++i)
      will = roof.clean_w[s][i] > 0.05 * rig.strings[s].rated_w() && left[s].power_w[i] < 0.7 * roof.clean_w[s][i] * roof.strings[s].standing_share;
    if (will) out.strings.push_back(static_cast<int>(s));
  }
  if (out.strings.empty()) return out;

  // What the bank takes if all is left alone, and how it stands at every step.
  const BankModel model(rig, bank.value_or(BankNow{}));
  std::vector<BankModel::State> standing(n);
  std::vector<double> taken_kwh(n, 0.0), more_w(n), power_w(n);
  if (bank) {
    BankModel::State at{std::clamp(bank->soc, 0.0, 1.0), 0};
    for (std::size_t i = 0; i < n; ++i) {
      standing[i] = at;
      const auto f = model.flow(at, as_is[i]);
      taken_kwh[i] = f.take_w * as_is[i].hours / 1000;
      model.step(at, as_is[i], f);
    }
  }

  // What clearing at a step brings until an end, and of that until the day's end.
  auto gain = [&](std::size_t at, std::size_t end, double* possible_day) {
    std::fill(more_w.begin() + static_cast<std::ptrdiff_t>(at), more_w.end(), 0.0);
    for (int s : out.strings) {
      const auto& alone = left[static_cast<std::size_t>(s)];
      const double efficiency = rig.strings[static_cast<std::size_t>(s)].controller.efficiency;
      cleared_power(roof, s, alone, at, end, power_w);
      for (std::size_t i = at; i < end; ++i) more_w[i] += (power_w[i] - alone.power_w[i]) * efficiency;
    }
    Option o{at, 0, 0};
    double possible = 0;
    BankModel::State state = standing[at];
    for (std::size_t i = at; i < end; ++i) {
      const double could = more_w[i] * as_is[i].hours / 1000;
      double kwh = could;
      if (bank) {
        BankStep step = as_is[i];
        step.available_w += more_w[i];
        const auto f = model.flow(state, step);
        kwh = f.take_w * step.hours / 1000 - taken_kwh[i];
        model.step(state, step, f);
      }
      o.total_kwh += kwh;
      if (i < midnight[at]) {
        o.day_kwh += kwh;
        possible += could;
      }
    }
    if (possible_day) *possible_day = possible;
    return o;
  };

  // When somebody may be up there: light, presence, softened ice, wind, cold.
  std::vector<bool> fit(n, false), safe(n, false);
  double sun_wh_m2 = 0;
  bool windy = false;
  for (std::size_t i = 0; i < n; ++i) {
    const auto& s = roof.steps[i];
    if (i > 0 && midnight[i] != midnight[i - 1]) sun_wh_m2 = 0;
    // The plan begins in mid-day: the morning's sun before it has done its part.
    if (i == 0 && s.sun_elevation_deg > 15) sun_wh_m2 = softening_wh_m2;
    bool present = true;
    if (rig.advice.present) {
      const int m = words.minute_of_day(s.from), a = rig.advice.present->first.minutes, b = rig.advice.present->second.minutes;
      present = a <= b ? m >= a && m < b : m >= a || m < b;
    }
    const double wind = std::max(s.wind_ms.value_or(0), i < 8 ? in.wind_now_ms.value_or(0) : 0);
    const bool calm = wind <= rig.advice.max_wind_ms;
    const bool warm = s.air_c >= rig.advice.min_air_c;
    const bool soft = sun_wh_m2 >= softening_wh_m2 || s.air_c > 1;
    fit[i] = s.sun_elevation_deg >= light_enough_deg && present && soft;
    safe[i] = calm && warm;
    if (fit[i] && !calm) windy = true;
    sun_wh_m2 += s.ghi_wm2 * s.hours;
  }

  // The best of each day.
  struct Day { std::size_t end; std::optional<Option> best, best_unsafe; double possible = 0; std::vector<Option> options; };
  std::vector<Day> days;
  for (std::size_t i = 0; i < n; ++i) {
    if (days.empty() || midnight[i] != days.back().end) days.push_back({midnight[i], {}, {}, 0, {}});
    if (!fit[i]) continue;
    // Every half hour today, every hour later on.
    const Span grid = i < midnight.front() ? minutes{30} : hours{1};
    if (i > 0 && floor_to(roof.steps[i].from, grid) != roof.steps[i].from) continue;
    double possible = 0;
    const Option o = gain(i, midnight[i], &possible);
    Day& d = days.back();
    if (!safe[i]) {
      if (!d.best_unsafe || o.day_kwh > d.best_unsafe->day_kwh) d.best_unsafe = o;
      continue;
    }
    d.options.push_back(o);
    d.possible = std::max(d.possible, possible);
    if (!d.best || o.day_kwh > d.best->day_kwh + 1e-6) d.best = o;
  }
  const double threshold = rig.advice.min_gain_kwh * (in.advised ? 0.9 : 1);
  const Day& today = days.front();

  // Snow now or within the next hours, so that today's best hour lies after it.
  std::optional<std::size_t> snow_end;
  const bool snow_soon = in.snowing_now || [&] {
    for (std::size_t i = 0; i < n && i < 12; ++i)
      if (roof.steps[i].snow_cm / roof.steps[i].hours >= falling_cm_per_h) return true;
    return false;
  }();
  if (snow_soon) {
    std::size_t end = 0;
    double dry_h = 0;
    for (std::size_t i = 0; i < n && dry_h < 3; ++i) {
      if (roof.steps[i].snow_cm / roof.steps[i].hours >= falling_cm_per_h) {
        end = i + 1;
        dry_h = 0;
      } else {
        dry_h += roof.steps[i].hours;
      }
    }
    snow_end = end;
    out.now_kwh = gain(0, midnight.front(), nullptr).day_kwh;
    if (end < n) out.snow_ends = roof.steps[end].from;
  }

  const std::optional<std::size_t> first_later = days.size() > 1 ? std::optional<std::size_t>(1) : std::nullopt;
  std::optional<Option> later;
  if (first_later)
    for (std::size_t d = 1; d < days.size(); ++d)
      if (days[d].best && (!later || days[d].best->day_kwh > later->day_kwh * 1.25)) later = days[d].best;

  if (today.best) {
    out.today_kwh = today.best->day_kwh;
    out.total_kwh = gain(today.best->step, n, nullptr).total_kwh;
    out.possible_today_kwh = today.possible;
    // The window: from the best hour until a fifth of the gain is gone, an hour at least.
    std::size_t last = today.best->step;
    for (const auto& o : today.options)
      if (o.step >= today.best->step && o.day_kwh >= 0.8 * today.best->day_kwh) last = o.step;
    out.best_from = roof.steps[today.best->step].from;
    out.best_to = std::max(roof.steps[last].from, *out.best_from + hours{1});
    if (*out.best_to > *out.best_from + hours{2}) out.best_to = *out.best_from + hours{2};
  }
  if (later) {
    out.later_day = roof.steps[later->step].from;
    out.later_kwh = later->day_kwh;
    double light = 0, clear = 0;
    const Utc day = words.local_midnight(*out.later_day);
    for (std::size_t i = 0; i < n && roof.steps[i].from < day; ++i) {
      const double high = std::max(0.0, roof.steps[i].sun_elevation_deg) * roof.steps[i].hours;
      light += high * roof.steps[i].clear_share;
      clear += high;
    }
    out.grey_until = clear > 0 && light < 0.5 * clear;
  }

  if (!out.lies_now) {
    if (today.best && today.best->day_kwh >= threshold && snow_end && today.best->step >= *snow_end) out.choice = Choice::wait_snow;
    return out;
  }
  if (today.best && today.best->day_kwh >= threshold) {
    // While it snows the best moment is after it; before that moment the word is to wait.
    if (snow_end && *snow_end > 0 && today.best->step >= *snow_end && in.snowing_now) {
      out.choice = Choice::wait_snow;
      return out;
    }
    out.choice = Choice::clear;
    return out;
  }
  if (today.best_unsafe && today.best_unsafe->day_kwh >= threshold) {
    out.choice = Choice::unsafe;
    out.by_wind = windy;
    return out;
  }
  if (today.best && today.possible >= threshold && out.possible_today_kwh - out.today_kwh > 0.5 * out.possible_today_kwh) {
    out.choice = Choice::not_needed;
    return out;
  }
  if (snow_end && *snow_end > 0) {
    out.choice = Choice::wait_snow;
    return out;
  }
  out.choice = later && later->day_kwh >= rig.advice.min_gain_kwh ? Choice::wait_day : Choice::too_small;
  return out;
}

}  // namespace fw::outlook
