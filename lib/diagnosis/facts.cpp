// The conditions in words for the owner.
#include <algorithm>
#include <cmath>

#include "diagnosis/state.h"

namespace fw::diagnosis {

namespace {

std::string string_named(const std::string& name) { return Words::capital(Words::named(name)) + " string"; }

constexpr double says_something = 0.03;  ///< of the rating: in less light figures say nothing

/// "62 of 840 W" behind `lead`; nothing at night and in the first light, when figures say nothing.
std::string figures(const char* lead, double made, double could, double rated_w) {
  return could >= says_something * rated_w ? lead + Words::watts_of(made, could) : "";
}

/// What is left with one of so many branches lost.
double left_of(int parallel) { return 1 - 1.0 / std::max(2, parallel); }
std::string share_words(int parallel) {
  return parallel <= 2 ? "half" : parallel == 3 ? "two thirds" : parallel == 4 ? "three quarters" : "about " + Words::percent(left_of(parallel));
}

}  // namespace

std::vector<Fact> Diagnosis::facts(Now now, const Remembered& remembered) const {
  const State& st = *state_;
  const Words& words = st.words;
  Facts out(remembered);

  // the strongest neighbour, as a witness
  const auto witness = [&](std::size_t i) -> std::string {
    const StringMemory* best = nullptr;
    for (std::size_t j = 0; j < st.strings.size(); ++j)
      if (j != i && st.strings[j].look.usable && st.strings[j].look.carries() &&
          (!best || st.strings[j].look.measured_w > best->look.measured_w))
        best = &st.strings[j];
    if (!best) return "";
    return " while " + Words::named(st.rig.strings[static_cast<std::size_t>(best - st.strings.data())].name) + " makes " + Words::watts(best->look.measured_w);
  };

  // a snowfall is one story: the strings under it share one message
  double snow_made = 0, snow_clear = 0, snow_rated = 0, snow_confidence = 1;
  Utc snow_since = Utc::max();
  int covered = 0;
  // Glass that makes what a clear sky gives is not called covered, whatever is still believed of it.
  const auto under_snow = [](const StringMemory& s) {
    const double made = s.verdict.measured_w.value_or(0), clear = s.verdict.clear_sky_w;
    const bool shows_bare = clear >= says_something * s.calibration.paper().rated_w() && made > 0.85 * clear;
    return s.snow.on && s.snow.level >= 0.5 && !shows_bare;
  };
  for (const StringMemory& s : st.strings)
    if (under_snow(s)) {
      ++covered;
      snow_rated += s.calibration.paper().rated_w();
      snow_made += s.verdict.measured_w.value_or(0);
      snow_clear += s.verdict.clear_sky_w;
      snow_since = std::min(snow_since, s.snow.since);
      snow_confidence = std::min(snow_confidence, s.snow.level);
    }
  std::string group_text;
  if (covered > 1) {
    const bool every = covered == static_cast<int>(st.strings.size());
    std::string who = every ? (covered == 2 ? "Both strings" : "All strings") : "";
    if (!every) {
      int named = 0;
      for (std::size_t i = 0; i < st.strings.size(); ++i)
        if (under_snow(st.strings[i])) {
          who += (named == 0 ? "" : named + 1 == covered ? " and " : ", ") + Words::named(st.rig.strings[i].name);
          ++named;
        }
      who = Words::capital(who) + " strings";
    }
    group_text = who + " " + std::string(Words::certainty(snow_confidence)) + " under snow since " + words.when(snow_since, now.utc) +
                 figures(": ", snow_made, snow_clear, snow_rated) + ".";
  }

  for (std::size_t i = 0; i < st.strings.size(); ++i) {
    const StringMemory& s = st.strings[i];
    const StringLook& l = s.look;
    const std::string& name = st.rig.strings[i].name;
    const std::string who = string_named(name);
    const double rated = s.calibration.paper().rated_w();
    const double made = s.verdict.measured_w.value_or(0), clear = s.verdict.clear_sky_w;
    const auto sure = [](double level) { return std::string(Words::certainty(std::max(level, 0.5))); };
    const auto fact = [&](const char* alarm, bool condition, const Condition& c) {
      Fact* const f = out.add(alarm, name, condition);
      if (!f) return f;
      f->confidence = c.on ? std::clamp(c.level, 0.5, 0.99) : c.level;
      if (std::string_view(alarm) != "stale") f->hidden_by.push_back("stale-" + name);
      return f;
    };

    if (Fact* snow = fact("snow", s.snow.on, s.snow)) {
      snow->group = "snow";
      snow->group_text = group_text;
      if (s.snow.on && !under_snow(s)) {
        // On its way out: neither advice nor a word by itself.
        snow->text = who + " seems to be coming free of snow" + figures(": ", made, clear, rated) + ".";
        snow->worth_saying = false;
      } else if (s.snow.on)
        snow->text = who + " " + sure(s.snow.level) + " under snow since " + words.when(s.snow.since, now.utc) + figures(": ", made, clear, rated) + ".";
      else if (s.snow.until != Utc{})
        // It may wait for the others of its group, and for the morning: another day is named.
        snow->over_text = who + (s.some_snow_left ? " mostly free of snow " : " clear again ") +
                         (words.local_date(s.snow.until) == words.local_date(now.utc) ? "at " : "since " + words.day(s.snow.until) + " ") +
                         words.clock(s.snow.until) + "." +
                         (s.snow.lost_kwh >= 0.05 ? " Snow cost " + Words::energy(s.snow.lost_kwh) + "." : "");
    }

    if (Fact* soiling = fact("soiling", s.soiling.on, s.soiling)) {
      soiling->hidden_by.push_back("snow-" + name);
      if (s.soiling.on)
        soiling->text = who + " makes " + std::to_string(static_cast<int>(std::lround(100 * s.film.low()))) + " to " +
                       Words::percent(s.film.high()) + " less than at its best on clear days. Film on the glass?";
      else if (s.soiling.until != Utc{})
        soiling->over_text = who + " makes its usual share again.";
    }

    if (Fact* shade = fact("shade", s.shade.on, s.shade)) {
      shade->hidden_by.push_back("snow-" + name);
      if (s.shade.on)
        shade->text = who + " makes " + Words::percent(1 - made / std::max(1.0, s.verdict.expected_w)) + " less since " + words.when(s.shade.since, now.utc) +
                     ", by a steady step in voltage at the usual current. Perhaps a leaf or dropping on one panel. Worth a look from the ground first.";
      else if (s.shade.until != Utc{})
        shade->over_text = who + " has its usual voltage again.";
    }

    const bool reminder = s.off_by_owner && s.may_switch_on;
    const bool out_now = reminder || (!s.off_by_owner && (s.outage.on || s.half.on));
    if (Fact* outage = fact("outage", out_now, s.half.on && !s.outage.on ? s.half : s.outage)) {
      if (reminder) {
        outage->confidence = 0.99;
        outage->priority = 0;
        outage->text = who + " is still switched off. The bank may be charged and the sun is up: it can be switched on again.";
      } else if (s.off_by_owner) {
        // The owner knows.
      } else if (s.outage.on && l.has_volts && l.volts_to_open > 0.5) {
        // Voltage without light to judge it by: neither dead any more nor proven to be back.
        outage->text = who + " has voltage again, " + Words::volts(l.volts) + " at the controller; it was dead since " + words.when(s.outage.since, now.utc) +
                       ". Whether it makes power shows when the sun is higher.";
        outage->worth_saying = false;
      } else if (s.outage.on) {
        outage->text = who + " dead since " + words.when(s.outage.since, now.utc) + witness(i) + (l.has_volts ? "; " + Words::volts(std::abs(l.volts)) + " at the controller" : "") +
                      ". Looks like a plug, switch or breaker. Have it looked at by someone qualified.";
      } else if (s.half.on) {
        // A minute under a cloud or at dawn shows another share than the condition was read from.
        const double left = left_of(st.rig.strings[i].parallel);
        const bool shows = std::abs(made - left * s.verdict.expected_w) < 0.15 * s.verdict.expected_w;
        outage->text = who + " makes " + share_words(st.rig.strings[i].parallel) + " of what it should since " + words.when(s.half.since, now.utc) +
                      (shows ? figures(", ", made, s.verdict.expected_w, rated) : "") +
                      ", at its usual voltage. Looks like a lost parallel branch: plug or fuse. Have it looked at by someone qualified.";
      } else if (s.outage.until != Utc{} || s.half.until != Utc{}) {
        outage->over_text = who + " is back.";
      }
    }

    const bool idle = s.controller.on;
    if (Fact* controller = fact("controller", idle || s.float_low.on, idle ? s.controller : s.float_low)) {
      if (idle)
        controller->text = Words::capital(Words::named(name)) + " controller does not charge since " + words.when(s.controller.since, now.utc) + ": " +
                          Words::volts(l.volts) + " but " + Words::watts_of(made, s.verdict.expected_w) + witness(i) +
                          ", and the bank is willing. Have the controller looked at.";
      else if (s.float_low.on)
        controller->text = Words::capital(Words::named(name)) + " controller rests in float while the bank is at " + Words::percent(st.site_look.soc.value_or(0)) + ": " +
                          Words::watts_of(made, s.verdict.expected_w) + ". Its settings or the controller: worth a look.";
      else if (s.controller.until != Utc{} || s.float_low.until != Utc{})
        controller->over_text = Words::capital(Words::named(name)) + " controller charges again.";
    }

    const bool may_reach = !s.over_voltage.on && s.cold_open_v > 0;
    if (Fact* over = fact("over_voltage", s.over_voltage.on || may_reach, s.over_voltage)) {
      const double limit_v = s.calibration.paper().sheet().controller.max_pv_voltage_v;
      if (s.over_voltage.on) {
        over->text = Words::capital(Words::named(name)) + " controller stopped by over-voltage: " + fixed(s.over_voltage_volts, 1) + " V, limit " + fixed(limit_v, 0) +
                    " V, on a cold clear morning. It should start as the glass warms. Nothing to do.";
      } else if (may_reach) {
        over->confidence = 0.8;
        over->text = who + " may reach " + fixed(s.cold_open_v, 1) + " V tomorrow morning at " + words.temperature(s.cold_air_c) + "; its controller stops at " +
                    fixed(limit_v, 0) + " V and starts again as the glass warms. Fewer modules in a row would cure it: ask someone qualified.";
      }
    }

    if (Fact* stale = fact("stale", s.stale.on, s.stale)) {
      if (s.stale.on) {
        const Utc since = s.silent_since.value_or(s.stale.since);
        stale->text = s.frozen ? who + " sends the same value since " + words.when(since, now.utc) + " while the sun moves. It is not used until it changes."
                              : "No word from the " + Words::named(name) + " string since " + words.when(since, now.utc) + ". It is not watched until it is back; look at its gateway.";
      } else if (s.stale.until != Utc{}) {
        stale->over_text = who + " is heard again.";
      }
    }
  }
  return out.take();
}

}  // namespace fw::diagnosis
