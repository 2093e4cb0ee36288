// A feed of a made-up winter on stdout, for the demo rig's config: two strings and the bank every STEP
// seconds, air and loads every minute, a forecast every six hours. Days are clear, broken or grey by a fixed
// seed, with nights of snow that lies for a day or two. Made for speed and memory, not for scoring: its
// causes are plain, but every room has work.
//   bench_winter_feed DAYS [STEP_S]
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>

#include "sky/state.h"
#include "units/text.h"
#include "units/time.h"

using namespace fw;

namespace {

struct Chance {  // xorshift64*
  std::uint64_t s = 20251015;
  double uniform() {
    s ^= s >> 12;
    s ^= s << 25;
    s ^= s >> 27;
    return static_cast<double>((s * 2685821657736338717ull) >> 11) / 9007199254740992.0;
  }
};

struct Weather { double share = 1, low_c = -5, high_c = 3, snow_cm = 0; };

void line(Utc t, const char* topic, const std::string& payload) {
  std::printf("{\"t\":\"%s\",\"topic\":\"%s\",\"payload\":%s}\n", iso_utc(t).c_str(), topic, payload.c_str());
}

}  // namespace

int main(int argc, char** argv) {
  const int days_run = argc > 1 ? std::atoi(argv[1]) : 0;
  const int step_s = argc > 2 ? std::atoi(argv[2]) : 10;
  if (days_run < 1 || step_s < 1 || 60 % step_s != 0) return std::fprintf(stderr, "usage: bench_winter_feed DAYS [STEP_S]\n"), 2;
  Chance chance;
  const Utc start = *utc_in("2025-10-15T07:00:00Z");  // midnight at 105 W
  const sky::Site site = sky::site_at({44.2, -114.9, 1900});
  sun::Ephemeris ephemeris;

  std::vector<Weather> weather(static_cast<std::size_t>(days_run) + 4);
  double kind = 0.5;
  for (std::size_t d = 0; d < weather.size(); ++d) {
    kind = std::clamp(0.5 * kind + 0.5 * chance.uniform() + 0.2 * (chance.uniform() - 0.5), 0.0, 1.0);
    const double season = -8 * std::sin(std::numbers::pi * std::min<double>(static_cast<double>(d), 180) / 180.0);
    weather[d] = {kind > 0.55 ? 1.0 : kind > 0.4 ? 0.6 : 0.2, 1 + season - 7 * kind, 6 + season + 3 * kind, kind < 0.3 ? 6.0 : 0.0};
  }
  const auto day_of = [&](double h) { return std::min(static_cast<std::size_t>(h / 24), weather.size() - 1); };
  const auto air_c = [&](double h) {
    const Weather& w = weather[day_of(h)];
    return w.low_c + (w.high_c - w.low_c) * (1 - std::cos((std::fmod(h, 24) - 5) / 24 * 2 * std::numbers::pi)) / 2;
  };

  static constexpr std::array<double, 2> rated_w{780, 405}, vmp_v{40.8, 40.8};
  static constexpr std::array<const char*, 2> topics{"marten/roof/fore", "marten/roof/aft"};
  double soc = 0.7, cell = 9, share = 1;
  std::array<double, 2> snow_cm{}, clear_w{};
  for (Utc t = start; t < start + days{days_run}; t += seconds{step_s}) {
    const long second = static_cast<long>((t - start) / 1s);
    const double h = hours_of(t - start), air = air_c(h);
    const Weather& today = weather[day_of(h)];
    if (second % 60 == 0) {
      const auto sky = sky::clear_state(site, t, ephemeris, air);
      share += (today.share * (today.share < 1 ? 0.6 + 0.8 * chance.uniform() : 1) - share) * 0.2;
      for (std::size_t i = 0; i < 2; ++i) {
        clear_w[i] = rated_w[i] * sky.clear.ghi_wm2 / 1000 * (1 - 0.0035 * (air + 0.03 * sky.clear.ghi_wm2 - 25)) * 0.95;
        if (std::fmod(h, 24) < 6) snow_cm[i] += today.snow_cm / 360;
        const double melt = std::max(0.0, air) * 0.06 + sky.clear.ghi_wm2 * share * 0.0009;
        snow_cm[i] = std::max(0.0, snow_cm[i] - melt / 60);
        if (i == 1 && sky.clear.ghi_wm2 > 350 && share > 0.8) snow_cm[i] = 0;  // the tilted one sheds
      }
      cell += (0.6 * 14 + 0.4 * air - cell) / (14 * 60);
    }
    const double load = 70 + (std::fmod(h, 24) > 17 && std::fmod(h, 24) < 22 ? 60 : 0);
    std::array<double, 2> made{};
    for (std::size_t i = 0; i < 2; ++i) made[i] = clear_w[i] * share * std::exp(-0.5 * snow_cm[i]);
    const double wanted = made[0] + made[1], takes = load + (soc < 0.98 ? 1e9 : std::max(0.0, 1 - soc) * 20000);
    const double part = wanted > takes ? takes / wanted : 1;
    const double bank_w = wanted * part * 0.965 - load;
    soc = std::clamp(soc + bank_w * step_s / 3600.0 / 3584, 0.1, 1.0);
    for (std::size_t i = 0; i < 2; ++i) {
      const bool light = clear_w[i] > 4;
      const double v = light ? vmp_v[i] * (1 - 0.0028 * (air - 20)) * (1 + 0.15 * (1 - part)) : 2;
      line(t, topics[i],
           "{\"watts\":" + fixed(made[i] * part * (0.996 + 0.008 * chance.uniform()), 1) + ",\"volts\":" + fixed(v, 2) + ",\"mode\":\"" +
               (!light ? "resting" : part < 0.97 ? "topping" : "charging") + "\"}");
    }
    line(t, "marten/bank",
         "{\"volts\":" + fixed(12.9 + 0.5 * soc + bank_w / 2000, 2) + ",\"amps\":" + fixed(bank_w / 13.2, 1) + ",\"charge\":" + fixed(100 * soc, 0) +
             ",\"cells\":[" + fixed(cell, 1) + "," + fixed(cell + 0.4, 1) + "],\"may_charge\":true}");
    if (second % 60 == 20) line(t, "marten/air", "{\"outside\":" + fixed(air, 1) + ",\"cabin\":14.0}");
    if (second % 60 == 40) line(t, "marten/loads", fixed(load, 0));
    if (second % (6 * 3600) == 0) {
      std::string rows;
      for (int i = 0; i < 72; ++i) {
        const Weather& w = weather[day_of(h + i)];
        rows += std::string(i ? "," : "") + "{\"hour\":\"" + iso_utc(floor_to(t, hours{1}) + hours{i}) + "\",\"cover\":" + fixed(100 * (1 - w.share), 0) +
                ",\"air\":" + fixed(air_c(h + i), 1) + ",\"snow\":" + fixed(std::fmod(h + i, 24) < 6 ? w.snow_cm / 6 : 0, 1) + ",\"wind\":2.0}";
      }
      line(t, "marten/forecast", "{\"hours\":[" + rows + "]}");
    }
  }
  return 0;
}
