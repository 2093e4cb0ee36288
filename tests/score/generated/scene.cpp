#include "score/generated/scene.h"

#include <algorithm>
#include <cmath>

#include "score/generated/dice.h"
#include "score/generated/light.h"
#include "units/time.h"

namespace fw::score {

namespace {

constexpr const char* family_names[] = {"ordinary", "outages", "soiling", "shade", "thin_snow", "quiet"};

void pick_place(Scene& s, Dice& d) {
  const double where = d.unit();
  const bool south = where < 0.2, far_north = where > 0.82 && s.family != Family::soiling;
  s.lat = far_north ? d.between(56, 61) : d.between(37, 52);
  if (south) s.lat = -d.between(36, 47);
  s.lon = std::round(d.between(-160, 160) * 100) / 100;
  s.lat = std::round(s.lat * 100) / 100;
  s.altitude_m = std::round(d.chance(0.4) ? d.between(900, 2100) : d.between(40, 900));
  s.zone_hours = static_cast<int>(std::lround(s.lon / 15));
  using namespace std::chrono;
  const auto day0 = far_north ? sys_days{2026y / February / 6} : south ? sys_days{2026y / June / 8} : sys_days{2025y / November / 6};
  const int offset = far_north ? d.whole(0, 26) : south ? d.whole(0, 70) : d.whole(0, 110);
  s.start_unix_s = (day0 + std::chrono::days{offset}).time_since_epoch().count() * 86400LL - s.zone_hours * 3600LL;
  s.aerosol = d.between(0.02, 0.09) * (s.altitude_m > 900 ? 0.6 : 1);
  s.water_cm = d.between(0.25, 1.1);
  s.swing_k = d.between(2.5, 5.5);
  s.hill_diffuse = d.between(1.0, 1.7);
  const bool snowy = s.family == Family::ordinary || s.family == Family::thin_snow || (s.family == Family::outages && d.chance(0.5));
  s.mean_air_c = snowy ? d.between(-9, -1) : s.family == Family::soiling ? d.between(2, 9) : d.between(-6, 6);
  s.ground_albedo = snowy && d.chance(0.5) ? 0.65 : 0.2;
  const double hilly = s.family == Family::shade ? d.between(5, 15) : d.chance(0.45) ? d.between(1, 8) : 0;
  const double a = d.between(0, 6.28), b = d.between(0, 6.28);
  for (int i = 0; i < 72; ++i) {
    const double az = i * 5 * 0.0174533;
    s.hills_deg.push_back(std::max(0.0, hilly * (0.45 + 0.45 * std::sin(az + a) + 0.3 * std::sin(3 * az + b)) + d.between(-0.6, 0.6) * (hilly > 0)));
  }
}

void pick_strings(Scene& s, Dice& d) {
  static constexpr const char* names[][4] = {{"bow", "stern", "rack", "lid"}, {"s1", "s2", "s3", "s4"}, {"left", "right", "back", "door"},
                                             {"upper", "lower", "side", "spare"}, {"east_row", "west_row", "hatch", "porch"}};
  const int set = d.whole(0, 4);
  const double u = d.unit();
  const int count = u < 0.18 ? 1 : u < 0.6 ? 2 : u < 0.88 ? 3 : 4;
  const double equator = s.lat > 0 ? 180 : 0;
  const double roof_tilt = d.between(0.5, 5), roof_azimuth = std::fmod(equator + d.between(-60, 60) + 360, 360);
  const double turn = d.about(14, 28), lean = d.about(3, 8);
  for (int i = 0; i < count; ++i) {
    StringScene x;
    x.id = names[set][i];
    Cells c;
    c.stc_w = d.pick({165.0, 210.0, 270.0, 305.0, 340.0, 395.0, 430.0});
    c.v_mp = c.stc_w < 220 ? d.between(18.5, 20.6) : d.between(30.5, 38.5);
    c.v_mp = std::round(c.v_mp * 10) / 10;
    c.v_oc = std::round(c.v_mp * d.between(1.175, 1.22) * 10) / 10;
    c.gamma_per_k = -std::round(d.between(29, 42)) / 10000;
    c.beta_oc_per_k = -std::round(d.between(24, 32)) / 10000;
    const int wiring = d.whole(0, 5);
    c.series = wiring == 0 ? 1 : wiring == 1 ? 3 : 2;
    c.parallel = wiring == 2 || wiring == 3 ? 2 : wiring == 4 && c.stc_w < 220 ? 3 : 1;
    if (s.family == Family::outages && i == 0) c.series = 2, c.parallel = 2;
    x.paper = c;
    c.stc_w *= 1 + d.about(0.06, 0.12) - 0.03;
    c.v_mp *= 1 + d.about(0.01, 0.02);
    c.v_oc *= 1 + d.about(0.01, 0.02);
    c.beta_mp_per_k = c.gamma_per_k * d.between(0.92, 1.02);
    c.light_v = d.between(0.015, 0.042);
    c.dim_w = d.between(12, 35);
    x.real = c;
    const double kind = d.unit();
    if (i == 0 || kind < 0.55) {
      x.tilt_deg = roof_tilt;
      x.azimuth_deg = roof_azimuth;
    } else if (kind < 0.85) {
      x.tilt_deg = d.between(10, 45);
      x.azimuth_deg = std::fmod(equator + d.between(-45, 45) + 360, 360);
    } else {
      x.tilt_deg = d.between(60, 88);
      x.azimuth_deg = std::fmod(equator + d.between(-30, 30) + 360, 360);
    }
    x.tilt_deg = std::round(x.tilt_deg);
    x.azimuth_deg = std::round(x.azimuth_deg);
    x.real_tilt_deg = std::max(0.3, x.tilt_deg + lean * (x.tilt_deg > 8 ? 1 : 0.4) + d.about(0.7, 1.5));
    x.real_azimuth_deg = std::fmod(x.azimuth_deg + turn + d.about(3, 6) + 360, 360);
    x.clears_easily = x.real_tilt_deg > 14;
    const double rated = x.paper.stc_w * c.series * c.parallel;
    x.max_w = std::round(rated * (d.chance(0.15) ? d.between(0.45, 0.6) : d.between(0.9, 1.2)) / 10) * 10;
    x.first_soiling = s.family == Family::soiling ? d.between(0.008, 0.035) : d.between(0.005, 0.015);
    s.strings.push_back(x);
  }
}

/// A cloudless day's yield in the middle of the weeks.
double clear_day_wh(const Scene& s) {
  double wh = 0;
  for (int quarter = 0; quarter < 96; ++quarter) {
    const SunAt sun = sun_at(static_cast<double>(s.start_unix_s) + s.days * 43200.0 + quarter * 900.0, s.lat, s.lon);
    const Light light = clear_light(sun, s.altitude_m, {s.aerosol, s.water_cm, 0.32}, s.ground_albedo);
    for (const auto& x : s.strings) {
      const PlaneLight p = on_plane(sun, light, s.ground_albedo, x.real_tilt_deg, x.real_azimuth_deg);
      wh += 0.25 * std::min(x.max_w, p.sum() / 1000 * x.real.stc_w * x.real.series * x.real.parallel);
    }
  }
  return wh;
}

void pick_bank(Scene& s, Dice& d) {
  double rated = 0;
  for (const auto& x : s.strings) rated += x.paper.stc_w * x.paper.series * x.paper.parallel;
  s.bank_v = rated > 1500 && d.chance(0.5) ? 25.6 : 12.8;
  const double wh = rated * d.between(2.2, 6);
  s.bank_ah = std::max(100.0, std::round(wh / s.bank_v / 20) * 20);
  for (auto& x : s.strings) x.max_a = std::round(x.max_w / s.bank_v);
  const double daily_wh = clear_day_wh(s) * (d.chance(0.25) ? d.between(0.3, 0.55) : d.between(0.6, 1.1));   // mostly not full
  s.base_load_w = std::round(daily_wh / 24 * 0.5);
  s.evening_load_w = std::round(daily_wh / 5 * 0.5);
  s.first_soc = d.between(0.35, 0.9);
  s.cabin_c = d.between(8, 19);
  s.cold_cabin = (s.family == Family::ordinary || s.family == Family::quiet) && d.chance(0.3);
  s.cold_lift_k = -s.mean_air_c + d.between(1, 6);
  s.cell_hours = d.between(5, 20);
  s.feeds_loads_when_held = d.chance(0.4);
  s.efficiency = d.between(0.945, 0.98);
  s.has_outlook = !d.chance(0.2);
}

long local_hour(int day, double hour) { return day * 1440L + std::lround(hour * 60); }

void pick_sky(Scene& s, Dice& d) {
  // One mood a day, changing within it now and then.
  const double cloudy = s.family == Family::quiet      ? d.between(0.2, 0.6)
                        : s.family == Family::soiling  ? d.between(0.12, 0.4)
                        : s.family == Family::shade    ? d.between(0.15, 0.4)
                        : s.family == Family::outages  ? d.between(0.2, 0.5)
                        : s.family == Family::thin_snow ? d.between(0.4, 0.7)
                                                       : d.between(0.2, 0.55);
  long at = 0;
  double wet = d.unit();
  while (at < s.minutes()) {
    const long until = std::min(s.minutes(), at + std::lround(d.between(2.5, 16) * 60));
    wet = std::clamp(0.6 * wet + 0.4 * d.unit() + 0.25 * (cloudy - 0.4), 0.0, 1.0);
    Spell p;
    p.from_min = at;
    p.to_min = until;
    const double broken = s.family == Family::thin_snow ? 0.65 : 0.45;
    if (d.unit() > cloudy * (0.5 + wet)) p.sky = d.chance(0.12) ? Sky::cirrus : Sky::clear;
    else {
      const double u = d.unit();
      p.sky = u < broken ? Sky::broken : u < broken + 0.12 ? Sky::cirrus : u < broken + 0.17 ? Sky::fog : Sky::overcast;
    }
    p.depth = d.unit();
    s.spells.push_back(p);
    at = until;
  }
}

void pick_falls(Scene& s, Dice& d) {
  const auto snow = [&](int day, double hour, double hours_long, double cm) {
    s.falls.push_back({local_hour(day, hour), local_hour(day, hour + hours_long), cm, false, !d.chance(0.12)});
  };
  if (s.family == Family::ordinary || s.family == Family::outages) {
    const int falls = s.family == Family::ordinary ? d.whole(2, 4) : s.mean_air_c < -1 ? d.whole(0, 2) : 0;
    for (int i = 0; i < falls; ++i) {
      const int day = 2 + i * (s.days - 3) / std::max(1, falls) + d.whole(0, 1);
      snow(day, d.between(-8, 14), d.between(3, 11), d.chance(0.4) ? d.between(0.6, 3) : d.between(3, 18));
    }
    if (s.mean_air_c > -4 && d.chance(0.4)) s.falls.push_back({local_hour(s.days - 2, d.between(0, 14)), 0, d.between(1, 7), true, true});
  }
  if (s.family == Family::thin_snow)
    for (int day = 2; day < s.days - 1; day += d.whole(1, 3)) snow(day, d.between(-6, 12), d.between(1.5, 6), d.between(0.3, 2.2));
  if (s.family == Family::soiling)
    for (int day = d.whole(3, 6); day < s.days; day += d.whole(4, 7)) s.falls.push_back({local_hour(day, d.between(0, 20)), 0, d.chance(0.3) ? d.between(0.3, 1.2) : d.between(2, 8), true, true});
  if ((s.family == Family::quiet || s.family == Family::shade) && d.chance(0.5)) s.falls.push_back({local_hour(d.whole(2, s.days - 2), d.between(0, 20)), 0, d.between(1, 8), true, true});
  for (Fall& f : s.falls)
    if (f.rain) f.to_min = f.from_min + std::lround(d.between(1.5, 6) * 60);
  std::erase_if(s.falls, [&](const Fall& f) { return f.from_min < 1440 || f.to_min > s.minutes(); });
  std::sort(s.falls.begin(), s.falls.end(), [](const Fall& a, const Fall& b) { return a.from_min < b.from_min; });
  // Snow and rain bring their own sky.
  for (const Fall& f : s.falls) {
    Spell p{f.from_min - std::lround(d.between(60, 300)), f.to_min + std::lround(d.between(10, 150)), Sky::overcast, d.between(0, 0.5)};
    s.spells.push_back(p);
  }
}

void pick_handwork(Scene& s, Dice& d) {
  for (const Fall& f : s.falls) {
    if (f.rain) continue;
    const int day = static_cast<int>(f.to_min / 1440) + d.whole(0, 2);
    if (day >= s.days) continue;
    for (int i = 0; i < static_cast<int>(s.strings.size()); ++i)
      if (d.chance(0.3)) s.handwork.push_back({local_hour(day, d.between(9, 14.5)), i, d.chance(0.25) ? d.between(0.5, 0.85) : 1.0, d.chance(0.2), false});
  }
  if (s.family == Family::soiling) {
    const int day = d.whole(5, s.days - 2);
    const double hour = d.between(8.5, 16);
    for (int i = 0; i < static_cast<int>(s.strings.size()); ++i)
      if (d.chance(0.75)) s.handwork.push_back({local_hour(day, hour + 0.2 * i), i, 0, false, true});
  }
}

void pick_film(Scene& s, Dice& d) {
  s.soiling_per_day = s.family == Family::soiling ? d.between(0.003, 0.014) : d.between(0.0, 0.0012);
  if (s.family != Family::soiling) return;
  for (int day = d.whole(3, 5); day < s.days; day += d.whole(5, 9)) {
    const long from = local_hour(day, d.between(6, 20));
    s.dust.push_back({from, from + std::lround(d.between(30, 300)), d.between(0.03, 0.11)});
  }
}

void pick_obstacles(Scene& s, Dice& d) {
  const int most = s.family == Family::shade ? d.whole(2, 4) : d.chance(0.3) ? 1 : 0;
  const double noon_az = s.lat > 0 ? 180 : 360;
  for (int i = 0; i < most; ++i) {
    Obstacle o;
    o.string = d.whole(0, static_cast<int>(s.strings.size()) - 1);
    const double offset = d.pick({-1.0, 1.0}) * d.between(8, 48);
    const double kind = d.unit();
    const double width = kind < 0.35 ? d.between(2.5, 6) : kind < 0.7 ? d.between(8, 20) : d.between(15, 30);
    o.from_az = std::fmod(noon_az + offset - width / 2 + 360, 360);
    o.to_az = std::fmod(o.from_az + width, 360);
    o.top_el = d.between(18, 50);
    o.soft_deg = kind < 0.35 ? d.between(0.4, 1) : d.between(0.6, 3);
    o.dense = kind >= 0.7 && d.chance(0.6) ? d.between(0.45, 0.8) : 1.0;
    o.by_parts = d.chance(0.7);
    s.obstacles.push_back(o);
    if (s.strings.size() > 1 && d.chance(0.35)) {
      o.string = (o.string + 1) % static_cast<int>(s.strings.size());
      const double shift = d.between(-3, 3);
      o.from_az = std::fmod(o.from_az + shift + 360, 360);
      o.to_az = std::fmod(o.to_az + shift + 360, 360);
      s.obstacles.push_back(o);
    }
  }
}

void pick_mishaps(Scene& s, Dice& d) {
  const auto any = [&] { return d.whole(0, static_cast<int>(s.strings.size()) - 1); };
  const auto add = [&](Mishap kind, int string, double day, double hours_long) {
    const long from = std::lround(day * 1440);
    const long to = std::min(s.minutes() - 60, from + std::lround(hours_long * 60));
    for (const MishapAt& m : s.mishaps)
      if ((m.string == string || m.string < 0 || string < 0) && from < m.to_min + 240 && to > m.from_min - 240) return;
    if (to - from > 60) s.mishaps.push_back({kind, string, from, to});
  };
  if (s.family == Family::outages) {
    const double step = (s.days - 2.5) / 6;
    for (int i = 0; i < 6; ++i) {
      const double day = 2 + (i + d.between(0, 0.6)) * step;
      int who = any();
      Mishap kind = d.pick({Mishap::open, Mishap::open, Mishap::controller_fault, Mishap::branch_lost, Mishap::branch_lost, Mishap::breaker_by_hand});
      if (kind == Mishap::branch_lost) {
        for (int k = 0; k < static_cast<int>(s.strings.size()) && s.strings[static_cast<std::size_t>(who)].paper.parallel < 2; ++k) who = (who + 1) % static_cast<int>(s.strings.size());
        if (s.strings[static_cast<std::size_t>(who)].paper.parallel < 2) kind = Mishap::open;
      }
      add(kind, who, day, d.between(14, 44));
    }
    add(d.pick({Mishap::controller_silent, Mishap::frozen, Mishap::absurd}), any(), d.between(2, s.days - 2), d.between(4, 20));
  }
  if (s.family == Family::ordinary) {
    if (d.chance(0.5)) add(d.pick({Mishap::broker_gap, Mishap::controller_silent, Mishap::frozen, Mishap::absurd}), any(), d.between(1.5, s.days - 1.5), d.between(2, 16));
    if (d.chance(0.25)) add(d.pick({Mishap::open, Mishap::controller_fault}), any(), d.between(4, s.days - 2), d.between(20, 40));
  } else if (s.family == Family::thin_snow || s.family == Family::shade) {
    if (d.chance(0.3)) add(Mishap::broker_gap, 0, d.between(1.5, s.days - 1.5), d.between(1, 5));
  }
  for (MishapAt& m : s.mishaps)
    if (m.kind == Mishap::broker_gap) m.string = -1;
}

}  // namespace

const char* name(Family f) { return family_names[static_cast<int>(f)]; }

std::optional<Family> family_in(const std::string& text) {
  for (const Family f : families)
    if (text == name(f)) return f;
  return {};
}

double Scene::horizon_deg(double azimuth_deg) const {
  const double x = std::fmod(azimuth_deg + 720, 360) / 5;
  const auto i = static_cast<std::size_t>(x) % 72;
  return hills_deg[i] + (x - std::floor(x)) * (hills_deg[(i + 1) % 72] - hills_deg[i]);
}

Scene scene_of(Family family, std::uint64_t seed, int days) {
  Scene s;
  s.family = family;
  s.seed = seed;
  Dice d(seed, name(family));
  s.days = days ? days : family == Family::soiling ? 18 : d.whole(12, 15);
  pick_place(s, d);
  pick_strings(s, d);
  pick_bank(s, d);
  pick_sky(s, d);
  pick_falls(s, d);
  pick_handwork(s, d);
  pick_film(s, d);
  pick_obstacles(s, d);
  pick_mishaps(s, d);
  const double frosty = family == Family::quiet ? 0.3 : 0.45;
  for (int day = 0; day < s.days; ++day) s.frost_by_day.push_back(s.mean_air_c < 4 && d.chance(frosty) ? d.between(0.08, 0.34) : 0);
  return s;
}

}  // namespace fw::score
