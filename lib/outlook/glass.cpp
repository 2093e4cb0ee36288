#include "outlook/glass.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "outlook/kept.h"
#include "units/json.h"

namespace fw::outlook {
namespace {
constexpr double sure_enough = 0.6;
constexpr double cover_that_counts = 0.15;
constexpr Span cleared_within = minutes{25};
constexpr double seen_for_min = 60;        // where none was forecast
constexpr double covered_again_min = 15;   // before a second clearing of the same day can be one
constexpr double closed_cover = 0.7, part_left = 0.45, dim_share = 0.35;
constexpr double light_counts = 1.0 / 20;  // a minute, against the layer as followed so far
constexpr double brightest_share = 1.05;   // of the cloudless light, over minutes
constexpr double bare_above = 0.85;
constexpr double light_that_tells = 0.05;  // cloudless watts over rated watts; below it no share means much
constexpr double looks_dead = 0.8;         // cover from which a string gives as little as one that is off
constexpr double dead_volts = 0.1;         // of the volts at its best power: nothing connected
constexpr double snowing_cm_per_h = 0.1;

/// Share of the light the snow takes: what the verdict believes and what the string makes of the light assumed, each
/// unsure in its own way; the middle of the two on the scale on which snow adds up.
double cover_seen(const Verdict& v, double rated_w) {
  const double believed = 1 - std::clamp(v.snow_cover.value_or(0.9), 0.0, 0.999);
  if (!v.measured_w || v.cause != Cause::snow || v.expected_w < 0.03 * rated_w) return 1 - believed;
  return 1 - std::sqrt(believed * std::clamp(*v.measured_w / v.expected_w, 0.002, 1.0));
}

bool names_no_snow(Cause c) { return c == Cause::clear || c == Cause::cloud || c == Cause::soiling || c == Cause::shade; }
}  // namespace

/// What all of a string's judgement this minute rests on.
struct Glass::Minute {
  Utc at{};
  const Verdict& verdict;
  std::optional<double> volts;
  double air_c = 0;
  bool light_tells = false;                ///< enough of it that a share means something
  double share_of_clear = 1;               ///< made, of the cloudless watts
  bool fell = false;                       ///< snow was forecast for the last days
  std::optional<double> promised_kwh;
};

// A dark ridge at dawn looks like snow for a while: what nobody forecast has to be seen for longer before its going is a
// clearing. A second clearing needs the glass to have been covered again.
bool Glass::may_be_cleared(int string, const Minute& now) const {
  const String& s = strings_[string];
  if (!s.on_glass.snow_seen || now.at - *s.on_glass.snow_seen > cleared_within) return false;
  if (accounts_.open(string) && s.minutes_under < covered_again_min) return false;
  return now.fell || s.minutes_under >= seen_for_min;
}

bool Glass::under_snow(int string, const Minute& now) {
  String& s = strings_[string];
  OnGlass& g = s.on_glass;
  const Verdict& v = now.verdict;
  bool news = false;
  if (v.measured_w && *v.measured_w < dim_share * v.expected_w) s.dim_at = now.at;
  const double cover = cover_seen(v, std::max(1.0, rig_.strings[string].rated_w()));
  if (now.light_tells) ++s.minutes_under;
  // Swept or slid in part: the weather does not bare half the glass within minutes.
  if (now.light_tells && s.cover_before > closed_cover && cover < part_left && may_be_cleared(string, now)) {
    accounts_.begin(string, s.dim_at ? *s.dim_at + minutes{1} : now.at, g.layer, now.promised_kwh);
    g.layer = seen_as(g.layer, snow::water_for_cover(cover, g.layer.density_kgm3), now.air_c);
    s.cover_before = cover;
    s.minutes_under = 0;
    news = true;
  }
  const double by_light = snow::water_for_cover(cover, g.layer.density_kgm3);
  double water = cover > 0.95 ? std::max(by_light, g.layer.water_mm) : by_light;
  // A layer followed so far gives way to what the light shows within the half hour, not with every cloud.
  if (g.layer.water_mm > 0) water = g.layer.water_mm + (water - g.layer.water_mm) * light_counts;
  g.layer = seen_as(g.layer, water, now.air_c);
  // Where the light no longer tells one thickness from another, what comes through still tells how little it is.
  const double through = light_through(g.layer);
  if (cover < 0.95) g.thick_pass = 1;
  else if (now.light_tells && v.measured_w && v.expected_w > 0)
    g.thick_pass += (std::clamp(*v.measured_w / v.expected_w / through, 0.0, 1.0) - g.thick_pass) * light_counts;
  s.cover_before = std::max(cover, s.cover_before * 0.98);
  s.shown_under_snow += (now.share_of_clear - s.shown_under_snow) * (s.shown_under_snow > 0 ? 1.0 / 15 : 1);
  g.snow_seen = now.at;
  return news;
}

bool Glass::free_of_snow(int string, const Minute& now) {
  String& s = strings_[string];
  OnGlass& g = s.on_glass;
  const Verdict& v = now.verdict;
  bool news = false;
  const double would = 1 - light_through(g.layer);
  // The weather did not do that, and more comes through than the layer would pass under the brightest sky.
  const bool proven = v.measured_w && *v.measured_w > 1.3 * (1 - would) * v.clear_sky_w;
  if (s.cover_before > 0.5 && would > 0.4 && proven && may_be_cleared(string, now)) {
    accounts_.begin(string, now.at, g.layer, now.promised_kwh);
    s.minutes_under = 0;
  }
  // What comes through proves bare glass, not the cause given for what does not: a dark sky and a shadow look like snow.
  if (now.light_tells) {
    const bool stepped = g.snow_seen && s.shown_under_snow > 0 && now.share_of_clear > 2.5 * s.shown_under_snow && now.at - *g.snow_seen <= cleared_within;
    const double shown = v.cause == Cause::clear || stepped ? 1 : now.share_of_clear / brightest_share / (1 - std::clamp(v.soiling_loss.value_or(0), 0.0, 0.5));
    const double at_most = shown < bare_above ? snow::water_for_cover(1 - std::max(shown, 0.0), g.layer.density_kgm3) : 0;
    if (at_most < g.layer.water_mm) {
      news = g.layer.water_mm - at_most > 0.5;
      g.layer = seen_as(g.layer, at_most, now.air_c);
    }
  }
  if (g.layer.water_mm == 0) {
    s.shown_under_snow = s.cover_before = s.minutes_under = 0;
    g.thick_pass = 1;
    g.snow_seen.reset();
  }
  return news;
}

/// What dirt or an outage leaves of the string's power.
void Glass::what_stands(int string, const Minute& now) {
  OnGlass& g = strings_[string].on_glass;
  const Verdict& v = now.verdict;
  if (v.soiling_loss) g.soiling_loss = std::clamp(*v.soiling_loss, 0.0, 0.6);
  if (v.cause == Cause::outage) {
    const auto& described = rig_.strings[string];
    const bool dead = now.volts && *now.volts < std::max(2.0, dead_volts * described.module.v_mp_v * described.series);
    if (dead || !g.snow_seen || 1 - light_through(g.layer) < looks_dead)
      g.standing_share = std::clamp(v.performance_index.value_or(0), 0.0, 1.0);
  } else if (v.cause != Cause::dark && v.cause != Cause::stale && v.cause != Cause::unsure) {
    g.standing_share = 1 - g.soiling_loss;
  }
}

bool Glass::on_minute(const RigMinute& m, const std::vector<Verdict>& verdicts, const ForecastHour* said, std::optional<double> air_c,
                      std::optional<double> wind_ms, std::optional<double> promised_kwh) {
  const double falling_cm_per_h = said ? said->snow_cm.value_or(0) : 0;
  const bool snowing = falling_cm_per_h >= snowing_cm_per_h;
  bool news = snowing != snowing_;
  snowing_ = snowing;
  if (snowing) snow_fell_at_ = m.start;
  for (std::size_t s = 0; s < strings_.size() && s < verdicts.size(); ++s) {
    OnGlass& g = strings_[s].on_glass;
    const Verdict& v = verdicts[s];
    const double rated = std::max(1.0, rig_.strings[s].rated_w());
    const Minute now{m.start,
                     v,
                     s < m.strings.size() ? m.strings[s].voltage_v : std::nullopt,
                     air_c.value_or(0),
                     v.clear_sky_w >= light_that_tells * rated,
                     v.measured_w && v.clear_sky_w > 0 ? *v.measured_w / v.clear_sky_w : 1,
                     snow_fell_at_ && m.start - *snow_fell_at_ < snow::forecast_counts_for,
                     promised_kwh};
    const double sun_wm2 = std::clamp(v.expected_w / rated * 1000 / 0.88, 0.0, 1200.0);
    const snow::Exposure e{sun_wm2, now.air_c, falling_cm_per_h / 60, rig_.strings[s].tilt_deg, wind_ms.value_or(1),
                           v.clear_sky_w > 0 ? v.expected_w / v.clear_sky_w : 0.5};
    g.layer = layer_after(g.layer, e, 1.0 / 60);
    const int string = static_cast<int>(s);
    if (v.cause == Cause::snow || (v.cause == Cause::unsure && v.snow_cover)) news |= under_snow(string, now);
    else if (names_no_snow(v.cause) && v.confidence >= sure_enough) news |= free_of_snow(string, now);
    accounts_.on_minute(string, e, v.expected_w, v.measured_w);
    const bool under = 1 - light_through(g.layer) > (g.under_snow ? 0.7 : 1) * cover_that_counts;
    news |= under != g.under_snow;
    g.under_snow = under;
    what_stands(string, now);
  }
  return news;
}

void Glass::cleared(std::optional<int> string, Utc at, std::optional<double> promised_kwh) {
  for (std::size_t s = 0; s < strings_.size(); ++s) {
    if (string && *string != static_cast<int>(s)) continue;
    String& one = strings_[s];
    if (one.on_glass.layer.water_mm > 0.2) accounts_.begin(static_cast<int>(s), at, one.on_glass.layer, promised_kwh);
    one.on_glass.layer = {};
    one.on_glass.under_snow = false;
    one.on_glass.snow_seen.reset();
    one.cover_before = one.shown_under_snow = one.minutes_under = 0;
  }
}

std::string Glass::snapshot() const {
  nlohmann::json j{{"v", 1}, {"accounts", accounts_.snapshot()}, {"strings", nlohmann::json::array()}};
  if (snow_fell_at_) j["fell"] = ms_of(*snow_fell_at_);
  for (const String& s : strings_) {
    const OnGlass& g = s.on_glass;
    nlohmann::json row{{"layer", kept::json_of(g.layer)}, {"share", g.standing_share}, {"soil", g.soiling_loss}};
    if (g.snow_seen) row["seen"] = ms_of(*g.snow_seen);
    j["strings"].push_back(row);
  }
  return json_text(j);
}

void Glass::restore(std::string_view text) {
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  accounts_.restore(kept::text(j, "accounts"));
  snow_fell_at_ = kept::time(j, "fell");
  const auto rows = kept::rows(j, "strings");
  for (std::size_t s = 0; s < strings_.size() && s < rows.size(); ++s) {
    OnGlass& g = strings_[s].on_glass;
    g.layer = kept::layer(rows[s], "layer");
    g.standing_share = std::clamp(kept::number(rows[s], "share"), 0.0, 1.0);
    g.soiling_loss = std::clamp(kept::number(rows[s], "soil"), 0.0, 0.6);
    g.snow_seen = kept::time(rows[s], "seen");
    g.under_snow = 1 - light_through(g.layer) > cover_that_counts;
  }
}

}  // namespace fw::outlook
