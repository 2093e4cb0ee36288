#pragma once
// Winters to look ahead in: a bank as two bodies (case and core), an air with fronts and nights, a cabin that is
// heated, set back, unheated or fails, heaters with thermostats, and forecasts that err the more the further they reach.
// Independent of the product's model, which is first order.
#include <algorithm>
#include <cmath>
#include <optional>
#include <random>
#include <vector>

#include "records/minute.h"
#include "units/forecast.h"

namespace fw::guard::test {

struct WorldMinute {
  RigMinute m;
  double truth_c = 0;      ///< coldest cell, no noise
  double seen_c = 0;       ///< as the sensor tells it
  bool heating = false;    ///< the heater is on
};

struct World {
  std::vector<WorldMinute> minutes;
  std::vector<Forecast> forecasts;
  double limit_c = 0, floor_c = 5, capacity_ah = 200;
  double tau_h = 0, share = 0;
  int heater = 0;                       ///< 0 none, 1 reported, 2 silent
  std::optional<std::size_t> fails_at;  ///< heating of cabin and bank fails here
  std::optional<std::size_t> shows_at;  ///< and from here on somebody could know: the bank's heater should have come on
};

inline World make_world(unsigned seed, int days_long) {
  std::mt19937 rng(seed);
  const auto uni = [&](double a, double b) { return a + (b - a) * static_cast<double>(rng()) / 4294967296.0; };
  const auto normal = [&] {
    double s = 0;
    for (int i = 0; i < 12; ++i) s += uni(0, 1);
    return s - 6;
  };
  World w;
  const int n = days_long * 1440;
  // Hourly air: a day's swing, slow weather, fronts.
  const double mean = uni(-9, 3), swing = uni(2, 6);
  std::vector<double> hourly(static_cast<std::size_t>(n / 60 + 80));
  double weather = 0, day_swing = swing;
  for (std::size_t h = 0; h < hourly.size(); ++h) {
    if (h % 24 == 0) day_swing = swing * uni(0.4, 1.4);
    weather += -weather / 50 + 0.55 * normal();
    hourly[h] = mean + weather + day_swing * std::cos(2 * 3.141592653589793 * (static_cast<double>(h % 24) - 15) / 24);
  }
  const auto air_at = [&](double h) {
    const auto i = static_cast<std::size_t>(h);
    return hourly[i] + (h - static_cast<double>(i)) * (hourly[i + 1] - hourly[i]);
  };

  w.capacity_ah = uni(100, 400);
  const double heat_k_per_h_w = 3600 / (uni(8, 11) * w.capacity_ah * 12.8);
  w.tau_h = std::exp(uni(std::log(4.0), std::log(35.0)));
  const int home = static_cast<int>(rng() % 4);            // 0 outside bay, 1 mixed, 2 in the cabin, 3 cabin unheated
  w.share = home == 0 ? uni(0, 0.15) : home == 1 ? uni(0.25, 0.6) : uni(0.6, 0.95);
  const double tau_in = uni(0.3, 1.5), core_mass = uni(0.5, 2);
  const bool cabin_told = rng() % 4 != 0;
  const bool forecast_told = rng() % 6 != 0;
  const int heater = w.heater = static_cast<int>(rng() % 3);
  const double heater_k_per_h = heater ? uni(1.2, 4) : 0;
  w.floor_c = rng() % 2 ? 5 : 4;
  // Whoever has a heater sets it about the floor.
  const double heater_on_c = heater ? w.floor_c + uni(-0.7, 0.7) : -99, heater_off_c = heater_on_c + uni(1, 2);
  const double resolution = rng() % 3 == 0 ? 0.5556 : 0.1;
  const double day_c = uni(13, 21), night_c = uni(4, day_c);
  const int back_h = 20 + static_cast<int>(rng() % 4), up_h = 5 + static_cast<int>(rng() % 4);
  const double cabin_tau = uni(2, 6);
  if (rng() % 3 == 0) w.fails_at = static_cast<std::size_t>(uni(0.4, 0.9) * n);

  double cabin = day_c, shell = 0, core = 0;
  const double start_air = air_at(0);
  shell = core = w.share * cabin + (1 - w.share) * start_air + (heater ? 4 : 1);
  bool heating = false;
  for (int k = 0; k < n; ++k) {
    const double h = k / 60.0, clock_h = std::fmod(h, 24.0);
    const double air = air_at(h) + 0.1 * std::sin(h * 9);
    const bool failed = w.fails_at && k >= static_cast<int>(*w.fails_at);
    const bool night = clock_h >= back_h || clock_h < up_h;
    double cabin_to = home == 3 || failed ? air + 1.5 : (night ? night_c : day_c);
    const double fast = home == 3 || failed || cabin_to < cabin ? cabin_tau : 0.7;
    if (home != 3 && !failed && night && cabin <= night_c) cabin_to = night_c;
    cabin += (std::max(cabin_to, failed || home == 3 ? -99.0 : air) - cabin) / fast / 60;
    if (!failed && home != 3) cabin = std::max(cabin, std::min(night_c, cabin_to));
    // The bank.
    if (failed && !w.shows_at && (!heater || shell < heater_on_c - 0.1)) w.shows_at = k;
    if (failed) heating = false;
    else if (shell < heater_on_c) heating = true;
    else if (shell > heater_off_c) heating = false;
    const double sun = std::max(0.0, std::sin((clock_h - 8) / 8 * 3.14159)) * uni(0, 0.18);
    const double load = clock_h > 17 && clock_h < 22 ? 0.05 : 0.015;
    const double c_rate = std::max(sun, load);
    const double out = w.share * cabin + (1 - w.share) * air;
    const double self = 12 * c_rate * c_rate;
    const double shell_rate = (out - shell) / w.tau_h * (1 + core_mass) + (core - shell) / tau_in * core_mass + (heating ? heater_k_per_h * (1 + core_mass) : 0);
    core += ((shell - core) / tau_in + self) / 60;
    shell += shell_rate / 60;

    WorldMinute o;
    o.truth_c = shell;
    o.heating = heating;
    o.seen_c = std::round((shell + 0.04 * normal()) / resolution) * resolution;
    o.m.at = elapsed_ms(1'768'000'020'000LL + (k + 1) * 60'000LL);
    o.m.start = utc_ms(ms_of(o.m.at) - 60'000);
    o.m.air_c = std::round(air * 10) / 10;
    if (cabin_told) o.m.cabin_c = std::round(cabin * 10) / 10;
    o.m.bank_current_a = (sun > load ? 1 : -1) * c_rate * w.capacity_ah;
    o.m.soc = 0.6;
    if (heater == 1) {
      o.m.bank_heater_on = heating;
      o.m.bank_heater_w = heating ? heater_k_per_h / heat_k_per_h_w : 0.0;
    }
    w.minutes.push_back(o);
  }
  if (forecast_told) {
    for (int from = 0; from < n; from += 360) {
      Forecast f;
      f.received = w.minutes[static_cast<std::size_t>(from)].m.at;
      double off = 0.5 * normal();
      for (int hour = 0; hour < 72 && static_cast<std::size_t>(from / 60 + hour) < hourly.size(); ++hour) {
        off += 0.25 * normal() - off * 0.03;
        ForecastHour row;
        row.from = utc_ms(1'768'000'020'000LL + (from / 60 + hour) * 3'600'000LL);
        row.air_c = hourly[static_cast<std::size_t>(from / 60 + hour)] + off;
        f.rows.push_back(row);
      }
      w.forecasts.push_back(f);
    }
    for (std::size_t k = 0; k < w.minutes.size(); ++k) w.minutes[k].m.forecast = &w.forecasts[k / 360];
  }
  return w;
}

}  // namespace fw::guard::test
