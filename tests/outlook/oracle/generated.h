#pragma once
// Winters made up by simple physics of their own (nothing of the product's): sun by declination and hour angle,
// clear sky after Haurwitz, clouds by regimes of a day or two, snowfalls, a layer that thins by sun and warm air, loads with
// cold and habits, forecasts that err more the further ahead. Test only.
#include <algorithm>
#include <cmath>
#include <random>
#include <string>

#include "outlook/oracle/oracle.h"
#include "rig/rig.h"
#include "units/forecast.h"

namespace fw::oracle {

struct Generated {
  rig::Rig rig;
  World world;
  std::vector<Forecast> forecasts;      ///< every six hours
};

inline Generated generate(unsigned seed, int days) {
  std::mt19937 random(seed);
  auto uniform = [&](double a, double b) { return a + (b - a) * static_cast<double>(random()) / 4294967296.0; };
  auto normal = [&] {
    double s = 0;
    for (int i = 0; i < 12; ++i) s += uniform(0, 1);
    return s - 6;
  };
  Generated g;
  g.rig.name = "made-" + std::to_string(seed);
  const double latitude = uniform(40, 50);
  g.rig.site.latitude_deg = latitude;
  g.rig.site.longitude_deg = 15;
  g.rig.site.timezone = "Etc/GMT-1";
  const int strings = 1 + static_cast<int>(random() % 2);
  for (int s = 0; s < strings; ++s) {
    rig::PvString p;
    p.name = std::string(1, static_cast<char>('a' + s));
    p.module.stc_w = 400;
    p.parallel = 1 + static_cast<int>(random() % 3);
    g.rig.strings.push_back(p);
  }
  double rated = 0;
  for (const auto& s : g.rig.strings) rated += s.rated_w();
  g.rig.bank.capacity_ah = rated * uniform(4, 7) / 12.8;
  World& w = g.world;
  w.capacity_wh = g.rig.bank.capacity_wh();
  w.name = g.rig.name;
  const int first_day = static_cast<int>(uniform(-20, 50));
  w.start = Utc{std::chrono::sys_days{std::chrono::year{2026} / 1 / 15}} + hours{24 * first_day - 1};
  const double base_w = uniform(0.02, 0.045) * rated, per_kelvin = uniform(0.000, 0.004) * rated;

  // Hour by hour: cloud, air, snowfall.
  const int n_hours = days * 24 + 96;
  std::vector<double> cloud(n_hours), air(n_hours), snow(n_hours, 0.0);
  double regime = 0.3, mean_air = uniform(-8, 1), drift = 0;
  for (int h = 0; h < n_hours; ++h) {
    if (h % 24 == 0 && uniform(0, 1) < 0.6) regime = uniform(0, 1) < 0.5 ? uniform(0, 0.3) : uniform(0.5, 1);
    if (h % 24 == 0) drift = 0.6 * drift + 2 * normal();
    cloud[h] = std::clamp(regime + 0.12 * normal(), 0.0, 1.0);
    air[h] = mean_air + drift + 4 * std::sin((h % 24 - 9) * 0.2618) * (1.2 - regime);
  }
  for (int h = 30; h + 10 < n_hours; h += 1)
    if (uniform(0, 1) < 1.0 / 55) {
      const int length = 3 + static_cast<int>(random() % 8);
      const double rate = uniform(0.2, 1.5);
      for (int k = h; k < h + length; ++k) snow[k] = rate, cloud[k] = std::max(cloud[k], 0.9), air[k] = std::min(air[k], -0.5);
      w.snowfalls.push_back({w.start + hours{h}, w.start + hours{h + length}});
      h += length + 12;
    }

  double soc = uniform(0.4, 0.9);
  std::vector<double> depth_cm(strings, 0.0);
  double ripple = 0;
  for (int i = 0; i < days * 288; ++i) {
    const int h = i / 12;
    const Utc t = w.at(static_cast<std::size_t>(i));
    const double day_of_year = hours_of(t - Utc{std::chrono::sys_days{std::chrono::year{2026} / 1 / 1}}) / 24;
    const double declination = 0.4091 * std::sin(6.2832 * (day_of_year - 80.2) / 365.24);
    const double hour_angle = 6.2832 * (std::fmod(hours_of(t.time_since_epoch()), 24.0) / 24 + 15.0 / 360 - 0.5);
    const double phi = latitude * 0.0174533;
    const double sine = std::sin(phi) * std::sin(declination) + std::cos(phi) * std::cos(declination) * std::cos(hour_angle);
    const double clear = sine > 0.01 ? 1098 * sine * std::exp(-0.059 / sine) : 0;
    ripple = 0.9 * ripple + 0.05 * normal();
    const double share = std::clamp(1 - 0.74 * std::pow(cloud[h], 3.2) + ripple * cloud[h], 0.03, 1.1);
    StepTruth s;
    s.air_c = air[h];
    const int local_hour = (h % 24);
    s.load_w = std::max(5.0, base_w * (local_hour >= 17 && local_hour < 22 ? 1.8 : 0.9) + per_kelvin * std::max(0.0, 5 - air[h]) +
                                 base_w * 0.2 * normal());
    double could = 0;
    for (int k = 0; k < strings; ++k) {
      double& d = depth_cm[k];
      d += snow[h] / 12;
      const double lost = 1 - std::exp(-0.45 * d);
      const double ghi = clear * share;
      if (d > 0) d -= std::max(0.0, ghi * (0.1 + 0.35 * (1 - lost)) + 10 * std::min(3.0, air[h]) * (air[h] > 0 ? 1 : 0.3 * (1 - lost))) / 93 / 12;
      d = std::max(0.0, d);
      StringTruth q;
      q.clear_w = g.rig.strings[k].rated_w() * clear / 1000 * 0.88 * (1 - 0.06 / std::max(0.1, sine));
      q.clear_w = std::max(0.0, q.clear_w);
      q.bare_w = q.clear_w * share;
      q.snow_loss = d > 0.02 ? lost : 0;
      could += q.bare_w * (1 - q.snow_loss);
      s.strings.push_back(q);
    }
    const double taken = std::min(could * 0.97, s.load_w + (1 - soc) * w.capacity_wh * 12);
    s.curtailed = taken < could * 0.97 * 0.98;
    for (auto& q : s.strings) q.actual_w = could > 0 ? q.bare_w * (1 - q.snow_loss) * taken / (could * 0.97) : 0;
    s.soc = soc;
    soc = std::clamp(soc + (taken - s.load_w) / 12 / w.capacity_wh * (taken > s.load_w ? 0.96 : 1), 0.05, 1.0);
    w.steps.push_back(s);
  }
  for (int issue = 0; issue < days * 24; issue += 6) {
    Forecast f;
    f.received = Elapsed{(w.start + hours{issue}).time_since_epoch()};
    double cloud_off = 0, air_off = 0;
    for (int h = issue; h < std::min(issue + 72, n_hours); ++h) {
      cloud_off = 0.97 * cloud_off + 0.03 * normal();
      air_off = 0.97 * air_off + 0.2 * normal();
      f.rows.push_back({w.start + hours{h}, std::clamp(cloud[h] + cloud_off, 0.0, 1.0), air[h] + air_off,
                        std::max(0.0, snow[h] * (1 + 0.3 * normal())), {}, {}});
    }
    g.forecasts.push_back(f);
  }
  judge_ice(w, g.rig);
  return g;
}

}  // namespace fw::oracle
