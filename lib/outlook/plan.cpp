#include "outlook/plan.h"

#include <algorithm>
#include <cmath>

namespace fw::outlook {
namespace {
constexpr double full_soc = 0.985;
constexpr int longest_days = 30;
constexpr double poorer_quarter_sd = 0.6745;
constexpr double range_sd = 1.2816;  // standard errors to either end of an 80 % range
constexpr double end_weight = 1 / (2 * range_sd * range_sd);  // so the three courses spread as much as all of them

/// When the middle course leaves energy over; how much, as a mean over the courses: a bank that fills late on the middle
/// one fills early on a better one, and none gives energy back on a worse one.
std::optional<Surplus> surplus_of(const RoofAhead& roof, const BankPath& low, const BankPath& mid, const BankPath& high, Utc from, Utc to) {
  Surplus s;
  double middle_kwh = 0;
  for (std::size_t i = 0; i < roof.steps.size(); ++i) {
    const auto& step = roof.steps[i];
    if (step.from < from || step.from >= to) continue;
    s.kwh += (end_weight * (low.curtailed_w[i] + high.curtailed_w[i]) + (1 - 2 * end_weight) * mid.curtailed_w[i]) * step.hours / 1000;
    if (mid.curtailed_w[i] < 10) continue;
    if (middle_kwh == 0) s.from = step.from;
    middle_kwh += mid.curtailed_w[i] * step.hours / 1000;
    s.to = step.from + Span{static_cast<std::int64_t>(step.hours * 3.6e6)};
  }
  if (middle_kwh < 0.05) return {};
  return s;
}
}  // namespace

Plan make_plan(const rig::Rig& rig, const Words& words, const PlanInput& in) {
  Plan plan;
  plan.at = in.now;
  plan.forecast_used = in.forecast_used;
  plan.forecast_age = in.forecast_age;
  plan.snow_seen = in.snow_seen;
  const RoofAhead roof = roof_ahead(rig, in.strings, in.site, in.now, in.weather);
  const std::size_t n = roof.steps.size(), strings = rig.strings.size();
  if (n == 0) return plan;

  std::vector<LeftAlone> left;
  std::vector<std::vector<double>> cleared(strings, std::vector<double>(n));
  for (std::size_t s = 0; s < strings; ++s) {
    left.push_back(left_alone(roof, static_cast<int>(s)));
    cleared_power(roof, static_cast<int>(s), left[s], 0, n, cleared[s]);
  }
  std::vector<BankStep> steps(n);
  auto hour_of = [&](std::size_t i) {
    return static_cast<std::size_t>(std::clamp<std::ptrdiff_t>((roof.steps[i].from - in.weather.front().from) / hours{1}, 0,
                                                               std::ssize(in.weather) - 1));
  };
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t h = hour_of(i);
    steps[i].hours = roof.steps[i].hours;
    steps[i].available_error = roof.steps[i].share_error;
    for (std::size_t s = 0; s < strings; ++s) steps[i].available_w += left[s].power_w[i] * rig.strings[s].controller.efficiency;
    if (h < in.loads.size()) {
      steps[i].load_w = in.loads[h].watts;
      steps[i].load_error_w = in.loads[h].error_w;
    }
    if (!in.cells_c.empty()) steps[i].cell_c = in.cells_c[std::min(h, in.cells_c.size() - 1)];
  }

  plan.soc_known = in.bank.has_value();
  const BankNow assumed = in.bank.value_or(BankNow{});
  std::vector<double> sigma_k;
  for (std::size_t i = 0; i < n && !in.cell_sigma_k.empty(); ++i) sigma_k.push_back(in.cell_sigma_k[std::min(hour_of(i), in.cell_sigma_k.size() - 1)]);
  judge_charging(rig, assumed.charging_allowed, sigma_k, steps);
  const BankPath mid = run_bank(rig, assumed, steps, 0);
  const BankPath low = run_bank(rig, assumed, steps, -range_sd);
  const BankPath high = run_bank(rig, assumed, steps, range_sd);

  for (std::size_t h = 0; h < in.weather.size() && h < plan_hours; ++h) {
    PlanHour row;
    row.from = in.weather[h].from;
    row.air_c = in.weather[h].air_c;
    row.clear_share = in.weather[h].clear_share;
    row.snow_cm = in.weather[h].snow_cm;
    row.as_is_w.assign(strings, 0);
    row.cleared_w.assign(strings, 0);
    plan.hours.push_back(row);
  }
  std::vector<double> lasted(plan.hours.size(), 0);
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t h = hour_of(i);
    if (h >= plan.hours.size()) continue;
    PlanHour& row = plan.hours[h];
    const double dt = steps[i].hours;
    lasted[h] += dt;
    for (std::size_t s = 0; s < strings; ++s) {
      row.as_is_w[s] += left[s].power_w[i] * dt;
      row.cleared_w[s] += cleared[s][i] * dt;
    }
    row.wanted_w += steps[i].load_w * dt;
    row.served_w += mid.served_w[i] * dt;
    row.accepted_w += mid.accepted_w[i] * dt;
    row.curtailed_w += mid.curtailed_w[i] * dt;
    row.held_off_w += mid.held_off_w[i] * dt;
    row.chargeable = mid.chargeable[i];
    row.soc_low = low.soc[i];
    row.soc_mid = mid.soc[i];
    row.soc_high = high.soc[i];
  }
  for (std::size_t h = 0; h < plan.hours.size(); ++h) {
    PlanHour& row = plan.hours[h];
    if (lasted[h] <= 0) continue;
    for (auto* v : {&row.as_is_w, &row.cleared_w})
      for (double& w : *v) w /= lasted[h];
    for (double* w : {&row.wanted_w, &row.served_w, &row.accepted_w, &row.curtailed_w, &row.held_off_w}) *w /= lasted[h];
  }

  const Utc midnight = words.next_local_midnight(in.now), next_midnight = words.next_local_midnight(midnight);
  for (std::size_t i = 0; i < n; ++i) {
    const Utc t = roof.steps[i].from;
    const double taken = mid.accepted_w[i] * steps[i].hours / 1000;
    if (t < midnight) {
      plan.today_made_kwh += taken;
      plan.today_held_off_kwh += mid.held_off_w[i] * steps[i].hours / 1000;
    } else if (t < next_midnight) {
      plan.tomorrow_made_kwh += taken;
      plan.tomorrow_held_off_kwh += mid.held_off_w[i] * steps[i].hours / 1000;
    }
  }

  double most_held_off = 0;
  for (std::size_t i = 0; i < n && roof.steps[i].from < midnight; ++i) most_held_off = std::max(most_held_off, mid.held_off_w[i]);
  for (std::size_t i = 0; i < n && roof.steps[i].from < midnight && !plan.held_off_from; ++i)
    if (most_held_off > 0 && mid.held_off_w[i] >= 0.5 * most_held_off) plan.held_off_from = roof.steps[i].from;

  if (rig.has_bank && in.bank) {
    auto at = [&](std::optional<double> h) -> std::optional<Utc> {
      if (!h) return {};
      return in.now + Span{static_cast<std::int64_t>(*h * 3.6e6)};
    };
    const bool closed = in.away && !in.under_snow.empty() && std::all_of(in.under_snow.begin(), in.under_snow.end(), [](bool b) { return b; });
    std::vector<BankStep> by_loads = steps;
    for (BankStep& s : by_loads) s.available_w = 0;
    BankNow uncharged = assumed;
    uncharged.unexplained_w = std::max(0.0, assumed.unexplained_w);  // what comes unexplained comes while charging
    const BankPath course = closed ? run_bank(rig, uncharged, by_loads, 0) : mid;
    plan.reserve_at = at(course.reserve_h);
    plan.reserve_early = at(low.reserve_h);
    plan.reserve_late = at(high.reserve_h);
    plan.departure_at = at(course.departure_h);
    if (in.reserve_told) {
      const BankPath poor = closed ? course : run_bank(rig, assumed, steps, -poorer_quarter_sd);
      plan.reserve_perhaps = at(poor.reserve_h);
      plan.departure_perhaps = at(poor.departure_h);
    }
    for (std::size_t i = 0; i < n; ++i)
      if (course.soc[i] < plan.lowest_soc) plan.lowest_soc = course.soc[i], plan.lowest_at = roof.steps[i].from;
    for (std::size_t i = 0; i < n && roof.steps[i].from < in.now + hours{12}; ++i) plan.rises |= course.soc[i] > rig.bank.departure_reserve_soc + 0.05;
    // Which of seven paths from very poor to very good reach it: a probability in steps fine enough for words.
    auto reached = [&](double sd) { return reached_after_h(rig, assumed, steps, rig.bank.reserve_soc, sd).has_value(); };
    constexpr double sd[] = {0.37, 0.79, 1.47};
    int count = mid.reserve_h ? 4 : 0;
    if (mid.reserve_h) {
      for (int k = 0; k < 3 && reached(sd[k]); ++k) ++count;
    } else {
      for (int k = 2; k >= 0 && reached(-sd[k]); --k) ++count;
    }
    plan.reserve_probability = count / 7.0;
    // Saving for the reserve, or for the departure reserve where only that is in sight.
    const auto short_h = mid.reserve_h ? mid.reserve_h : mid.departure_h;
    const double short_soc = mid.reserve_h ? rig.bank.reserve_soc : rig.bank.departure_reserve_soc;
    if (short_h && *short_h > 0) {
      // A cut that carries it through; if that is too much to ask, one that carries it to the next sun.
      double sun_h = 0, t = 0;
      for (std::size_t i = 0; i < n; ++i) {
        if (t > *short_h && mid.accepted_w[i] > steps[i].load_w && steps[i].load_w > 0) {
          sun_h = t + 1;
          plan.saving_to_sun = true;
          break;
        }
        t += steps[i].hours;
      }
      t = 0;
      for (std::size_t i = 0; i < n && sun_h == 0; ++i) {  // no charging in sight: the next daylight, when things can be seen to
        if (t > *short_h && roof.steps[i].sun_elevation_deg > 5) sun_h = t;
        t += steps[i].hours;
      }
      double mean_w = 0, all_h = 0;  // of what is wanted: with so much less nothing is cut off
      for (const auto& s : steps) mean_w += s.load_w * s.hours, all_h += s.hours;
      mean_w /= all_h;
      for (const double goal_h : {all_h, sun_h}) {
        if (goal_h <= 0 || plan.saving_w) continue;
        for (double cut = 0.1; cut <= 0.71; cut += 0.05) {
          const auto h = reached_after_h(rig, assumed, steps, short_soc, 0, 1 - cut);
          if (h && *h < goal_h) continue;
          plan.saving_w = cut * mean_w;
          if (goal_h < all_h) plan.saving_until = at(goal_h);
          break;
        }
      }
    }
    if (!plan.reserve_at) {
      // The last day of the plan again and again, while it takes more than it gives.
      std::size_t day = n;
      double hours_back = 0;
      while (day > 0 && hours_back < 24) hours_back += steps[--day].hours;
      const double start = day > 0 ? course.soc[day - 1] : assumed.soc;
      const double lost = start - course.soc.back();
      if (lost > 1e-4 && hours_back > 20) {
        const double days_more = (course.soc.back() - rig.bank.reserve_soc) / lost;
        double total = 0;
        for (const auto& s : steps) total += s.hours;
        if (days_more < longest_days) {
          plan.reserve_at = at(total + days_more * 24);
          plan.reserve_beyond = true;
        }
      }
    }
    for (std::size_t i = 0; i < n && !plan.full_at && roof.steps[i].from < next_midnight; ++i)
      if (mid.soc[i] >= full_soc && roof.clean_w.size() > 0 && roof.steps[i].ghi_wm2 > 0) plan.full_at = roof.steps[i].from;
    plan.surplus_today = surplus_of(roof, low, mid, high, in.now, midnight);
    plan.surplus_tomorrow = surplus_of(roof, low, mid, high, midnight, next_midnight);
  }
  plan.clearing = decide_clearing(rig, words, roof, left, steps, in.bank, {in.under_snow, in.snowing_now, in.wind_ms, in.advised});
  double possible = 0, taken = 0;
  for (std::size_t i = 0; i < n; ++i) {
    possible += steps[i].available_w * steps[i].hours;
    taken += mid.accepted_w[i] * steps[i].hours;
  }
  const bool bank_short = plan.reserve_at && !plan.reserve_beyond;
  plan.cleaning = cleaning_gain(rig, roof, in.soiling_loss, in.bank && possible > 0 ? taken / possible : 1, bank_short);
  if (in.attitude) plan.attitude = attitude_gain(rig, roof, in.site, midnight, *in.attitude);
  return plan;
}

}  // namespace fw::outlook
