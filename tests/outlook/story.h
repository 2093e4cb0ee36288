#pragma once
// A reference rig and a way to live through its days minute by minute. 45 N 93 W, 260 m, January, two flat
// strings of 400 W, a bank of 2560 Wh with a reserve of 20 %.
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "outlook/outlook.h"

namespace fw::story {

inline Utc at(int day, int hour, int minute = 0) {  // January 2026, local (UTC-6)
  return Utc{std::chrono::sys_days{std::chrono::year{2026} / 1 / day}} + hours{hour + 6} + minutes{minute};
}

inline bool has(const std::string& text, const char* part) { return text.find(part) != std::string::npos; }

inline rig::Rig reference() {
  rig::Rig r;
  r.name = "story";
  r.site.latitude_deg = 45;
  r.site.longitude_deg = -93;
  r.site.altitude_m = 260;
  r.site.timezone = "America/Regina";  // standard time all year
  for (const char* name : {"p", "s"}) {
    rig::PvString s;
    s.name = name;
    s.module.stc_w = 200;
    s.module.v_mp_v = 20;
    s.module.v_oc_v = 24;
    s.series = 2;
    r.strings.push_back(s);
  }
  r.bank.capacity_ah = 200;
  r.bank.departure_reserve_soc = 0.20;
  r.sources.push_back({});
  return r;
}

struct Weather { double cloud = 0, air_c = -5, snow_cm = 0, wind_ms = 2; };

/// What the rig shows at a minute.
struct Sight {
  std::optional<double> soc = 0.6, load_w = 40, cell_c = 15, bank_v = {}, bank_a = {}, cabin_c = {}, wind_ms = {};
  double air_c = -5;
  double cover = 0;                      ///< snow on both strings, share of the light
  std::optional<Cause> cause = {};       ///< none: from cover
  double share = 1;                      ///< of the clear sky
  std::optional<bool> charge_allowed = {};
  std::optional<double> soiling = {};
  std::optional<double> string_v = {};
  std::optional<double> pitch = {}, heading = {};
};

class Story {
 public:
  explicit Story(rig::Rig r = reference()) : rig_(std::move(r)), words_(*Words::in_zone(rig_.site.timezone, false)) {
    outlook_ = std::make_unique<outlook::Outlook>(rig_, words_);
  }
  /// 72 hours from `from`, received then.
  void forecast(Utc from, const std::function<Weather(Utc)>& weather) {
    forecast_.received = Elapsed{from.time_since_epoch()};
    forecast_.rows.clear();
    for (int h = 0; h < 80; ++h) {
      const Utc t = floor_to(from, hours{1}) + hours{h};
      const Weather w = weather(t);
      forecast_.rows.push_back({t, w.cloud, w.air_c, w.snow_cm, {}, w.wind_ms});
    }
    known_ = true;
  }
  void live(Utc from, Utc to, const std::function<Sight(Utc)>& sight) {
    const sky::Site site = roof::site_of(rig_.site, rig_.site.latitude_deg, rig_.site.longitude_deg);
    for (Utc t = from; t < to; t += minutes{1}) {
      const Sight s = sight(t);
      RigMinute m;
      m.start = t;
      m.at = Elapsed{t.time_since_epoch()} + minutes{1};
      m.soc = s.soc;
      m.load_w = s.load_w;
      m.cell_min_c = m.cell_max_c = s.cell_c;
      m.bank_voltage_v = s.bank_v;
      m.bank_current_a = s.bank_a;
      m.air_c = s.air_c;
      m.cabin_c = s.cabin_c;
      m.wind_ms = s.wind_ms;
      m.charge_allowed = s.charge_allowed;
      m.pitch_deg = s.pitch;
      m.heading_deg = s.heading;
      m.latitude_deg = rig_.site.latitude_deg;
      m.longitude_deg = rig_.site.longitude_deg;
      m.forecast = known_ ? &forecast_ : nullptr;
      std::vector<Verdict> verdicts;
      const sky::State sky = sky::clear_state(site, t);
      for (std::size_t k = 0; k < rig_.strings.size(); ++k) {
        Verdict v;
        v.utc = t;
        v.string = static_cast<int>(k);
        v.clear_sky_w = roof::expected(roof::string_model(rig_.strings[k]), sky, {s.air_c, 1}).limited_w;
        v.expected_w = v.clear_sky_w * s.share;
        v.measured_w = v.expected_w * (1 - s.cover);
        v.confidence = 0.95;
        v.soiling_loss = s.soiling;
        v.sun_elevation_deg = sky.sun.apparent_elevation_deg;
        if (v.clear_sky_w < 10) v.cause = Cause::dark;
        else if (s.cause) v.cause = *s.cause;
        else v.cause = s.cover > 0.15 ? Cause::snow : s.share < 0.8 ? Cause::cloud : Cause::clear;
        if (v.cause == Cause::snow || v.cause == Cause::unsure) v.snow_cover = s.cover;
        m.strings.push_back({});
        m.strings.back().power_w = v.measured_w;
        m.strings.back().voltage_v = s.string_v;
        verdicts.push_back(v);
      }
      outlook_->on_minute(m, verdicts, {});
      now_ = {m.at, t + minutes{1}, true};
      for (auto& e : outlook_->take_effects()) {
        if (const auto* store = std::get_if<Store>(&e))
          if (const auto* row = std::get_if<AdviceRow>(&store->row)) rows.push_back(*row);
        if (const auto* p = std::get_if<Publish>(&e)) published.push_back(*p);
      }
    }
  }
  void note(NoteEvent event, Utc t) {
    outlook_->on_note({Elapsed{t.time_since_epoch()}, t, event, {}, ""}, {Elapsed{t.time_since_epoch()}, t, true});
  }
  outlook::Outlook& outlook() { return *outlook_; }
  const outlook::Plan& plan() const { return outlook_->plan(); }
  std::string sentence() const { return outlook_->clearing_sentence(now_); }
  const Words& words() const { return words_; }
  const rig::Rig& rig() const { return rig_; }
  Now now() const { return now_; }
  Fact fact(const std::string& alarm) const {
    for (const auto& f : outlook_->facts(now_))
      if (f.alarm == alarm) return f;
    return {};
  }
  double clock_of(Utc t) const { return words_.minute_of_day(t) / 60.0; }

  std::vector<AdviceRow> rows;
  std::vector<Publish> published;

 private:
  rig::Rig rig_;
  Words words_;
  std::unique_ptr<outlook::Outlook> outlook_;
  Forecast forecast_;
  bool known_ = false;
  Now now_{};
};

}  // namespace fw::story
