#include "diagnosis/transitions.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace fw::diagnosis {

namespace {

constexpr double per_minute(double minutes) { return 1.0 / minutes; }
constexpr double hour = 60, day = 24 * 60;
constexpr double dull_melts = 0.25, bright = 0.4;   ///< share of the melting under a dark sky; what is bright; estimates
// What cannot change must not win over what can by that alone; snow changes most. Estimates.
constexpr double still_is_no_proof = per_minute(40), still_among_snow = per_minute(14);
// Of fresh snow, as forecast: what covers a string two times in three, darkens it by a row, turns a cover into the next
// heavier one; how far forecasts are off (power of a ratio); from where on each cover is left, heaviest first. Estimates.
constexpr double covers_cm = 2, darkens_row_cm = 0.8, turns_heavier_cm = 1.5, fall_spread = 2, forecast_says = 0.7;
constexpr std::array covers_from_cm{8.5, 6.5, 5.0, 3.3, 2.0, 1.2};
// Snow falls no faster, but for a gust off a roof or tree. Estimates.
constexpr double fastest_cm_h = 4, least_cm = 0.4, too_fast = 0.02;
// Shade where an earlier day had the sun, against a place not seen yet; an estimate.
constexpr double open_from = 0.9, new_shade = 0.1;
// The sun passes what stands about a rig within some two hours; an estimate. What stays longer is something else.
constexpr double passing_min = 150;

/// Time in which a snow row gives way to the next lighter one.
double melt_minutes(const Passing& n) {
  const double air = n.air_c.value_or(-1);
  if (n.sun_elevation_deg > 2) return air > 6 ? 8 : air > 3 ? 20 : air > 0 ? 30 : air > -3 ? 50 : air > -8 ? 90 : 200;
  return air > 3 ? 60 : air > 0.5 ? 200 : 4000;
}

}  // namespace

namespace {

template <int quads>
FW_INLINE void pass_minute(const StringStates& s, const Passing& n, const Quad* b, Quad* next) {
  std::copy_n(b, s.size() * quads, next);
  std::array<bool, 64> empty;
  for (int i = 0; i < s.size(); ++i) {
    Quad sum;
    for (int q = 0; q < quads; ++q) sum += b[i * quads + q];
    empty[static_cast<std::size_t>(i)] = sum[0] + sum[1] + sum[2] + sum[3] == 0;
  }
  const auto move = [&](int from, int to, double rate) {
    if (rate <= 0 || empty[static_cast<std::size_t>(from)]) return;
    const Quad share(std::min(rate * n.minutes, 0.5));
    const Quad* here = b + from * quads;
    Quad *loses = next + from * quads, *gains = next + to * quads;
    for (int q = 0; q < quads; ++q) {
      const Quad m = here[q] * share;
      loses[q] -= m;
      gains[q] += m;
    }
  };
  const bool sun_up = n.sun_elevation_deg > 0;
  const double air = n.air_c.value_or(0);

  // frost: grows in freezing nights, goes within hours of sun
  if (!sun_up && air < 3) {
    for (int i = s.frost_from; i < s.frost_to; ++i) move(0, i, per_minute(2.0 * day) / (s.frost_to - s.frost_from) * 2);
  }
  for (int i = s.frost_from; i < s.frost_to; ++i) {
    const bool late = n.minutes_of_sun > 150;
    const double lighter = sun_up ? (late ? per_minute(4) : n.minutes_of_sun > 40 ? per_minute(25) : per_minute(60)) : (air > 4 ? per_minute(60) : 0);
    move(i, i + 1 < s.frost_to ? i + 1 : 0, lighter);
    move(i, 0, sun_up ? (late ? per_minute(10) : per_minute(120)) : 0);
  }

  // snow: melts row by row, slides or is swept at once, grows while more falls
  // Little light melts little; the same for all explanations, or the one that melts less would win by waiting. A cover
  // turns into a lighter one as ever: slowed too, it was left behind by what the labelled feeds show.
  const double melt = per_minute(melt_minutes(n)) * (air > 3 ? 1 : dull_melts + (1 - dull_melts) * std::min(1.0, n.brightest / bright));
  for (int i = s.snow_from; i < s.snow_to; ++i) {
    move(i, i + 1 < s.snow_to ? i + 1 : 0, melt);
    move(i, 0, air > 6 ? per_minute(40) : sun_up ? per_minute(20 * hour) : per_minute(150 * hour));
    // a row is an estimate: patches come free, a hill or a cloud was mistaken
    static constexpr std::array near{0.0, 0.27, 0.15, 0.06};
    for (int away = 1; away < static_cast<int>(near.size()); ++away)
      for (const int j : {i - away, i + away})
        if (j >= s.snow_from && j < s.snow_to) move(i, j, near[static_cast<std::size_t>(away)] * (sun_up ? per_minute(40) : per_minute(1500)));
    if (n.fall_cm_h > 0 && i > s.snow_from) move(i, i - 1, n.fall_cm_h / hour / darkens_row_cm * n.hold_snow);
  }
  if (sun_up) {
    const int span = s.snow_to - s.snow_from;
    const double rate = per_minute(200) * n.minutes;
    for (int q = 0; q < quads; ++q) {
      Quad all{};
      for (int i = s.snow_from; i < s.snow_to; ++i) all += b[i * quads + q];
      for (int i = s.snow_from; i < s.snow_to; ++i) next[i * quads + q] += rate * (all / static_cast<double>(span) - b[i * quads + q]);
    }
  }
  if (n.spell && sun_up && n.cloudless < 0.5) {
    // under a cloud one that seemed clean may not have been
    const int span = s.snow_to - s.snow_from;
    for (int i = s.snow_from; i < s.snow_to; ++i) move(0, i, per_minute(10 * hour) / span);
  }
  if (n.snowing > 0.05) {
    // covered again while it still snows
    const double again = n.snowing * per_minute(60) * n.hold_snow;
    const int span = s.snow_to - s.snow_from;
    for (int i = s.snow_from; i < s.snow_to; ++i) move(0, i, again / span);
  }

  // film: comes and goes over days, a night changes nothing
  for (int i = s.film_from; i < s.film_to; ++i) {
    move(i, i + 1 < s.film_to ? i + 1 : 0, per_minute(4 * day));
    if (i > s.film_from) move(i, i - 1, per_minute(4 * day));
    move(i, 0, per_minute(15 * day));
  }
  for (int i = s.film_from; i < s.film_to; ++i) move(0, i, per_minute(2500 * day));

  // shade: needs a beam; gone by night, comes and goes within hours
  for (int i = s.shade_from; i < s.shade_to; ++i) {
    move(i, 0, !sun_up || n.shade_min > passing_min ? per_minute(10) : n.seen > open_from ? per_minute(25) : n.cloudless < 0.3 ? per_minute(40) : per_minute(100));
    if (i + 1 < s.shade_to) move(i, i + 1, per_minute(25));
    if (i > s.shade_from) move(i, i - 1, per_minute(25));
  }
  if (sun_up) {
    // what stands about is met at first light sooner than later
    const double rate = n.shade_min > passing_min ? 0 : n.sun_elevation_deg < 5 ? per_minute(12 * hour) : n.cloudless * per_minute(100 * hour);
    const double onset = (n.seen > open_from ? new_shade : 1.0) * rate / (s.shade_to - s.shade_from);
    for (int i = s.shade_from; i < s.shade_to; ++i) move(0, i, onset);
  }

  // rare things that stay
  for (int i = s.leaf_from; i < s.leaf_to; ++i) {
    if (!n.spell) move(0, i, per_minute(100 * day));
    move(i, 0, per_minute(3 * day));
  }
  const auto fault = [&](int state, double rate, double mend) {
    if (state < 0) return;
    for (int i = 0; i < s.size(); ++i)
      if (i != state && s[i].kind != Kind::half && s[i].kind != Kind::open) move(i, state, s[i].kind == Kind::snow ? 0.15 * rate : rate);
    move(state, 0, mend);
  };
  if (s.half_to > s.half_from) {
    const int whole = s.half_to - 1;
    fault(whole, per_minute(400 * day), n.sun_elevation_deg > 8 ? (n.spell ? still_among_snow : still_is_no_proof) : per_minute(30 * day));
    for (int i = s.half_from; i < whole; ++i) {
      if (!sun_up && air < 3) move(whole, i, per_minute(day) / 4);
      move(i, i + 1, sun_up ? (n.minutes_of_sun > 150 ? per_minute(4) : per_minute(25)) : 0);
    }
  }
  fault(s.open, per_minute(300 * day), per_minute(1 * day));
}

}  // namespace

FW_WIDE void pass_minute(const StringStates& s, const Passing& n, int quads, const Quad* before, Quad* after) {
  if (quads == 1) pass_minute<1>(s, n, before, after);
  else if (quads == 2) pass_minute<2>(s, n, before, after);
  else if (quads == 3) pass_minute<3>(s, n, before, after);
  else if (quads == 4) pass_minute<4>(s, n, before, after);
  else if (quads == 5) pass_minute<5>(s, n, before, after);
  else pass_minute<6>(s, n, before, after);   // no more are alike: three skies under eight covers
}

void pass_minute(const StringStates& s, const Passing& n, Belief& b) {
  std::vector<Quad> before(b.size()), after(b.size());
  for (std::size_t i = 0; i < b.size(); ++i) before[i][0] = b[i];
  pass_minute(s, n, 1, before.data(), after.data());
  for (std::size_t i = 0; i < b.size(); ++i) b[i] = after[i][0];
}

FW_WIDE void snowed_on(const StringStates& s, double hold_snow, Cover cover, int quads, const Quad* before, Quad* after) {
  const double covers = 0.93 * hold_snow;
  const auto [from, to] = s.snow_rows(cover);
  for (int q = 0; q < quads; ++q) {
    Quad moved{};
    for (int i = 0; i < s.size(); ++i) {
      const Kind k = s[i].kind;
      const Quad here = before[i * quads + q];
      const bool stays = k == Kind::half || k == Kind::open || k == Kind::snow;
      if (!stays) moved += here * covers;
      after[i * quads + q] = stays ? here : here * (1 - covers);
    }
    for (int i = from; i < to; ++i) after[i * quads + q] += moved / static_cast<double>(to - from);
  }
}

FW_WIDE void keep_within(const StringStates& s, Cover cover, int quads, Quad* b) {
  if (cover == Cover::any) return;
  const auto [from, to] = cover == Cover::none ? std::pair{0, 1} : s.snow_rows(cover);
  for (int i = s.snow_from; i < s.snow_to; ++i) {
    if (i >= from && i < to) continue;
    const int nearest = i < from ? from : to - 1;
    for (int q = 0; q < quads; ++q) {
      b[nearest * quads + q] += b[i * quads + q];
      b[i * quads + q] = Quad{};
    }
  }
}

double could_fall(Cover cover, double since_bare_min) {
  const auto g = static_cast<std::size_t>(cover);
  const double cm = g >= 1 && g - 1 < covers_from_cm.size() ? covers_from_cm[g - 1] : least_cm;
  return since_bare_min < cm / fastest_cm_h * hour ? too_fast : 1;
}

double cover_turns(Cover from, Cover to, const Passing& n) {
  if (from == to || from == Cover::none || to == Cover::none) return 0;
  const bool sun_up = n.sun_elevation_deg > 2;
  if (from == Cover::any) return per_minute(sun_up ? 400 : 2000) / 3;
  if (to == Cover::any) return per_minute(sun_up ? 500 : 3000);
  const int step = static_cast<int>(to) - static_cast<int>(from);
  if (step == 1) return sun_up ? per_minute(2 * melt_minutes(n)) : per_minute(3000);
  if (step == -1) return n.fall_cm_h / hour / turns_heavier_cm + per_minute(sun_up ? 900 : 4000);
  return 0;
}

double snow_onset_per_minute(const Passing& n, const SiteLook& site) {
  // snow needs cold air and cloud; a forecast without snow may be wrong
  const double air = n.air_c.value_or(-1);
  double per_day = air > 4 ? 0.001 : air > 2 ? 0.02 : 0.15;
  if (site.has_forecast) per_day *= site.forecast_snow ? 8 : site.snow_lately ? 0.10 : 0.02;
  if (site.forecast_cloud >= 0 && !site.forecast_snow) per_day *= 0.15 + 0.85 * site.forecast_cloud;
  per_day += site.fall_cm_h * day / hour / covers_cm;
  if (n.sun_elevation_deg > 5) per_day *= 1.0 - 0.998 * n.cloudless;
  return per_day / day;
}

std::array<double, cover_count> cover_left_by(double fallen_cm) {
  if (fallen_cm < 0.05) return cover_left;
  const auto more_than = [&](double cm) { return 1 / (1 + std::pow(cm / fallen_cm, fall_spread)); };
  std::array<double, cover_count> by_amount{};
  double heavier = 0;
  for (std::size_t g = 1; g + 1 < cover_count; ++g) {
    const double this_or_heavier = g - 1 < covers_from_cm.size() ? more_than(covers_from_cm[g - 1]) : 1;
    by_amount[g] = (1 - cover_left.back()) * (this_or_heavier - heavier);
    heavier = this_or_heavier;
  }
  by_amount.back() = cover_left.back();
  std::array<double, cover_count> out{};
  for (std::size_t g = 1; g < cover_count; ++g) out[g] = (1 - forecast_says) * cover_left[g] + forecast_says * by_amount[g];
  return out;
}

void cleared(const StringStates& s, Belief& b) {
  double moved = 0;
  for (int i = s.snow_from; i < s.snow_to; ++i) {
    moved += b[static_cast<std::size_t>(i)] * 0.98;
    b[static_cast<std::size_t>(i)] *= 0.02;
  }
  for (int i = s.frost_from; i < s.frost_to; ++i) {
    moved += b[static_cast<std::size_t>(i)];
    b[static_cast<std::size_t>(i)] = 0;
  }
  // ice left behind lets go within the hour
  for (int i = s.frost_from; i < s.frost_to; ++i) b[static_cast<std::size_t>(i)] += 0.3 * moved / (s.frost_to - s.frost_from);
  b[0] += 0.7 * moved;
}

}  // namespace fw::diagnosis
