// What the physics costs.
//   sun_libnova     the sun's horizontal place by libnova (VSOP87 place, nutation, sidereal time)
//   sun_spa         the full NREL algorithm, every term, each call, refraction included
//   sun_ephemeris   the same sun from the day cache, minute after minute
//   evaluation      one string, one instant: sun from the cache, cloudless sky, plane, glass, cell, power, volts
//   evaluation_of_4 the same with the sky shared by four strings, per string
//   year_of_4       a year at one-minute steps for four strings, nights included
//   calibrated      one learned best estimate, haze and shade included
// One core, times from the steady clock, best of five. Each line ends in a checksum of its results.
#include <libnova/solar.h>
#include <libnova/transform.h>

#include <chrono>
#include <cstdio>
#include <functional>

#include "roof/calibration.h"
#include "roof/expected.h"
#include "sun/position.h"

using namespace fw;

namespace {

struct Timing {
  double ns_per_call;
  double checksum;
};

Timing best_of(int rounds, long calls, const std::function<double()>& work) {
  Timing best{1e300, 0};
  for (int i = 0; i < rounds; ++i) {
    const auto start = std::chrono::steady_clock::now();
    best.checksum = work();
    const std::chrono::duration<double, std::nano> took = std::chrono::steady_clock::now() - start;
    best.ns_per_call = std::min(best.ns_per_call, took.count() / static_cast<double>(calls));
  }
  return best;
}

void print(const char* name, const Timing& t, const char* unit = "ns a call") {
  std::printf("%-16s %12.1f %-12s checksum %.6f\n", name, t.ns_per_call, unit, t.checksum);
}

}  // namespace

int main() {
  const sun::Place place{46.5, 7.9, 1200};
  const sun::Air air{87700, -3};
  const Utc start = utc_ms(1767225600000);  // 2026-01-01
  constexpr long positions = 20000;

  const Timing nova = best_of(5, positions, [&] {
    double sum = 0;
    ln_lnlat_posn observer{place.longitude_deg, place.latitude_deg};
    for (long i = 0; i < positions; ++i) {
      const double jd = 2440587.5 + static_cast<double>(ms_of(start + minutes{i * 26})) / 86400000.0;
      ln_equ_posn equatorial;
      ln_hrz_posn horizontal;
      ln_get_solar_equ_coords(jd, &equatorial);
      ln_get_hrz_from_equ(&equatorial, &observer, jd, &horizontal);
      sum += horizontal.alt;
    }
    return sum;
  });
  print("sun_libnova", nova);
  const Timing spa = best_of(5, positions, [&] {
    double sum = 0;
    for (long i = 0; i < positions; ++i) sum += sun::position(start + minutes{i * 26}, place, air).elevation_deg;
    return sum;
  });
  print("sun_spa", spa);
  constexpr long year = 365L * 24 * 60;
  const Timing cached = best_of(5, year, [&] {
    double sum = 0;
    sun::Ephemeris ephemeris;
    for (long i = 0; i < year; ++i) sum += ephemeris.position(start + minutes{i}, place, air).elevation_deg;
    return sum;
  });
  print("sun_ephemeris", cached);
  std::printf("libnova over spa %.2f, over ephemeris %.0f\n", nova.ns_per_call / spa.ns_per_call,
              nova.ns_per_call / cached.ns_per_call);

  std::vector<roof::StringModel> strings;
  for (int i = 0; i < 4; ++i) {
    roof::StringSheet sheet;
    sheet.module.rated_w = 330;
    sheet.module.v_oc_v = 40.9;
    sheet.module.v_mp_v = 34.1;
    sheet.series = 1 + i % 2;
    sheet.parallel = 1 + i / 2;
    sheet.plane = {3.0 * i, 180.0 - 30 * i};
    strings.emplace_back(sheet);
  }
  const sky::Site site = sky::site_at(place);
  const roof::Weather weather{-3, 2};

  constexpr long daylight_min = 20000;  // minutes between 09:00 and 15:00 UTC
  const auto at_daylight = [&](long i) { return start + hours{9} + days{i / 360} + minutes{i % 360}; };
  print("evaluation", best_of(5, daylight_min, [&] {
          sun::Ephemeris ephemeris;
          double sum = 0;
          for (long i = 0; i < daylight_min; ++i)
            sum += roof::expected(strings[1], sky::clear_state(site, at_daylight(i), ephemeris, -3), weather).power_w;
          return sum;
        }));
  print("evaluation_of_4", best_of(5, 4 * daylight_min, [&] {
          sun::Ephemeris ephemeris;
          double sum = 0;
          for (long i = 0; i < daylight_min; ++i) {
            const sky::State sky = sky::clear_state(site, at_daylight(i), ephemeris, -3);
            for (const auto& s : strings) sum += roof::expected(s, sky, weather).power_w;
          }
          return sum;
        }));
  Timing whole = best_of(3, 1, [&] {
    sun::Ephemeris ephemeris;
    double wh = 0;
    for (long i = 0; i < year; ++i) {
      const sky::State sky = sky::clear_state(site, start + minutes{i}, ephemeris, -3);
      for (const auto& s : strings) wh += roof::expected(s, sky, weather).power_w / 60;
    }
    return wh;
  });
  whole.ns_per_call /= 1e9;
  std::printf("%-16s %12.3f %-12s checksum %.3f (%ld evaluations)\n", "year_of_4", whole.ns_per_call, "s", whole.checksum,
              4 * year);

  roof::Calibration calibration(strings[2]);
  for (int day = 0; day < 30; ++day)
    for (long i = 0; i < 360; ++i) {
      const sky::State sky = sky::clear_state(site, start + days{day} + hours{9} + minutes{i}, -3);
      const roof::Expected e = roof::expected(strings[2], sky, weather);
      calibration.learn(day, sky, e, e.power_w * (i > 300 ? 0.3 : 0.94));
    }
  print("calibrated", best_of(5, daylight_min, [&] {
          sun::Ephemeris ephemeris;
          double sum = 0;
          for (long i = 0; i < daylight_min; ++i)
            sum += calibration.power(sky::clear_state(site, at_daylight(i), ephemeris, -3), weather).power_w;
          return sum;
        }));
  print("refit", best_of(5, 100, [&] {
          for (int i = 0; i < 100; ++i) calibration.refit();
          return calibration.scale();
        }));
  std::printf("calibration snapshot of 30 days: %zu bytes\n", calibration.snapshot().size());
  return 0;
}
