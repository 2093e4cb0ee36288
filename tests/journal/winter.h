#pragma once
// A made-up winter of a made-up two-string rig as journal rows, for tests and measurements of the
// journal and the review. The shapes are plain (a half sine for the day, blocks for the weather); what
// matters is that every cause, gaps, alarms, advice, notes and a cold spell occur, and that each
// minute's parts add up.
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "journal/about.h"
#include "records/rows.h"
#include "units/text.h"

namespace fw::testing {

inline constexpr double string_rated_w[] = {840, 400};
inline const std::string string_names[] = {"fore", "aft"};

inline journal::About winter_about() {
  journal::About a;
  a.rig = "demo";
  a.timezone = "Europe/Oslo";
  a.strings = {{"fore", 840.0}, {"aft", 400.0}};
  a.lower_limit_c = 0;
  a.resume_c = 2;
  a.upper_limit_c = 45;
  a.preferred_floor_c = 5;
  a.capacity_kwh = 6.8;
  a.reserve_soc = 0.2;
  a.price_per_kwh = 0.4;
  a.currency = "EUR";
  return a;
}

class Winter {
 public:
  explicit Winter(Utc start) : t_(start), first_(start) {}
  Utc now() const { return t_; }
  Now turn() const { return {Elapsed{t_.time_since_epoch()}, t_, true}; }

  /// The rows of the next minute.
  std::vector<Row> minute() {
    std::vector<Row> rows;
    const Stamp when{t_, Elapsed{t_.time_since_epoch()}, true};
    const int day = static_cast<int>((t_ - first_) / days{1});
    // One hour ahead of UTC all winter.
    const Utc local = t_ + hours{1};
    const double hour = hours_of(local - floor_to(local, days{1}));
    const double sun = std::max(0.0, std::sin((hour - 8.5) / 7.0 * pi)) * (hour > 8.5 && hour < 15.5 ? 1.0 : 0.0);
    const double season = 0.25 + 0.35 * std::pow(std::cos((day - 80.0) / 180.0 * pi), 2) * (day > 80 ? 1.3 : 0.6);
    const double noise = 0.02 * std::sin(0.37 * hour * 60) + 0.01 * wobble();
    const int kind = weather(day);
    const double air = -6 + 7 * std::sin(day / 9.0) + 4 * sun + (day % 40 > 33 ? -9 : 0);
    cell_ += (air + 14 - cell_) / 900.0;
    const bool cold = cell_ < 0.5;

    double made_total = 0;
    for (int i = 0; i < 2; ++i) {
      StringRow r;
      r.when = when;
      r.local_date = iso_utc(local).substr(0, 10);
      r.string = string_names[i];
      Verdict& v = r.verdict;
      v.utc = t_;
      v.string = i;
      v.sun_elevation_deg = sun > 0 ? 22 * season / 0.6 * sun : -5 - 10 * std::fabs(hour - 12) / 12;
      const double clear = string_rated_w[i] * season * sun;
      v.clear_sky_w = clear;
      v.split = {};
      double left = clear;
      const auto lose = [&](double& part, double share) {
        part = left * share;
        left -= part;
      };
      v.cause = Cause::dark;
      v.confidence = 1;
      if (clear > 0.02 * string_rated_w[i]) {
        v.cause = Cause::clear;
        v.confidence = 0.9;
        const double film = i == 0 ? std::min(0.09, 0.0006 * day) : 0.01;
        if (kind == 1 || kind == 4) lose(v.split.cloud_w, kind == 1 ? 0.82 + 0.06 * wobble() : 0.35 + 0.3 * wobble()), v.cause = Cause::cloud;
        const bool shed = i == 1 && hour > 11.5;
        if (kind == 2 && !shed && !(cleared_ == day && hour > 11)) {
          lose(v.split.snow_w, 0.94);
          v.cause = Cause::snow;
          v.snow_cover = 0.94;
          v.snow_cm = 6;
          v.confidence = 0.93;
        }
        lose(v.split.soiling_w, film);
        v.soiling_loss = film;
        if (v.cause == Cause::clear && i == 1 && hour > 13.5 && day % 3 == 0) lose(v.split.shade_w, 0.4), v.cause = Cause::shade;
        if (v.cause == Cause::clear && film > 0.06) v.cause = Cause::soiling, v.reason = "film";
        if (cold) lose(v.split.cold_w, 0.98), v.cause = Cause::curtailed, v.reason = "bank too cold to charge";
        else if (soc_ > 0.985) lose(v.split.curtailed_w, 0.9), v.cause = Cause::curtailed, v.reason = "bank full";
        if (i == 1 && day >= 120 && day < 122) lose(v.split.outage_w, 1), v.cause = Cause::outage, v.reason = "disconnected", v.confidence = 0.97;
        if (day == 60 && hour < 12) lose(v.split.no_data_w, 1), v.cause = Cause::stale;
        v.split.unexplained_w = left * noise;
        left -= v.split.unexplained_w;
      }
      v.split.made_w = left;
      v.expected_w = clear - v.split.cloud_w;
      if (v.cause != Cause::stale) {
        v.measured_w = left;
        r.power_w = left;
        r.voltage_v = left > 1 ? 38.2 + wobble() : 20.0;
        r.current_a = left / *r.voltage_v;
        if (v.expected_w > 5) v.performance_index = left / v.expected_w;
      }
      r.stage = cold ? Stage::inhibited : soc_ > 0.985 ? Stage::floating : left > 1 ? Stage::bulk : Stage::off;
      made_total += left;
      if (v.cause != cause_[i]) {
        rows.push_back(VerdictChangeRow{when, r.string, v.cause, v.confidence, v.reason, "made " + fixed(left, 0) + " of " + fixed(clear, 0) + " W"});
        cause_[i] = v.cause;
      }
      rows.push_back(r);
    }

    const double load = 16 + (hour > 17 && hour < 22 ? 40 : 0) + (air < -8 ? 20 : 0);
    soc_ = std::clamp(soc_ + (made_total * 0.97 - load) / 6800.0 / 60.0, 0.12, 0.99);
    BankRow b;
    b.when = when;
    b.cell_min_c = cell_;
    b.cell_max_c = cell_ + 1.2;
    b.soc = soc_;
    b.voltage_v = 12.9 + 0.8 * soc_ + 0.01 * wobble();
    b.current_a = (made_total * 0.97 - load) / *b.voltage_v;
    b.air_c = air;
    b.cabin_c = 17 + 2 * std::sin(hour / 24 * 2 * pi);
    b.load_w = load;
    b.permit = !cold;
    b.current_limit_a = cold ? 0.0 : cell_ < 5 ? 20.0 : 80.0;
    rows.push_back(b);

    if (cold != cold_) {
      rows.push_back(CommandRow{when, "cmd-" + std::to_string(++command_), "fore", !cold, cold ? 0.0 : 80.0,
                                cold ? "cells at 0 °C" : "cells above 2 °C", t_ + seconds{3}});
      alarm(rows, when, "bank_cold", "rig", cold ? "raised" : "cleared", "high",
            cold ? "Charging is off: cells at 0 °C. Permit returns above 2 °C." : "Charging is allowed again: cells at 2 °C.");
      cold_ = cold;
    }
    const int minute_of_day = static_cast<int>(hour * 60 + 0.5);
    if (kind == 2 && minute_of_day == 530) {
      alarm(rows, when, "snow", "fore", "raised", "low", "Fore string very probably under snow: 12 of 240 W. Loose snow only, mind ladder and ice.");
      const bool worth = day % 14 == 8;
      rows.push_back(AdviceRow{when, worth ? "clear" : "wait", worth ? "Clearing today looks worth about 1.9 kWh." : "Grey ahead: nothing to do.",
                               worth ? 1.9 : 0.3, t_ + hours{2}, t_ + hours{3}, ""});
      if (worth) cleared_ = day;
    }
    if (cleared_ == day && minute_of_day == 660) {
      rows.push_back(NoteRow{when, "panels_cleared", "fore", "swept, dry snow"});
      alarm(rows, when, "snow", "fore", "cleared", "low", "Fore string clear again at 11:00.");
    }
    rows.push_back(SnapshotRow{when, "core", "{\"minute\":" + std::to_string(ms_of(t_) / 60000) + "}"});
    t_ += minutes{1};
    return rows;
  }

 private:
  static constexpr double pi = 3.14159265358979323846;
  /// 0 clear, 1 overcast, 2 under snow, 4 broken cloud.
  static int weather(int day) {
    static constexpr int pattern[] = {0, 0, 1, 1, 4, 0, 2, 2, 2, 1, 4, 0, 4, 1};
    return pattern[day % 14];
  }
  /// A number in 0..1 from a fixed sequence (linear congruence, constants after Numerical Recipes, from memory).
  double wobble() {
    seed_ = seed_ * 1664525u + 1013904223u;
    return static_cast<double>(seed_ >> 8) / 16777216.0;
  }
  void alarm(std::vector<Row>& rows, const Stamp& when, const char* name, const char* subject, const char* event, const char* priority,
             const std::string& text) {
    rows.push_back(AlarmRow{when, name, subject, event, priority, text});
    if (std::string(event) == "raised")
      rows.push_back(NoticeRow{when, "n-" + std::to_string(++notice_), priority, name, subject, text, "delivered", t_ + seconds{2}, ""});
  }

  Utc t_, first_;
  std::uint32_t seed_ = 1;
  double cell_ = 6, soc_ = 0.7;
  bool cold_ = false;
  int cleared_ = -1, command_ = 0, notice_ = 0;
  Cause cause_[2] = {Cause::dark, Cause::dark};
};

}  // namespace fw::testing
