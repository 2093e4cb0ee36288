#include "diagnosis/diagnosis.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "diagnosis/state.h"
#include "snow/layer.h"

namespace fw::diagnosis {

namespace {

constexpr double dark_below_deg = 8;          ///< lower than this no verdict is given
constexpr double dark_below_share = 0.04;     ///< of the rating
constexpr double rime_gone_min = 150, rime_below_c = 4, deepest_rime = 0.55;   ///< of sun; in the morning; share of the light it leaves; common practice, no source
constexpr double washed_flicker = 0.012;       ///< no cloud's edge is as calm
constexpr double bright_gap = 1.05, brightest_gap = 1.15;   ///< of clear power, between broken clouds, which add to it; more is a flash
constexpr double rimed_weight = 0.15;          ///< of a minute that may show rime
constexpr double cloud_shadow = 0.8, out_of_shadow = 0.25, just_passed_sure = 0.7;   ///< of clear power; what the next minute has more
constexpr double sticks_to_steep_glass = 0.35;   ///< of snowfalls, for an hour at least; an estimate
constexpr double beam_that_tells = 0.4;        ///< of the clear power: a string that sees little of the sun shows little of a cloud

std::vector<StringStates> states_of(const rig::Rig& rig) {
  std::vector<StringStates> out;
  for (const auto& s : rig.strings) out.emplace_back(s.series, s.parallel, 3);
  return out;
}

std::vector<double> hold_snow_of(const rig::Rig& rig) {
  std::vector<double> out;
  for (const auto& s : rig.strings) out.push_back(sticks_to_steep_glass + (1 - sticks_to_steep_glass) * snow::staying_share(s.tilt_deg));
  return out;
}

/// A belief as the share of verdicts that turn out right. Minutes repeat each other and the model's faults last, so the
/// filter is surer than it should be: see the reliability line of `score`.
double as_often_right(double belief) {
  constexpr double shrink = 0.6, most = 0.95;
  const double b = std::clamp(belief, 1e-6, 1 - 1e-6);
  return std::min(most, 1 / (1 + std::pow((1 - b) / b, shrink)));
}

/// How much a string moves; one whose sensor is coarse shows little, even when it seems still.
double unrest(const Motion& m) { return m.flicker + 0.3 * m.spread + 2 * m.noise; }

/// As if every row of modules worked.
Belief without_half(const StringStates& states, Belief belief) {
  for (int h = states.half_from; h < states.half_to; ++h) belief[0] += std::exchange(belief[static_cast<std::size_t>(h)], 0);
  return belief;
}

std::int32_t local_day(Utc t, double longitude_deg) {
  const double h = hours_of(t.time_since_epoch()) + longitude_deg / 15;
  return static_cast<std::int32_t>(std::floor(h / 24));
}

}  // namespace

Diagnosis::State::State(const rig::Rig& r, const Words& w)
    : rig(r), words(w), states(states_of(r)), filter(states, hold_snow_of(r)),
      site(roof::site_of(r.site, r.site.latitude_deg, r.site.longitude_deg)), stand(r) {
  for (const auto& s : r.strings) strings.emplace_back(roof::string_model(s));
}

Diagnosis::Diagnosis(const rig::Rig& rig, const Words& words) : state_(std::make_unique<State>(rig, words)) {}
Diagnosis::~Diagnosis() = default;
Diagnosis::Diagnosis(Diagnosis&&) noexcept = default;
Diagnosis& Diagnosis::operator=(Diagnosis&&) noexcept = default;

void Diagnosis::State::learn(const RigMinute& m) {
  if (site_look.sun_elevation_deg < 3) {
    for (StringMemory& s : strings) s.retrospect.close_day(s.calibration);
    skyline.close_day();
    return;
  }
  const std::int32_t day = local_day(m.start, m.longitude_deg);
  const bool cloudless = filter.cloudless() + filter.state().regime(Regime::behind) > 0.8;
  // as steady as no cloud is, thin or thick
  const bool steady = motion.known && motion.minutes >= 15 && motion.flicker < 0.008 + motion.noise && motion.spread < 0.016 + motion.noise;
  if (skyline.day() != day) skyline.close_day();
  const StringLook* brightest = nullptr;
  for (std::size_t i = 0; i < strings.size(); ++i) {
    const StringLook& l = strings[i].look;
    if (l.usable && l.carries() && filter.state().strings[i].held_back < 0.3 && (!brightest || l.measured_w / l.clear_w > brightest->measured_w / brightest->clear_w))
      brightest = &l;
  }
  if (brightest) {
    // what is there beyond the light from the rest of the sky
    const double level = brightest->measured_w / brightest->clear_w;
    const double rest = std::min(0.8, 1.3 * brightest->open_diffuse_w / brightest->clear_w);
    skyline.keep(day, site_look.sun_elevation_deg, sky.sun.azimuth_deg, (level - rest) / (1 - rest), std::log(level), 0.6 / brightest->measured_w);
  }
  double clear_sky = 0;   // that the light is near a clear sky's
  for (int k = 0; k < under_sky; ++k)
    if (share_at(k) > 0.75 && share_at(k) < 1.15) clear_sky += filter.shares()[static_cast<std::size_t>(k)];
  for (std::size_t i = 0; i < strings.size(); ++i) {
    StringMemory& s = strings[i];
    const StringLook& l = s.look;
    const bool free = l.usable && filter.state().strings[i].held_back < 0.1 && l.measured_w < 0.95 * l.limit_w;
    if (s.retrospect.day() != day) s.retrospect.close_day(s.calibration);
    if (!free) continue;
    double fit = 0, clean = 0, snow = 0, thick = 0, frost = 0, part_out = 0;
    const Belief& belief = filter.belief(static_cast<int>(i));
    for (int h = 0; h < states[i].size(); ++h) {
      const Kind k = states[i][h].kind;
      if (k == Kind::clean || k == Kind::film) fit += belief[static_cast<std::size_t>(h)];
      if (k == Kind::clean) clean += belief[static_cast<std::size_t>(h)];
      if (k == Kind::leaf || k == Kind::half) part_out += belief[static_cast<std::size_t>(h)];
      if (k == Kind::frost) frost += belief[static_cast<std::size_t>(h)];
      if (k == Kind::snow) snow += belief[static_cast<std::size_t>(h)];
      if (k == Kind::snow && states[i][h].pass < snow_below) thick += belief[static_cast<std::size_t>(h)];
    }
    // at first only what a high sun shows: a hill or a few degrees of tilt bend the low one
    const bool fresh = !s.calibration.settled();
    const bool learns = l.carries() && (fresh ? filter.cloudless() > 0.8 && site_look.sun_elevation_deg > 9 : cloudless) && fit > 0.85;
    // rime dims every cold morning alike and would pass for a plane that leans away, or for haze
    const double share = l.measured_w / l.clear_w;
    const bool may_be_rimed = minutes_of_sun < rime_gone_min && site_look.air_c.value_or(0) < rime_below_c && share > deepest_rime && share < 1;
    s.retrospect.keep({day, sky, s.paper_expected, l.measured_w, share, learns || may_be_rimed, clear_sky, snow, snow_may_lie});
    const double of_clean = share;
    const bool high = site_look.sun_elevation_deg > std::max(10.0, 0.6 * highest_sun_deg);
    const bool full = of_clean > 0.96 && of_clean < 1.06;
    const bool as_clean = clean > 0.85 || full;
    const bool clear_minute = (learns && filter.cloudless() > 0.8 && as_clean) || (steady && l.carries() && of_clean > 0.7 && of_clean < 1.08 && (full || thick + frost + part_out < 0.15));
    const bool shows_glass = !may_be_rimed || of_clean > 0.97;
    const bool calm = motion.known && motion.flicker < washed_flicker + motion.noise;
    if (s.film.claimed() && calm && of_clean < brightest_gap && (filter.state().regime(Regime::broken) < 0.5 || of_clean > bright_gap)) s.film.see_washed(of_clean);
    if (clear_minute && high && shows_glass && (s.icy_minutes <= 0 || of_clean > 0.97) && l.shade_total > 0.97 && s.calibration.settled()) s.film.learn(day, of_clean, s.calibration, film_of_others(i));
    // whatever the light, as long as the glass was clean
    if (l.has_volts && l.carries() && clean > 0.9) s.volts_bias.learn(l.measured_w / l.clear_w, l.volts_ln + s.volts_bias.at(l.measured_w / l.clear_w));
    if (!learns) continue;
    s.calibration.learn(day, sky, s.paper_expected, l.measured_w, may_be_rimed ? rimed_weight : 1, snow_may_lie);
  }
}

std::optional<double> Diagnosis::State::film_of_others(std::size_t string) const {
  double sum = 0;
  int known = 0;
  for (std::size_t i = 0; i < strings.size(); ++i)
    if (i != string && strings[i].film.known()) {
      sum += std::max(0.0, strings[i].film.own_loss());
      ++known;
    }
  return known ? std::optional(sum / known) : std::nullopt;
}

bool Diagnosis::State::nothing_tells() const {
  const bool was_forecast = site_look.has_forecast && site_look.snow_lately;
  const FilterState& f = filter.state();
  if (was_forecast || f.regime(Regime::cloudless) + f.regime(Regime::behind) > 0.3 || f.regime(Regime::broken) > 0.5) return false;
  double least = 9, most = -9;
  for (const StringMemory& s : strings) {
    if (s.snow.on) return false;      // it has been told already
    const StringLook& l = s.look;
    if (!l.usable) continue;
    if (!l.carries() || (l.has_volts && l.volts_ln < -4 * l.volts_sigma)) return false;
    least = std::min(least, l.ratio_ln);
    most = std::max(most, l.ratio_ln);
  }
  return most - least < 0.25;
}

bool Diagnosis::State::half_tells(std::size_t string) const {
  const StringMemory& s = strings[string];
  if (!s.calibration.settled()) return false;
  if (s.half.on || filter.cloudless() > 0.5) return true;
  for (std::size_t i = 0; i < strings.size(); ++i)
    if (i != string && strings[i].look.usable && strings[i].look.carries() && filter.belief(static_cast<int>(i))[0] > 0.5) return true;
  return false;
}

void Diagnosis::State::judge(const RigMinute& m) {
  const bool cannot_tell = nothing_tells();
  const auto& shares = filter.shares();
  double share = 0, cloudy = 0, behind = 0;
  for (std::size_t k = 0; k < share_count; ++k) {
    const bool hidden = static_cast<int>(k) >= under_sky;
    const double at = hidden ? 1 : share_at(static_cast<int>(k));
    share += shares[k] * at;
    if (hidden) behind += shares[k];
    else if (at < cloud_below) cloudy += shares[k];
  }
  // Lost to the cold only where somebody holds charging off for it; a full bank on a cold day is a full bank.
  bool told = m.permit_known || m.charge_allowed.has_value();
  bool held_off = (m.permit_known && !m.permit) || !m.charge_allowed.value_or(true);
  for (const StringMinute& s : m.strings) {
    told = told || s.stage.has_value();
    held_off = held_off || s.stage == Stage::inhibited;
  }
  const bool bank_cold = m.cell_min_c && *m.cell_min_c <= rig.bank.window.resume_c && (held_off || (!told && m.soc.value_or(0) < 0.95));
  std::vector<double> open_w;
  for (std::size_t i = 0; i < strings.size(); ++i) {
    StringMemory& s = strings[i];
    const StringLook& l = s.look;
    const StringMinute& in = m.strings[i];
    Verdict& v = s.verdict;
    v = {};
    v.utc = m.start;
    v.string = static_cast<int>(i);
    v.sun_elevation_deg = site_look.sun_elevation_deg;
    if (in.live && in.power_w) v.measured_w = *in.power_w;
    v.clear_sky_w = std::min(l.clear_w, l.limit_w);

    double open_now = 0, expected = 0;
    if (site_look.sun_elevation_deg > 0) {
      const StringState clean{};
      StringLook open = l, clean_glass = l;
      clean_glass.film_pass = open.film_pass = 1;
      open.beam_w = l.open_beam_w;
      open.diffuse_w = l.open_diffuse_w;
      for (std::size_t k = 0; k < share_count; ++k) {
        if (shares[k] < 1e-6) continue;
        open_now += shares[k] * predicted_w(open, sky_shares, static_cast<int>(k) >= under_sky ? cloudless_node : static_cast<int>(k), clean);
        expected += shares[k] * predicted_w(clean_glass, sky_shares, static_cast<int>(k), clean);
      }
    }
    v.expected_w = expected;
    const double rated = s.calibration.paper().rated_w();
    const double shade_now = open_now > 1 ? std::clamp(expected / open_now, 0.01, 1.5) : 1;
    const Belief& all = filter.belief(static_cast<int>(i));
    s.opinion = opinion_of(states[i], half_tells(i) ? all : without_half(states[i], all), filter.state().strings[i].held_back, l, share, cloudy,
                           behind, shade_now, s.calibration.settled() && s.film.known(), s.icy_minutes > 0);
    // a controller about to rest takes the last few per cent away, not a cloud
    const bool resting = in.stage && (*in.stage == Stage::floating || *in.stage == Stage::absorption);
    if (resting && s.opinion.cause == Cause::cloud && l.carries() && l.ratio_ln > -0.17) s.opinion.cause = Cause::clear;
    if (s.opinion.cause == Cause::snow && cannot_tell) {
      s.opinion.cause = Cause::unsure;
      s.opinion.reason = "cloud or snow";
      s.opinion.snow = std::min(s.opinion.snow, 0.5);
    }
    const Opinion& o = s.opinion;
    const bool too_dark = site_look.sun_elevation_deg < dark_below_deg || l.clear_w < dark_below_share * rated;
    v.cause = o.cause;
    v.reason = o.reason;
    v.confidence = as_often_right(o.confidence);
    if (site_look.sun_elevation_deg <= 0 || !m.clock_trusted) {
      v.cause = Cause::dark;
      v.reason = m.clock_trusted ? "night" : "clock not set";
      v.confidence = 1;
    } else if (s.off_by_owner) {
      v.cause = Cause::outage;
      v.reason = "switched off by its owner";
      v.confidence = 0.99;
    } else if (!in.live || s.frozen) {
      v.cause = Cause::stale;
      v.reason = s.frozen ? "frozen" : "silent";
      v.confidence = 0.97;
      if (s.frozen) v.measured_w.reset();
    } else if (m.bank_voltage_v && *m.bank_voltage_v < 0.75 * rig.bank.nominal_v) {
      v.cause = Cause::curtailed;
      v.reason = "bank has switched itself off";
      v.confidence = 0.95;
    } else if (l.over_voltage) {
      v.cause = Cause::curtailed;
      v.reason = "over-voltage stop";
      v.confidence = 0.97;
    } else if (too_dark) {
      v.cause = Cause::dark;
      v.reason = "too little light to judge";
      v.confidence = 1;
    } else if (l.measured_w > 0.97 * l.limit_w) {
      v.cause = Cause::clear;
      v.reason = "controller at its limit";
      v.confidence = 0.97;
    } else {
      switch (o.cause) {
        case Cause::snow: v.reason = o.frost > o.snow ? "frost" : "snow on the glass"; break;
        case Cause::curtailed:
          v.reason = site_look.charge_allowed && !*site_look.charge_allowed ? (bank_cold ? "bank too cold to charge" : "bank refuses charge")
                     : !site_look.permit                                   ? "charging held off"
                                                                            : "bank full";
          break;
        case Cause::outage:
          v.reason = o.half > o.open ? "half lost" : l.has_volts && l.volts_to_open > 0.5 ? "controller" : "disconnected";
          break;
        case Cause::shade: v.reason = o.leaf > 0.5 * o.confidence ? "local obstruction" : "shade"; break;
        default: break;
      }
    }
    // The sun between two clouds is no clear sky yet: one minute more belongs to the cloud.
    const double made_share = l.clear_w > 1 ? l.measured_w / l.clear_w : 1;
    s.cloud_just_passed = v.cause == Cause::clear && s.in_cloud_share < cloud_shadow && made_share > s.in_cloud_share + out_of_shadow;
    s.in_cloud_share = v.cause == Cause::cloud ? made_share : 1;
    if (s.cloud_just_passed) {
      v.cause = Cause::cloud;
      v.confidence = std::min(v.confidence, just_passed_sure);
    }
    if (s.film.known()) {
      v.soiling_loss = s.film.loss();
      v.soiling_low = s.film.low();
      v.soiling_high = s.film.high();
    }
    if (expected > 1 && v.measured_w) v.performance_index = *v.measured_w / expected;
    if (v.cause == Cause::snow && v.reason != "frost") {
      v.snow_cover = 1 - o.snow_pass;
      // light falls to 1/e in about 3 cm of settled snow (order of magnitude; snow/ has the law)
      v.snow_cm = std::min(30.0, -3.0 * std::log(std::max(o.snow_pass, 1e-4)));
    }
    open_w.push_back(open_now);
    if (v.cause != s.worded_cause || ++s.worded_age >= 10 || s.verdict.evidence.empty()) {
      s.worded_cause = v.cause;
      s.worded_age = 0;
    }
  }
  book(open_w, bank_cold);
}

void Diagnosis::State::follow_stand(const RigMinute& m) {
  const Stand::Change change = stand.follow(m);
  if (!change.attitude && !change.place) return;
  if (change.place) {
    site = roof::site_of(rig.site, stand.latitude_deg(), stand.longitude_deg());
    skyline.forget();
  }
  const auto planes = stand.planes();
  for (std::size_t i = 0; i < strings.size(); ++i) strings[i].calibration.stand_on(planes[i]);
}

/// On the move nobody knows which way a plane leans: as if flat, and only a gross shortfall is called unclear.
void Diagnosis::State::judge_on_the_move(const RigMinute& m) {
  const auto sky_now =
      sky::clear_state(roof::site_of(rig.site, m.latitude_deg, m.longitude_deg), m.start, ephemeris, m.air_c.value_or(0), sky.albedo);
  roof::Weather weather;
  if (m.air_c) weather.air_c = *m.air_c;
  for (std::size_t i = 0; i < strings.size(); ++i) {
    Verdict& v = strings[i].verdict;
    v = {};
    v.utc = m.start;
    v.string = static_cast<int>(i);
    v.sun_elevation_deg = site_look.sun_elevation_deg;
    v.reason = "on the move";
    const StringMinute& in = m.strings[i];
    const auto flat = roof::expected(strings[i].calibration.corrected().on({0, 180}), sky_now, weather, m.bank_voltage_v.value_or(13.3));
    v.clear_sky_w = v.expected_w = flat.limited_w;
    if (in.live && in.power_w) v.measured_w = *in.power_w;
    if (v.sun_elevation_deg < 10 || v.clear_sky_w < 0.05 * rig.strings[i].rated_w()) {
      v.cause = Cause::dark;
      v.confidence = 0.9;
    } else if (!v.measured_w) {
      v.cause = Cause::stale;
      v.confidence = 0.9;
    } else {
      v.performance_index = *v.measured_w / v.expected_w;
      v.cause = *v.performance_index > 0.5 ? Cause::clear : Cause::unsure;
      v.confidence = 0.6;
    }
    v.split.made_w = v.measured_w.value_or(0);
    (v.measured_w ? v.split.unexplained_w : v.split.no_data_w) = v.clear_sky_w - v.split.made_w;
  }
}

std::vector<Verdict> Diagnosis::on_minute(const RigMinute& m) {
  State& st = *state_;
  st.follow_stand(m);
  if (st.last) {
    const auto gap = std::clamp((m.start - *st.last) / minutes{1}, std::int64_t{1}, std::int64_t{3 * 1440});
    st.waiting_min += static_cast<double>(gap - 1);
    if (gap > 1)
      for (auto& s : st.strings) s.track.clear();
  }
  st.last = m.start;
  st.look_at(m);
  // in the dark nothing is seen: let time pass in larger steps
  st.waiting_min += 1;
  std::vector<double> seen;
  for (const StringMemory& s : st.strings) seen.push_back(s.look.seen);
  if (st.site_look.sun_elevation_deg > -1 || st.waiting_min >= 10)
    for (; st.waiting_min >= 1; st.waiting_min -= std::min(st.waiting_min, 10.0))
      st.filter.pass(st.site_look, seen, st.minutes_of_sun, std::min(st.waiting_min, 10.0));

  bool any = false;
  std::vector<StringLook> looks;
  std::vector<double> hints;
  st.motion = {};
  for (std::size_t i = 0; i < st.strings.size(); ++i) {
    StringMemory& s = st.strings[i];
    const StringLook& l = s.look;
    any |= l.usable;
    looks.push_back(l);
    hints.push_back(held_back_hint(st.site_look, m.strings[i].stage));
    const bool free = l.usable && l.carries() && st.filter.state().strings[i].held_back < 0.3 && l.measured_w < 0.95 * l.limit_w;
    s.track.add(free ? l.ratio_ln : NAN, std::max(0.0015, 0.3 / std::max(1.0, l.measured_w)));
    if (free) {
      // what the sky does it does to all; a shadow's edge or sliding snow moves one
      const Motion motion = s.track.motion();
      if (motion.known && l.open_beam_w > beam_that_tells * l.clear_w &&
          (!st.motion.known || unrest(motion) < unrest(st.motion))) st.motion = motion;
    }
  }
  const bool moving = st.stand.moving();
  if (any && m.clock_trusted && !moving) {
    st.filter.see(st.site_look, looks, st.sky_shares, st.motion, hints);
    st.learn(m);
  }
  if (moving) st.judge_on_the_move(m);
  else st.judge(m);
  st.conditions(m);
  std::vector<Verdict> out;
  for (std::size_t i = 0; i < st.strings.size(); ++i) {
    st.strings[i].verdict.evidence = evidence_words(st, static_cast<int>(i));
    out.push_back(st.strings[i].verdict);
  }
  return out;
}

void Diagnosis::on_note(const Note& note) {
  State& st = *state_;
  const auto each = [&](auto&& f) {
    for (std::size_t i = 0; i < st.strings.size(); ++i)
      if (!note.string || static_cast<std::size_t>(*note.string) == i) f(st.strings[i]);
  };
  switch (note.event) {
    case NoteEvent::panels_cleared: st.filter.cleared(note.string.value_or(-1)); break;
    case NoteEvent::string_off:
      each([&](StringMemory& s) {
        s.off_by_owner = true;
        s.off_since = note.utc;
      });
      break;
    case NoteEvent::string_on: each([](StringMemory& s) { s.off_by_owner = false; }); break;
    case NoteEvent::rig_moved: st.skyline.forget(); [[fallthrough]];
    case NoteEvent::rig_turned: each([](StringMemory& s) { s.calibration.forget_shade(); }); break;
    default: break;
  }
}

const roof::Calibration& Diagnosis::calibration(int string) const {
  return state_->strings[static_cast<std::size_t>(string)].calibration;
}

std::vector<std::string> Diagnosis::learned() const {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < state_->strings.size(); ++i)
    out.push_back(Words::capital(Words::named(state_->rig.strings[i].name)) + " string: " + state_->strings[i].calibration.explanation());
  return out;
}

}  // namespace fw::diagnosis
