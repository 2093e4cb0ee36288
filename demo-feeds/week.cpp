// A winter week of an invented trailer, "marten", as its broker would have carried it: a feed on stdout,
// and with --truth FILE what was really so, every five minutes. Seed fixed: the same build makes the same
// bytes. It takes only the sun's place and the cloudless sky from firnwatt; roof, snow and bank are
// modelled here on their own, simply, so that the demo does not merely agree with itself.
//
// The week: two clear days; an overcast one; a night of snow on both strings; the aft string sheds
// while the fore one stays white; a clearing by hand at mid-morning; a bank so full that a bright
// afternoon is wasted; a cold night that takes the cells to the charge limit.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iostream>
#include <numbers>
#include <string>

#include "sky/clear.h"
#include "sky/plane.h"
#include "sky/state.h"
#include "sun/position.h"
#include "units/text.h"
#include "units/time.h"

namespace {

using namespace fw;

// ---- chance: our own generator, so that the bytes do not depend on a standard library ----------
class Chance {
 public:
  explicit Chance(std::uint64_t seed) : s_(seed) {}
  double uniform() {  // xorshift64*, Marsaglia 2003 / Vigna 2016
    s_ ^= s_ >> 12;
    s_ ^= s_ << 25;
    s_ ^= s_ >> 27;
    return static_cast<double>((s_ * 2685821657736338717ull) >> 11) / 9007199254740992.0;
  }
  double normal() {
    double sum = 0;
    for (int i = 0; i < 12; ++i) sum += uniform();
    return sum - 6;
  }

 private:
  std::uint64_t s_;
};

// ---- place and week ----------------------------------------------------------------------------
constexpr double latitude = 44.2, longitude = -114.9, altitude = 1900;
const Utc week_start = *utc_in("2026-01-12T07:00:00Z");  // a Monday, local midnight
constexpr int week_days = 7;

double local_hour(Utc t) {
  const double h = hours_of(t - week_start);
  return h - 24 * std::floor(h / 24);
}
int day_of(Utc t) { return static_cast<int>(std::floor(hours_of(t - week_start) / 24)); }  // 0 Monday

// ---- weather: what the sky and the air do --------------------------------------------------------
struct Day {
  double low_c, high_c;
  double cover;  // what a forecaster would call it
};
constexpr std::array<Day, week_days + 3> days_ahead{{{-11, -1, 0.03},
                                                     {-12, 0, 0.03},
                                                     {-6, -2, 1.0},
                                                     {-7, 3, 0.12},
                                                     {-12, -2, 0.03},
                                                     {-13, -4, 0.02},
                                                     {-19, -5, 0.02},
                                                     {-18, -6, 0.3},
                                                     {-12, -4, 0.8},
                                                     {-9, -3, 0.6}}};

/// Coldest at 7 h, warmest at 15 h, a cosine in between; the low belongs to the morning of its day.
double air_c(double hours_since_start) {
  const double h = hours_since_start - 24 * std::floor(hours_since_start / 24);
  const int d = std::clamp(static_cast<int>(std::floor(hours_since_start / 24)), 0, static_cast<int>(days_ahead.size()) - 1);
  const int next = std::min(d + 1, static_cast<int>(days_ahead.size()) - 1);
  const int before = std::max(d - 1, 0);
  const auto swing = [](double from, double to, double part) { return from + (to - from) * (1 - std::cos(std::numbers::pi * part)) / 2; };
  if (h < 7) return swing(days_ahead[static_cast<std::size_t>(before)].high_c, days_ahead[static_cast<std::size_t>(d)].low_c, (h + 9) / 16);
  if (h < 15) return swing(days_ahead[static_cast<std::size_t>(d)].low_c, days_ahead[static_cast<std::size_t>(d)].high_c, (h - 7) / 8);
  return swing(days_ahead[static_cast<std::size_t>(d)].high_c, days_ahead[static_cast<std::size_t>(next)].low_c, (h - 15) / 16);
}

/// Snow falls in the night from Wednesday to Thursday, 21:00 to 05:00, 7 cm in all.
constexpr double snow_from_h = 2 * 24 + 21, snow_to_h = 3 * 24 + 5, snow_total_cm = 7;
double snowfall_cm_per_h(double h) { return h >= snow_from_h && h < snow_to_h ? snow_total_cm / (snow_to_h - snow_from_h) : 0; }

// ---- a string as it really is (the config's paper differs a little) ------------------------------
struct TrueString {
  const char* name;
  double rated_w, series, parallel;
  double tilt_deg, azimuth_deg;
  double v_mp_module, v_oc_module;
  double controller_max_w;
  std::array<double, 2> snow_cm{};  // on each module of the series; parallel rows alike
  double ice_left = 0;              // share of light still taken after brushing, fades
};

/// Light through settled snow: measured extinction of 50 per metre (Fukami et al. 1985, mid of the dry
/// range) and, once the layer is closed, a third of the light sent back.
double snow_passes(double cm) {
  if (cm <= 0) return 1;
  return std::exp(-0.5 * cm) * (1 - 0.33 * std::min(1.0, cm / 0.5));
}

struct Output {
  double available_w = 0, v_mp = 0, v_oc = 0, clean_clear_w = 0;
};

/// Faiman cell temperature, linear power coefficient, open-circuit voltage falling with the logarithm
/// of the light. A module much darker than its partner is bypassed by its diodes.
Output string_output(const TrueString& s, const sky::State& sky, double clearness, double air, double wind) {
  Output out;
  const double zenith = (90 - sky.sun.apparent_elevation_deg) * std::numbers::pi / 180;
  if (sky.sun.apparent_elevation_deg <= 0.5) {
    out.v_oc = sky.sun.apparent_elevation_deg > -4 ? 12 : 1.8;
    return out;
  }
  const sky::Plane plane{s.tilt_deg, s.azimuth_deg};
  const double cos_aoi = std::max(0.0, sky::cos_incidence(sky.towards_sun, sky::normal(plane)));
  const auto light = [&](double share) {
    // Under cloud the beam goes first.
    const double beam = sky.clear.dni_wm2 * (share >= 0.95 ? share : std::max(0.0, share - 0.3) / 0.65 * share);
    const double ghi = sky.clear.ghi_wm2 * share;
    const double diffuse = std::max(0.0, ghi - beam * std::cos(zenith));
    const double glass = cos_aoi > 0.02 ? std::max(0.0, 1 - 0.05 * (1 / cos_aoi - 1)) : 0;
    return beam * cos_aoi * glass + 0.95 * diffuse * (1 + std::cos(s.tilt_deg * std::numbers::pi / 180)) / 2;
  };
  const double open = light(clearness);
  std::array<double, 2> module{};
  for (std::size_t i = 0; i < 2; ++i) module[i] = open * snow_passes(s.snow_cm[i]) * (1 - s.ice_left);
  const auto power = [&](double g, double modules) {
    const double cell = air + g / (25 + 6.84 * wind);
    const double low = g > 1 ? 1 + 0.03 * std::log10(std::min(1.0, g / 1000)) : 0;
    return s.rated_w * modules / s.series * g / 1000 * (1 - 0.0035 * (cell - 25)) * low * 0.965;
  };
  const auto volts = [&](double g, double one) {
    const double cell = air + g / (25 + 6.84 * wind);
    return one * (1 - 0.0028 * (cell - 25) + 0.042 * std::log(std::max(g, 2.0) / 1000));
  };
  const double low = std::min(module[0], module[1]), high = std::max(module[0], module[1]);
  const double both = power(low, 2);
  const double one = power(high, 1);
  if (both >= one) {
    out.available_w = both;
    out.v_mp = 2 * volts(low, s.v_mp_module);
  } else {
    out.available_w = one;
    out.v_mp = volts(high, s.v_mp_module) - 0.9;
  }
  out.v_oc = volts(low, s.v_oc_module) + volts(high, s.v_oc_module);
  out.available_w = std::min(out.available_w, s.controller_max_w);
  out.clean_clear_w = std::min(power(light(1.0), 2), s.controller_max_w);
  return out;
}

// ---- output ----------------------------------------------------------------------------------------
void line(Utc t, const char* topic, const std::string& payload, bool retain = false) {
  std::cout << "{\"t\":\"" << iso_utc(t) << "\",\"topic\":\"" << topic << "\",\"payload\":" << payload
            << (retain ? ",\"retain\":true" : "") << "}\n";
}

std::string forecast(Utc now, Chance& chance) {
  const Utc first = floor_to(now, hours{1});
  std::string rows;
  for (int i = 0; i < 72; ++i) {
    const Utc t = first + hours{i};
    const double h = hours_of(t - week_start);
    const double spread = 0.4 + 0.03 * i;
    const auto d = static_cast<std::size_t>(std::clamp(static_cast<int>(std::floor(h / 24)), 0, static_cast<int>(days_ahead.size()) - 1));
    const double cover = std::clamp(days_ahead[d].cover + 0.05 * chance.normal(), 0.0, 1.0);
    double snow = snowfall_cm_per_h(h + 0.5);
    if (snow > 0) snow = std::max(0.1, snow * (1 + 0.3 * chance.normal()));
    rows += std::string(i ? "," : "") + "{\"hour\":\"" + iso_utc(t) + "\",\"cover\":" + fixed(100 * cover, 0) +
            ",\"air\":" + fixed(air_c(h + 0.5) + spread * chance.normal(), 1) + ",\"snow\":" + fixed(snow, 1) +
            ",\"wind\":" + fixed(std::max(0.0, 2.0 + 0.6 * chance.normal()), 1) + "}";
  }
  return "{\"hours\":[" + rows + "]}";
}

}  // namespace

int main(int argc, char** argv) {
  std::ofstream truth;
  if (argc == 3 && std::string(argv[1]) == "--truth") truth.open(argv[2]);
  else if (argc != 1) {
    std::cerr << "usage: fw_demo_week [--truth FILE] > week.jsonl\n";
    return 2;
  }
  if (truth.is_open()) truth << "utc,string,clear_sky_w,available_w,made_w,snow_cm,soc,cell_c,event\n";

  Chance chance(20260112);
  sky::Site site = sky::site_at({latitude, longitude, altitude});
  site.turbidity.fill(1.9);
  sun::Ephemeris ephemeris;

  // Paper: 4 x 200 W and 2 x 200 W. The real modules make 3 % less and 2 % more.
  std::array<TrueString, 2> strings{{{"fore", 800 * 0.97, 2, 2, 1.5, 170, 20.4, 24.3, 900},
                                     {"aft", 400 * 1.02, 2, 1, 12, 172, 20.4, 24.3, 420}}};
  constexpr double capacity_wh = 280 * 12.8;
  double soc = 0.60, cell_a = 9.5, cell_b = 10.2, cabin = 14;
  double clearness = 1, drift = 0;
  bool may_charge = true;
  std::array<double, 2> made{}, day_kwh{};
  constexpr int step_s = 10;

  line(week_start, "marten/bank", R"({"volts":13.31,"amps":0.0,"charge":83,"cells":[14.0,14.4],"may_charge":true})", true);

  for (Utc t = week_start; t < week_start + days{week_days}; t += seconds{step_s}) {
    const double h = hours_of(t - week_start);
    const int day = day_of(t);
    const double hour = local_hour(t);
    const int second = static_cast<int>((t - week_start).count() / 1000);
    const double wind = 1.5;
    const double air = air_c(h) + 0.2 * std::sin(h * 2.1);
    const auto state = sky::clear_state(site, t, ephemeris, air, 0.5);

    // Sky: share of the cloudless light. Wednesday is a thick, slowly changing overcast; it snows into
    // Thursday, whose first hour of light is still grey.
    drift += (0 - drift) * step_s / 2400.0 + 0.008 * chance.normal() * std::sqrt(step_s / 10.0);
    double target = 1;
    if (day == 2) target = 0.20 + 1.1 * drift;
    if (day == 3 && hour < 9.2) target = 0.18 + 1.1 * drift;
    clearness += (std::clamp(target, 0.06, 1.0) - clearness) * std::min(1.0, step_s / 300.0);

    // Snow on the glass: falls, settles; melts above freezing and where the sun is absorbed under a thin
    // layer; slides off the tilted aft string once its glass is wet, one module after the other.
    std::string event;
    for (auto& s : strings) {
      for (auto& cm : s.snow_cm) {
        cm += snowfall_cm_per_h(h) * step_s / 3600.0;
        const double melt = std::max(0.0, air) * 0.05 + state.clear.ghi_wm2 * clearness * snow_passes(cm) * 0.0004;
        cm = std::max(0.0, cm - melt * step_s / 3600.0);
        if (cm < 0.02 && snowfall_cm_per_h(h) == 0) cm = 0;
      }
      s.ice_left = std::max(0.0, s.ice_left - step_s / 3600.0 * 0.12);
    }
    if (day == 3 && hour >= 11.6 && strings[1].snow_cm[0] > 0) { strings[1].snow_cm[0] = 0; event = "aft: first module slides free"; }
    if (day == 3 && hour >= 11.95 && strings[1].snow_cm[1] > 0) { strings[1].snow_cm[1] = 0; event = "aft: second module slides free"; }
    if (day == 4 && hour >= 10.1 && strings[0].snow_cm[0] > 0) {
      strings[0].snow_cm = {0, 0};
      strings[0].ice_left = 0.06;
      event = "fore: cleared by hand";
    }

    // Loads: a fridge, a fan, evenings with light and a kettle; less from Saturday on, when nobody is there.
    static constexpr std::array<double, week_days> standing_w{76, 76, 38, 34, 60, 20, 20};
    double load = standing_w[static_cast<std::size_t>(day)] + 10 * (std::sin(h * 5.3) > 0.2 ? 1 : 0);
    if (day < 5 && hour >= 17 && hour < 22) load += 45;
    if (day < 5 && hour >= 7.5 && hour < 7.6) load += 1150;

    // Cells: two of them in a bay between cabin and outside, with 14 h of lag.
    const double cabin_target = day < 5 ? (hour > 6 && hour < 22 ? 16 : 11) : air + 15;
    cabin += (cabin_target - cabin) * step_s / (3 * 3600.0);
    const double bay = 0.62 * cabin + 0.38 * air;
    cell_a += (bay - 1.0 - cell_a) * step_s / (14 * 3600.0);
    cell_b += (bay - 0.2 - cell_b) * step_s / (14 * 3600.0);
    if (cell_a <= 0) may_charge = false;
    if (cell_a > 1.5) may_charge = true;

    // Roof and controllers. Above 98 % the bank takes less and less.
    std::array<Output, 2> out;
    double wanted = 0;
    for (std::size_t i = 0; i < 2; ++i) {
      out[i] = string_output(strings[i], state, clearness, air, wind);
      wanted += out[i].available_w;
    }
    const double takes = may_charge ? (soc < 0.98 ? 1e9 : std::max(0.0, (1.0 - soc) / 0.02) * 420) + load : load;
    const double share = wanted > takes ? takes / wanted : 1;
    double solar = 0;
    for (std::size_t i = 0; i < 2; ++i) {
      made[i] = out[i].available_w * share;
      if (hour < 0.01) day_kwh[i] = 0;
      day_kwh[i] += made[i] * step_s / 3.6e6;
      solar += made[i] * 0.965;
    }
    const double bank_w = solar - load;
    soc = std::clamp(soc + bank_w * (bank_w > 0 ? 0.985 : 1.0) * step_s / 3600.0 / capacity_wh, 0.0, 1.0);
    const double rest_v = 12.9 + 0.5 * soc + (soc > 0.95 ? (soc - 0.95) * 5 : 0) - (soc < 0.15 ? (0.15 - soc) * 6 : 0);
    const double bank_v = rest_v + bank_w / 13 * 0.006;

    const auto num = [](double v, int d) { return fixed(v, d); };
    for (std::size_t i = 0; i < 2; ++i) {
      if (second % 30 != static_cast<int>(10 * i)) continue;
      const bool light = out[i].v_oc > 15;
      const char* mode = !light ? "resting" : !may_charge ? "blocked" : share < 0.97 ? (soc > 0.995 ? "holding" : "topping") : "charging";
      const double v = share < 0.97 && light ? out[i].v_mp + (out[i].v_oc - out[i].v_mp) * (1 - share * 0.6) : light ? out[i].v_mp : out[i].v_oc;
      const double w = std::max(0.0, made[i] * (1 + 0.004 * chance.normal()));
      line(t, i == 0 ? "marten/roof/fore" : "marten/roof/aft",
           "{\"watts\":" + num(w, 1) + ",\"volts\":" + num(std::max(0.0, v * (1 + 0.002 * chance.normal())), 2) + ",\"mode\":\"" + mode +
               "\",\"today_kwh\":" + num(day_kwh[i], 3) + "}");
    }
    if (second % 30 == 20)
      line(t, "marten/bank",
           "{\"volts\":" + num(bank_v + 0.003 * chance.normal(), 2) + ",\"amps\":" + num(bank_w / bank_v + 0.05 * chance.normal(), 1) +
               ",\"charge\":" + num(100 * soc, 0) + ",\"cells\":[" + num(cell_a + 0.03 * chance.normal(), 1) + "," +
               num(cell_b + 0.03 * chance.normal(), 1) + "],\"may_charge\":" + (may_charge ? "true" : "false") + "}");
    if (second % 60 == 20)
      line(t, "marten/air", "{\"outside\":" + num(air + 0.05 * chance.normal(), 1) + ",\"cabin\":" + num(cabin + 0.05 * chance.normal(), 1) + "}");
    if (second % 60 == 40) line(t, "marten/loads", num(load + 0.5 * chance.normal(), 0));
    if (second % (6 * 3600) == 50) line(t, "marten/forecast", forecast(t, chance));

    if (truth.is_open() && (second % 300 == 0 || !event.empty()))
      for (std::size_t i = 0; i < 2; ++i)
        truth << iso_utc(t) << ',' << strings[i].name << ',' << num(out[i].clean_clear_w, 1) << ',' << num(out[i].available_w, 1) << ','
              << num(made[i], 1) << ',' << num(strings[i].snow_cm[0], 2) << ',' << num(soc, 3) << ',' << num(cell_a, 2) << ',' << event << '\n';
  }
  return 0;
}
