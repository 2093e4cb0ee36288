#pragma once
// A whole core on a rig at 45 N in January, fed once a minute as its telemetry would: two like flat strings, a bank of
// 2560 Wh with a reserve of 20 %, a forecast. Clear-sky watts as in the diagnosis tests. What it says is kept.
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "config/load.h"
#include "core/core.h"
#include "diagnosis/bench_rig.h"
#include "units/text.h"

namespace fw::test {

struct ReferenceMinute {
  double p_w = 0, s_w = 0, p_v = 0, s_v = 0;
  double soc = 0.55, load_w = 40, air_c = -5, cell_c = 10, wind_ms = 2;
  const char* stage = "bulk";
};
struct ReferenceHour { double cloud = 0, air_c = -5, snow_cm = 0, wind_ms = 2; };
struct ReferenceSaid { Utc at{}; std::string priority, alarm, text; };

class ReferenceRig {
 public:
  /// more: further lines of the config.
  explicit ReferenceRig(const std::string& more = "") {
    std::string config = R"(
rig: ref
site:
  latitude: 45
  longitude: -93
  altitude: 260 m
  timezone: America/Regina
  air_temperature: {topic: ref/all, pointer: /air, unit: degC}
  wind: {topic: ref/all, pointer: /wind, unit: m/s}
bank:
  capacity: 200 Ah
  reserve: 20 %
  departure_reserve: 20 %
  charge_window: {lower_limit: 0 degC, resume: 2 degC}
  cell_temperature: {topic: ref/all, pointer: /cell, unit: degC, max_age: 3 min}
  soc: {topic: ref/all, pointer: /soc, unit: "%"}
loads:
  power: {topic: ref/all, pointer: /load, unit: W}
forecast:
  topic: ref/forecast
  layout: rows
  rows: /hours
  time: /hour
  time_form: iso
  cloud: {pointer: /cover, unit: "%"}
  air_temperature: {pointer: /air, unit: degC}
  snowfall: {pointer: /snow, unit: cm}
  wind: {pointer: /wind, unit: m/s}
strings:
)";
    for (const std::string name : {"port", "star"})
      config += "  " + name + ":\n    module: {power: 200 W, v_oc: 22.6 V, v_mp: 18.7 V}\n    wiring: 2s\n    tilt: 0 deg\n" +
                "    controller: {max_power: 500 W, stage: {topic: ref/all, pointer: /stage}}\n" +
                "    power: {topic: ref/all, pointer: /" + name + "_w, unit: W}\n    voltage: {topic: ref/all, pointer: /" + name + "_v, unit: V}\n";
    auto loaded = config::load_text(config + more, "ref.yaml");
    for (const auto& f : loaded.faults) MESSAGE(f.text());
    REQUIRE(loaded.rig.has_value());
    rig_ = std::make_unique<rig::Rig>(std::move(*loaded.rig));
  }

  /// Local time of a day counted from 15 January 2026, a Thursday.
  static Utc at(int day, double hour) {
    return Utc{std::chrono::sys_days{std::chrono::year{2026} / 1 / 15}} + days{day} + hours{6} + minutes{std::lround(hour * 60)};
  }
  void note(int day, double hour, const std::string& event) { message(at(day, hour), "firnwatt/ref/notes", R"({"event":")" + event + "\"}"); }
  /// 72 hours from a moment, arriving then. hour: local, of 15 January (26 is two o'clock on the 16th).
  void forecast(int day, double from, const std::function<ReferenceHour(int hour)>& weather) {
    nlohmann::json rows = nlohmann::json::array();
    for (int h = 0; h < 72; ++h) {
      const int hour = day * 24 + static_cast<int>(from) + h;
      const ReferenceHour w = weather(hour);
      rows.push_back({{"hour", iso_utc(at(0, hour))}, {"cover", w.cloud * 100}, {"air", w.air_c}, {"snow", w.snow_cm}, {"wind", w.wind_ms}});
    }
    message(at(day, from), "ref/forecast", nlohmann::json{{"hours", rows}}.dump());
  }
  /// Minutes of a day; `each` fills in what differs from a clear sky over clean glass.
  void play(int day, double from, double to, const std::function<void(double hour, ReferenceMinute&)>& each) {
    for (int minute = static_cast<int>(from * 60); minute < static_cast<int>(to * 60); ++minute) {
      const double hour = minute / 60.0;
      const Utc t = at(day, hour);
      ReferenceMinute in;
      in.p_w = in.s_w = BenchRig::clear_w(hour);
      in.p_v = in.s_v = BenchRig::working_v(in.p_w);
      each(hour, in);
      const double season = BenchRig::season(t, day);
      message(t, "ref/all",
              nlohmann::json{{"port_w", read(in.p_w * season)}, {"star_w", read(in.s_w * season)},
                             {"port_v", in.p_v}, {"star_v", in.s_v}, {"soc", in.soc * 100}, {"load", in.load_w}, {"air", in.air_c},
                             {"cell", in.cell_c}, {"wind", in.wind_ms}, {"stage", in.stage}}.dump());
    }
  }

  std::vector<ReferenceSaid> said_of(const std::string& alarm) const {
    std::vector<ReferenceSaid> out;
    for (const auto& s : said)
      if (s.alarm == alarm) out.push_back(s);
    return out;
  }
  std::optional<Utc> event_of(const std::string& alarm, const std::string& subject, const std::string& event) const {
    for (const auto& a : alarms)
      if (a.alarm == alarm && a.subject == subject && a.event == event) return a.when.utc;
    return std::nullopt;
  }

  std::vector<ReferenceSaid> said;          ///< what reached the phone
  std::vector<AdviceRow> advice;
  std::vector<AlarmRow> alarms;
  std::map<std::string, std::string> retained;  ///< by topic below firnwatt/ref/

 private:
  void message(Utc t, const std::string& topic, const std::string& payload) {
    const Elapsed when = elapsed_ms(ms_of(t));
    if (!core_) {
      core_ = std::make_unique<core::Core>(*rig_, words_, Now{when, t, true});
      core_->restore({});
      core_->on_message({when, "firnwatt/ref/broker", R"({"connected":true,"why":""})", false});
    }
    core_->on_message({when, topic, payload, false});
    for (auto effects = core_->take_effects(); !effects.empty(); effects = core_->take_effects()) {
      std::vector<std::string> sent;
      for (const Effect& e : effects) {
        if (const auto* s = std::get_if<Store>(&e)) {
          if (const auto* a = std::get_if<AdviceRow>(&s->row)) advice.push_back(*a);
          if (const auto* a = std::get_if<AlarmRow>(&s->row)) alarms.push_back(*a);
        }
        const auto* p = std::get_if<Publish>(&e);
        if (!p) continue;
        if (p->retain) retained[p->topic.substr(std::string("firnwatt/ref/").size())] = p->payload;
        if (!p->notice_id.empty()) sent.push_back(p->notice_id);
        if (p->topic != "firnwatt/ref/notices") continue;
        const auto j = nlohmann::json::parse(p->payload);
        said.push_back({core_->now().utc, j["priority"], j["alarm"], j["text"]});
      }
      for (const auto& id : sent) core_->on_message({core_->now().at, "firnwatt/ref/sent", nlohmann::json{{"id", id}}.dump(), false});
    }
  }

  /// A sensor of 0.1 W with a trace of noise.
  double read(double w) {
    noise_ = noise_ * 1103515245u + 12345u;
    return std::round(w * (1 + 0.004 * ((noise_ >> 16) / 32768.0 - 1)) * 10) / 10;
  }

  unsigned noise_ = 1;
  Words words_ = *Words::in_zone("America/Regina", false);
  std::unique_ptr<rig::Rig> rig_;
  std::unique_ptr<core::Core> core_;
};

}  // namespace fw::test
