#include "score/generated/world.h"

#include <algorithm>
#include <cmath>

#include "score/generated/bank.h"
#include "score/generated/dice.h"
#include "score/generated/glass.h"

namespace fw::score {

namespace {

using Lights = std::vector<std::vector<double>>;

Lights scaled(Lights a, double f) {
  for (auto& row : a)
    for (double& g : row) g *= f;
  return a;
}
Lights through(Lights a, const Lights& pass) {
  for (std::size_t r = 0; r < a.size(); ++r)
    for (std::size_t i = 0; i < a[r].size(); ++i) a[r][i] *= pass[r][i];
  return a;
}
std::string one(double x) {
  const int tenths = static_cast<int>(std::lround(x * 10));
  return std::to_string(tenths / 10) + "." + std::to_string(tenths % 10);
}

/// What each string can do this minute, before the bank.
class Row {
 public:
  Row(const Scene& scene, int index) : scene_(scene), s_(scene.strings[static_cast<std::size_t>(index)]), index_(index), glass_(scene, index) {}

  Working step(const SunAt& sun, const Light& clear, const WeatherMinute& w, long minute, StringTruth& t) {
    const double cos_z = std::max(0.0, std::sin(sun.elevation_deg * 0.0174533));
    Light real{clear.beam * w.beam, clear.diffuse * w.diffuse + w.extra * (clear.beam * cos_z + clear.diffuse)};
    const PlaneLight bright = on_plane(sun, clear, w.albedo, s_.real_tilt_deg, s_.real_azimuth_deg);
    const PlaneLight now = on_plane(sun, real, w.albedo, s_.real_tilt_deg, s_.real_azimuth_deg);
    const double poa = now.sum();
    glass_.step(w, minute, poa, sun.elevation_deg);
    for (const Handwork& h : scene_.handwork)
      if (h.string == index_ && h.at_min == minute) glass_.by_hand(h);
    for (const Dust& x : scene_.dust)
      if (minute >= x.from_min && minute < x.to_min) glass_.dust(x.loss / static_cast<double>(x.to_min - x.from_min));
    const double rise = 0.031 * std::exp(-0.06 * w.wind_ms);
    cell_k_ += (poa * rise - cell_k_) / 7;
    const double hot = w.air_c + cell_k_, ideal = w.air_c + bright.sum() * rise;
    t.film = static_cast<float>(glass_.film());
    t.rime = static_cast<float>(glass_.rime());
    t.depth_cm = static_cast<float>(glass_.depth_cm());
    t.cover = static_cast<float>(glass_.covered());
    Working out;
    if (poa < 0.4 && bright.sum() < 0.4) {
      if (t.depth_cm > 0) t.snow_loss = even_snow_loss(w.air_c);
      return out;
    }
    const auto capped = [&](double watts) { return std::min(watts, s_.max_w); };
    t.clear_w = static_cast<float>(capped(working_point(s_.real, glass_.bare(bright), ideal).power_w));
    const double free_w = working_point(s_.real, glass_.bare(now), hot).power_w;
    t.available_w = static_cast<float>(capped(free_w));
    const Lights shaded = glass_.shaded(now, sun);
    const Lights snowy = through(shaded, glass_.snow_pass());
    const Lights filmed = scaled(snowy, 1 - glass_.film());
    const Lights rimed = scaled(filmed, 1 - glass_.rime());
    const double shaded_w = working_point(s_.real, shaded, hot).power_w;
    const double snowy_w = t.depth_cm > 0 || t.cover > 0 || glass_.snow_pass()[0][0] < 1 ? working_point(s_.real, snowy, hot).power_w : shaded_w;
    out = working_point(s_.real, rimed, hot);
    // Not every watt lost behind a limit is lost.
    t.shaded_w = static_cast<float>(capped(shaded_w));
    t.snowy_w = static_cast<float>(capped(snowy_w));
    t.filmed_w = static_cast<float>(capped(snowy_w * (1 - glass_.film())));
    t.rimed_w = static_cast<float>(capped(out.power_w));
    t.snow_loss = t.shaded_w > 1 ? std::max(0.0F, 1 - t.snowy_w / t.shaded_w) : even_snow_loss(w.air_c);
    for (const MishapAt& m : scene_.mishaps) {
      if ((m.string != index_ && m.string >= 0) || minute < m.from_min || minute >= m.to_min) continue;
      switch (m.kind) {
        case Mishap::open:
        case Mishap::breaker_by_hand:
          out = {};
          t.outage = true;
          break;
        case Mishap::branch_lost: {
          Lights rest = rimed;
          rest.pop_back();
          if (!rest.empty()) out = working_point(s_.real, rest, hot);
          t.outage = true;
          break;
        }
        case Mishap::controller_fault:
          out.power_w = 0;
          t.outage = true;
          break;
        case Mishap::controller_silent:
        case Mishap::broker_gap: t.live = false; break;
        case Mishap::frozen: t.live = false; t.frozen = true; break;
        case Mishap::absurd: t.absurd = true; break;
      }
    }
    t.limited = out.power_w > s_.max_w;
    t.potential_w = static_cast<float>(capped(out.power_w));
    return out;
  }
  const Glass& glass() const { return glass_; }

 private:
  float even_snow_loss(double air_c) {
    const Lights even(glass_.snow_pass().size(), std::vector<double>(glass_.snow_pass()[0].size(), 300.0));
    const double bare = working_point(s_.real, even, air_c).power_w;
    return static_cast<float>(std::max(0.0, 1 - working_point(s_.real, through(even, glass_.snow_pass()), air_c).power_w / bare));
  }
  const Scene& scene_;
  const StringScene& s_;
  int index_;
  Glass glass_;
  double cell_k_ = 0;
};

void mishap_events(World& w) {
  static constexpr const char* kinds[] = {"outage", "outage", "outage", "outage", "controller_offline", "stuck", "broker_gap", "absurd"};
  static constexpr const char* details[] = {"open", "breaker_by_hand", "pair_lost", "controller_fault", "controller_silent", "stuck", "broker_gap", "absurd"};
  for (const MishapAt& m : w.scene.mishaps) {
    const std::string kind = kinds[static_cast<int>(m.kind)], detail = details[static_cast<int>(m.kind)];
    const std::string who = m.string < 0 ? "" : w.scene.strings[static_cast<std::size_t>(m.string)].id;
    w.happenings.push_back({m.from_min, kind + "_start", who, detail});
    w.happenings.push_back({m.to_min, kind + "_end", who, detail});
    if (kind == "outage") {
      const auto& row = w.strings[static_cast<std::size_t>(m.string)];
      const StringScene& s = w.scene.strings[static_cast<std::size_t>(m.string)];
      const double enough = std::max(40.0, 0.08 * s.paper.stc_w * s.paper.series * s.paper.parallel);
      int lit = 0;
      for (long i = m.from_min; i < m.to_min; ++i) {
        const StringTruth& t = row[static_cast<std::size_t>(i)];
        lit = t.available_w >= enough && t.live && !t.held && w.bank[static_cast<std::size_t>(i)].permitted && w.sun_el[static_cast<std::size_t>(i)] > 7 ? lit + 1 : 0;
        if (lit == 10) {
          w.happenings.push_back({i + 1, "outage_knowable", who, detail});
          break;
        }
      }
    } else if (kind != "absurd") {
      const long silence = kind == "stuck" ? 30 : 10;
      if (m.from_min + silence < m.to_min) w.happenings.push_back({m.from_min + silence, "stale_knowable", who, std::to_string(silence) + " min"});
    }
  }
}

void snow_events(World& w, std::size_t string, const std::vector<char>& slid) {
  const StringScene& s = w.scene.strings[string];
  const auto& row = w.strings[string];
  const double enough = std::max(40.0, 0.08 * s.paper.stc_w * s.paper.series * s.paper.parallel);
  bool covered = false, known = false, wait_release = false;
  int lit = 0, lit_after = 0;
  for (long i = 0; i < w.scene.minutes(); ++i) {
    const auto n = static_cast<std::size_t>(i);
    const StringTruth& t = row[n];
    if (slid[n]) w.happenings.push_back({i, "slid", s.id, ""});
    const bool light = t.available_w >= enough && t.live && !t.held && w.bank[n].permitted && w.sun_el[n] > 7;
    const bool by_hand = std::any_of(w.scene.handwork.begin(), w.scene.handwork.end(), [&](const Handwork& h) {
      return !h.washes && h.string == static_cast<int>(string) && h.at_min == i;
    });
    if (!covered && t.snow_loss > 0.30F) {
      covered = true;
      known = wait_release = false;
      lit = 0;
      w.happenings.push_back({i, "snow_cover_start", s.id, "loss above 30 percent"});
    }
    if (by_hand) w.happenings.push_back({i, "cleared_by_hand", s.id, ""});
    if (covered) {
      lit = light ? lit + 1 : 0;
      if (lit == 10 && !known) {
        known = true;
        w.happenings.push_back({i + 1, "snow_knowable", s.id, "10 min of enough light, live data"});
      }
      if (t.snow_loss < 0.13F) {
        covered = false;
        wait_release = known;
        lit_after = 0;
        const bool hand = by_hand || std::any_of(w.scene.handwork.begin(), w.scene.handwork.end(), [&](const Handwork& h) {
          return !h.washes && h.string == static_cast<int>(string) && i - h.at_min >= 0 && i - h.at_min < 3;
        });
        w.happenings.push_back({i, "snow_cover_end", s.id, hand ? "cleared_by_hand" : slid[n] ? "slid" : "melted"});
      }
    } else if (wait_release) {
      lit_after = light ? lit_after + 1 : 0;
      if (lit_after == 10) {
        wait_release = false;
        w.happenings.push_back({i + 1, "snow_release_knowable", s.id, ""});
      }
    }
  }
}

}  // namespace

World world_of(const Scene& scene) {
  World w;
  w.scene = scene;
  w.weather = weather_of(w.scene);
  const std::size_t count = scene.strings.size(), minutes = static_cast<std::size_t>(scene.minutes());
  w.strings.assign(count, std::vector<StringTruth>(minutes));
  w.bank.resize(minutes);
  w.sun_el.resize(minutes);
  std::vector<Row> rows;
  for (std::size_t i = 0; i < count; ++i) rows.emplace_back(w.scene, static_cast<int>(i));
  std::vector<std::vector<char>> slid(count, std::vector<char>(minutes, 0));
  Bank bank(w.scene);
  std::vector<char> dirty(count, 0);
  for (std::size_t n = 0; n < minutes; ++n) {
    const auto& weather = w.weather[n];
    const SunAt sun = sun_at(static_cast<double>(scene.start_unix_s) + static_cast<double>(n) * 60 + 30, scene.lat, scene.lon);
    w.sun_el[n] = static_cast<float>(sun.elevation_deg);
    const Light clear = clear_light(sun, scene.altitude_m, {weather.aerosol, weather.water_cm, 0.32}, weather.albedo);
    double offered = 0;
    std::vector<Working> at(count);
    for (std::size_t i = 0; i < count; ++i) {
      StringTruth& t = w.strings[i][n];
      at[i] = rows[i].step(sun, clear, weather, static_cast<long>(n), t);
      slid[i][n] = rows[i].glass().slid();
      if (t.potential_w < 1.5F) t.potential_w = 0;
      offered += t.potential_w * scene.efficiency;
      const bool above = t.film >= 0.08F;
      if (above != static_cast<bool>(dirty[i])) {
        dirty[i] = above;
        w.happenings.push_back({static_cast<long>(n), above ? "soiling_above_8pct_start" : "soiling_above_8pct_end", scene.strings[i].id, ""});
      }
    }
    const double taken = bank.step(offered, weather.air_c, static_cast<double>(n % 1440) / 60);
    w.bank[n] = bank.now();
    const double share = offered > 0 ? taken / offered : 1;
    for (std::size_t i = 0; i < count; ++i) {
      StringTruth& t = w.strings[i][n];
      t.actual_w = static_cast<float>(t.potential_w * share);
      if (t.actual_w < 1.0F) t.actual_w = 0;
      const bool throttled = share < 0.99;
      t.held = throttled && t.potential_w > 0;
      if (t.outage && at[i].open_volts <= 0) t.volts = 0;
      else if (t.potential_w <= 0 || t.actual_w <= 0) t.volts = static_cast<float>(at[i].open_volts);
      else if (throttled || t.limited) t.volts = static_cast<float>(throttled_volts(at[i], t.actual_w / at[i].power_w));
      else t.volts = static_cast<float>(at[i].volts);
      t.amps = t.volts > 1 ? t.actual_w / t.volts : 0;
      t.stage = bank.stage() == RealStage::inhibited ? RealStage::inhibited : t.potential_w <= 0 && !(t.outage && at[i].open_volts > 5) ? RealStage::off : bank.stage();
    }
  }
  for (std::size_t i = 0; i < count; ++i) snow_events(w, i, slid[i]);
  mishap_events(w);
  for (const Fall& f : scene.falls) {
    w.happenings.push_back({f.from_min, f.rain ? "rain_start" : "snowfall_start", "", one(f.amount) + (f.rain ? " mm" : " cm")});
    w.happenings.push_back({f.to_min, f.rain ? "rain_end" : "snowfall_end", "", one(f.amount) + (f.rain ? " mm" : " cm")});
  }
  for (const Dust& x : scene.dust) w.happenings.push_back({x.from_min, "dust", "", one(100 * x.loss) + " percent"});
  for (const Handwork& h : scene.handwork)
    if (h.washes) w.happenings.push_back({h.at_min, "washed_by_hand", scene.strings[static_cast<std::size_t>(h.string)].id, ""});
  std::stable_sort(w.happenings.begin(), w.happenings.end(), [](const Happening& a, const Happening& b) { return a.at_min < b.at_min; });
  return w;
}

}  // namespace fw::score
