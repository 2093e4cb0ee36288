#include <algorithm>
#include <array>
#include <cmath>

#include "diagnosis/state.h"

namespace fw::diagnosis {

std::vector<std::string> evidence_words(const Diagnosis::State& st, int string) {
  const auto i = static_cast<std::size_t>(string);
  const StringMemory& s = st.strings[i];
  const StringLook& l = s.look;
  const Verdict& v = s.verdict;
  std::vector<std::string> out;
  const auto say = [&](std::string text) { out.push_back(std::move(text)); };
  if (v.cause == Cause::dark) {
    say("too little light to judge");
    return out;
  }
  if (v.cause == Cause::stale) {
    say(s.frozen ? "not a digit has moved while the sun did" : "no word from this string");
    return out;
  }
  if (v.measured_w && v.clear_sky_w > 1)
    say("makes " + Words::percent(*v.measured_w / v.clear_sky_w) + " of what a clear sky gives");
  const StringMemory* best = nullptr;
  for (std::size_t j = 0; j < st.strings.size(); ++j)
    if (j != i && st.strings[j].look.usable && st.strings[j].opinion.held_back < 0.3 &&
        (!best || st.strings[j].look.ratio_ln > best->look.ratio_ln))
      best = &st.strings[j];
  if (best && best->look.carries() && l.usable) {
    const double theirs = std::exp(best->look.ratio_ln), mine = l.carries() ? std::exp(l.ratio_ln) : 0;
    const std::string who = Words::named(st.rig.strings[static_cast<std::size_t>(best - st.strings.data())].name);
    if (theirs > mine + 0.15) say(who + " makes " + Words::percent(theirs) + " of its own");
    else if (std::abs(theirs - mine) < 0.1) say(who + " does the same");
  }
  if (st.motion.known && st.motion.minutes >= 12 && st.motion.spread < 0.02) say("steady, as clouds are not");
  if (st.motion.known && st.motion.flicker > 0.05) say("the light comes and goes");
  switch (v.cause) {
    case Cause::snow:
    case Cause::unsure:
      if (l.has_volts && !l.carries() && l.volts_to_open > 0.3 && l.volts_to_open < 0.93) say("working voltage without current");
      if (l.has_volts && l.carries() && l.volts_ln < -0.05) say("voltage too low for the current");
      if (l.has_volts && l.carries() && l.volts_ln > 0.03) say("voltage too high for the current");
      if (st.site_look.forecast_snow) say("snow was forecast");
      if (st.site_look.air_c && *st.site_look.air_c < 2) say("air at " + st.words.temperature(*st.site_look.air_c));
      break;
    case Cause::curtailed:
      if (st.site_look.charge_allowed && !*st.site_look.charge_allowed) say("the bank refuses charge");
      if (st.site_look.soc && *st.site_look.soc > 0.95) say("bank at " + Words::percent(*st.site_look.soc));
      if (l.has_volts && l.carries() && l.volts_ln > 0.02) say("voltage above its working point");
      break;
    case Cause::outage:
      if (l.has_volts && !l.carries()) say(Words::volts(l.volts) + " at the controller");
      if (s.opinion.half > 0.5) say("half the current at the usual voltage");
      break;
    case Cause::cloud:
      if (s.cloud_just_passed) say("a cloud has just passed");
      break;
    case Cause::shade:
      if (s.opinion.leaf > 0.5) say("a steady step in voltage at the usual current");
      else say("low at this place of the sun");
      break;
    default: break;
  }
  return out;
}

std::string Diagnosis::explain(int string) const {
  const State& st = *state_;
  const auto i = static_cast<std::size_t>(string);
  const FilterState& f = st.filter.state();
  std::string out = "sky";
  for (int r = 0; r < regime_count; ++r) out += " " + fixed(f.regime(static_cast<Regime>(r)), 2);
  out += " hidden " + fixed(st.site_look.hidden, 2) + " spell " + fixed(f.spell(), 3) + " held " + fixed(f.strings[i].held_back, 2) + " |";
  static constexpr std::array<const char*, 8> kinds{"clean", "film", "frost", "snow", "shade", "leaf", "half", "open"};
  std::array<double, 8> sum{}, pass{};
  const Belief b = st.filter.belief(string);
  for (int h = 0; h < st.states[i].size(); ++h) {
    const auto k = static_cast<std::size_t>(st.states[i][h].kind);
    sum[k] += b[static_cast<std::size_t>(h)];
    pass[k] += b[static_cast<std::size_t>(h)] * st.states[i][h].pass;
  }
  for (std::size_t k = 0; k < kinds.size(); ++k)
    if (sum[k] > 0.005) out += std::string(" ") + kinds[k] + " " + fixed(sum[k], 3) + "@" + fixed(pass[k] / sum[k], 2);
  const Motion& m = st.motion;
  if (m.known) out += " | motion " + fixed(m.flicker, 4) + " " + fixed(m.spread, 4) + " noise " + fixed(m.noise, 4);
  const StringLook& l = st.strings[i].look;
  if (l.has_volts) out += " | volts " + fixed(l.volts_ln, 3) + " " + fixed(l.volts_to_open, 2);
  return out;
}

}  // namespace fw::diagnosis
