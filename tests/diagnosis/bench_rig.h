#pragma once
// A rig at 45 N in January with two like strings on controllers of their own, fed minute by minute.
// Clear-sky watts come from a table (Ineichen, turbidity 2.5, physical incidence loss, -0.35 %/K), not from
// the product's own chain.
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "diagnosis/diagnosis.h"
#include "score/generated/light.h"

namespace fw::test {

struct StringIn {
  double watts = 0;
  std::optional<double> volts;
  std::optional<Stage> stage = Stage::bulk;
  bool live = true;
  Span still_for{};                    ///< no digit has moved
};

struct MinuteIn {
  StringIn p, s;
  double air_c = -5;
  double soc = 0.55, bank_v = 13.2, cell_c = 10;
  bool permit = true;
  std::optional<bool> charge_allowed;
  std::optional<double> error;
  std::optional<double> light_share;   ///< what a light sensor shows, over a clear sky
};

class BenchRig {
 public:
  explicit BenchRig(int parallel = 1, std::optional<double> max_volts = {}) : words_(*Words::in_zone("Etc/GMT+6", false)) {
    rig_.name = "bench";
    rig_.site.latitude_deg = 45;
    rig_.site.longitude_deg = -93;
    rig_.site.altitude_m = 260;
    rig_.site.timezone = "Etc/GMT+6";
    for (const char* name : {"port", "star"}) {
      rig::PvString s;
      s.name = name;
      const bool wide = parallel > 1 && std::string(name) == "star";
      s.module.stc_w = wide ? 400.0 / parallel : 200;
      s.module.v_oc_v = 22.6;
      s.module.v_mp_v = 18.7;
      s.series = wide ? 1 : 2;
      s.parallel = wide ? parallel : 1;
      s.tilt_deg = 0;
      s.controller.max_voltage_v = max_volts;
      rig_.strings.push_back(s);
    }
    rig_.bank.capacity_ah = 200;
    rig_.bank.nominal_v = 12.8;
    diagnosis_.emplace(rig_, words_);
  }

  /// Clear-sky watts of a 400 W flat string on 15 January by local hour, smooth between the table's hours.
  static double clear_w(double hour) {
    static constexpr std::array<double, 11> table{0, 5, 33, 84, 124, 144, 140, 115, 70, 20, 0};  // 07..17 h
    const double x = hour - 7;
    if (x <= 0 || x >= 10) return 0;
    const int i = static_cast<int>(x);
    const double t = x - i;
    const auto at = [&](int n) { return n < 0 || n > 10 ? 0.0 : table[static_cast<std::size_t>(n)]; };
    const double a = at(i - 1), b = at(i), c = at(i + 1), d = at(i + 2);
    return std::max(0.0, b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a))));
  }
  /// What the clear sky gives at an instant over what it gave at the same hour of 15 January: in a week of January the
  /// noon sun gains some 4 %, and a table that stood still would be a loss that nobody meant.
  static double season(Utc at, int day) {
    if (day == 0) return 1;
    const double then = flat_wm2(at - days{day}), now = flat_wm2(at);
    return then > 0 && now > 0 ? now / then : 1;
  }
  /// Cloudless light on flat ground.
  static double flat_wm2(Utc at) {
    const auto sun = score::sun_at(static_cast<double>(ms_of(at)) / 1e3, 45, -93);
    if (sun.elevation_deg < 3) return 0;
    return score::on_plane(sun, score::clear_light(sun, 260, {0.06, 0.5, 0.32}, 0.2), 0.2, 0, 180).sum();
  }
  /// Through points at 09..16 h.
  static double through(const std::array<double, 8>& at, double hour) {
    const double x = std::clamp(hour - 9, 0.0, 6.999);
    const int i = static_cast<int>(x);
    const double w = at[static_cast<std::size_t>(i)] + (x - i) * (at[static_cast<std::size_t>(i + 1)] - at[static_cast<std::size_t>(i)]);
    return hour < 9 ? at[0] * clear_w(hour) / clear_w(9) : hour > 16 ? at[7] * clear_w(hour) / clear_w(16) : w;
  }
  static double working_v(double watts) { return watts > 1 ? 40 + 0.8 * std::log(watts / 100) : 20; }

  /// One local day of minutes from `from` to `to` o'clock; `each` fills in what is measured at that hour, as if it were
  /// 15 January; the season is added.
  void play(int day, double from, double to, const std::function<void(double hour, MinuteIn&)>& each) {
    const Utc midnight = utc_ms(1768435200000LL) + days{day} + hours{6};  // 15 January 2026, local midnight
    for (int minute = static_cast<int>(from * 60); minute < static_cast<int>(to * 60); ++minute) {
      const double hour = minute / 60.0;
      MinuteIn in;
      const double clear = clear_w(hour);
      in.p.watts = in.s.watts = clear;
      in.p.volts = in.s.volts = working_v(clear);
      each(hour, in);
      RigMinute m;
      m.start = midnight + minutes{minute};
      const double later = season(m.start, day);
      in.p.watts *= later;
      in.s.watts *= later;
      m.at = elapsed_ms(ms_of(m.start)) + minutes{1};
      for (const StringIn* s : {&in.p, &in.s}) {
        StringMinute out;
        // a sensor of 0.1 W with a trace of noise
        noise_ = noise_ * 1103515245u + 12345u;
        const double jitter = 1 + 0.004 * ((noise_ >> 16) / 32768.0 - 1);
        if (s->live) {
          out.power_w = std::round(s->watts * jitter * 10) / 10;
          out.samples = 6;
          out.voltage_v = s->volts;
          out.stage = s->stage;
          out.error = in.error;
          out.still_for = s->still_for;
        } else {
          out.age = hours{1};
        }
        out.live = s->live;
        m.strings.push_back(out);
      }
      m.air_c = in.air_c;
      if (in.light_share) m.irradiance_wm2 = *in.light_share * flat_wm2(m.start);
      m.soc = in.soc;
      m.bank_voltage_v = in.bank_v;
      m.cell_min_c = m.cell_max_c = in.cell_c;
      m.permit = in.permit;
      m.charge_allowed = in.charge_allowed;
      m.permit_known = true;
      m.latitude_deg = 45;
      m.longitude_deg = -93;
      if (!forecast.rows.empty()) m.forecast = &forecast;
      last = diagnosis_->on_minute(m);
      now = {m.at, m.start, true};
      for (const Fact& f : diagnosis_->facts(now)) {
        const std::string key = f.alarm + "-" + f.subject;
        const bool on = f.condition && f.confidence >= 0.5;
        if (on && !standing(key)) raised.push_back(key + " " + clock(hour));
        if (on) texts[key] = f.text;
        if (!on && standing(key)) {
          over.push_back(key + " " + clock(hour));
          if (!f.over_text.empty()) over_texts[key] = f.over_text;
        }
        on_[key] = on;
      }
      for (const Verdict& v : last) {
        add(booked_w_min, v.split);
        clear_w_min += v.clear_sky_w;
        sum_exact &= std::abs(v.split.sum() - v.clear_sky_w) < 1e-9 * (1 + v.clear_sky_w);
        finite &= std::isfinite(v.confidence) && std::isfinite(v.expected_w) && std::isfinite(v.split.sum());
      }
    }
  }
  /// Clear days that teach the calibration, nights left out but for an hour around.
  void teach(int days_of_it) {
    for (int d = 0; d < days_of_it; ++d) play(d - days_of_it, 0, 24, [](double, MinuteIn&) {});
  }

  void snow_forecast(int day, int from_hour, int to_hour, double cm, double cloud_after = 0.1) {
    const Utc midnight = utc_ms(1768435200000LL) + days{day} + hours{6};
    forecast.rows.clear();
    for (int h = -6; h < 66; ++h) {
      ForecastHour row;
      row.from = midnight + hours{h};
      row.snow_cm = h >= from_hour && h < to_hour ? cm / (to_hour - from_hour) : 0;
      row.cloud = h >= from_hour - 1 && h <= to_hour ? 1.0 : cloud_after;
      row.air_c = -5;
      forecast.rows.push_back(row);
    }
  }

  bool standing(const std::string& key) const {
    const auto at = on_.find(key);
    return at != on_.end() && at->second;
  }
  int times_raised(const std::string& key) const {
    return static_cast<int>(std::count_if(raised.begin(), raised.end(), [&](const std::string& r) { return r.starts_with(key + " "); }));
  }
  const Verdict& port() const { return last[0]; }
  const Verdict& star() const { return last[1]; }
  diagnosis::Diagnosis& diagnosis() { return *diagnosis_; }
  const rig::Rig& rig() const { return rig_; }
  const Words& words() const { return words_; }

  Forecast forecast;
  std::vector<Verdict> last;
  Now now;
  std::vector<std::string> raised, over;
  std::map<std::string, std::string> texts, over_texts;
  bool sum_exact = true, finite = true;
  LossSplit booked_w_min;            ///< both strings, since last set to {}
  double clear_w_min = 0;

 private:
  static void add(LossSplit& sum, const LossSplit& s) {
    for (double LossSplit::*part : {&LossSplit::made_w, &LossSplit::cloud_w, &LossSplit::snow_w, &LossSplit::soiling_w, &LossSplit::shade_w,
                                    &LossSplit::curtailed_w, &LossSplit::cold_w, &LossSplit::outage_w, &LossSplit::no_data_w, &LossSplit::unexplained_w})
      sum.*part += s.*part;
  }
  static std::string clock(double hour) {
    const int m = static_cast<int>(std::lround(hour * 60));
    return (m / 60 < 10 ? "0" : "") + std::to_string(m / 60) + ":" + (m % 60 < 10 ? "0" : "") + std::to_string(m % 60);
  }
  rig::Rig rig_;
  Words words_;
  std::optional<diagnosis::Diagnosis> diagnosis_;
  std::map<std::string, bool> on_;
  unsigned noise_ = 1;
};

}  // namespace fw::test
