#include "guard/guard.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <nlohmann/json.hpp>

#include "guard/cells.h"
#include "guard/charger_line.h"
#include "guard/foresight.h"
#include "guard/gate.h"
#include "guard/halves.h"
#include "guard/heater_line.h"
#include "guard/wire.h"
#include "rig/alarm_limits.h"
#include "units/json.h"
#include "units/text.h"
#include "words/about_when.h"

namespace fw::guard {

namespace {

constexpr Span fresh = minutes{15};              // of what only supports a judgement
constexpr Span soc_fresh = minutes{30};
constexpr Span unpermitted_for = seconds{60};
constexpr Span unit_doubt_settles = minutes{30};  // long enough either way
constexpr Span apart_for = minutes{15};
constexpr Span refused_for = minutes{20};
constexpr Span silent_at_start = minutes{15};

struct Heard {
  double value = 0;
  Elapsed at{};
  bool known = false;
  std::optional<double> within(Elapsed now, Span age) const {
    return known && now - at <= age ? std::optional<double>(value) : std::nullopt;
  }
};

}  // namespace

struct Guard::State {
  State(const rig::Rig& r, const Words& w, const Decisions& d)
      : rig(r), words(w), decide(d), cells(r, d), gate(r.bank, d), foresight(r, w), halves(r.bank.parallel_batteries, r.bank.capacity_ah, r.bank.nominal_v), string_voltage(r.strings.size()),
        string_power(r.strings.size()), output_current(r.strings.size()), stage(r.strings.size()) {
    for (int i = 0; i < static_cast<int>(r.chargers.size()); ++i) chargers.emplace_back(r, i, d);
    for (const auto& h : r.heaters) heaters.emplace_back(h);
    for (int i = 0; i < cells.count(); ++i) {
      sensor_subjects.push_back(subject(cells.name(i), i));
      const auto* s = source_of(i);
      unit_confirmed.push_back(s && s->unit_confirmed);
    }
  }

  const rig::Rig& rig;
  const Words& words;
  const Decisions& decide;
  const double unpermitted_from_a = rig::alarm_limit("charging_unpermitted", rig);
  Cells cells;
  std::vector<std::string> sensor_subjects;      ///< of the facts about each
  std::vector<bool> unit_confirmed;              ///< by the owner, of each
  Gate gate;
  Foresight foresight;
  Halves halves;
  std::vector<ChargerLine> chargers;
  std::vector<HeaterLine> heaters;
  std::vector<Effect> effects;

  Now now{};
  bool begun = false;
  Elapsed begun_at{};
  bool ever_heard = false;
  std::optional<double> last_min, last_max;

  Heard bank_current, bank_voltage, soc, air, cabin, allowed, own_heater, own_heater_w;
  std::vector<Heard> string_voltage, string_power, output_current, stage;
  bool milliamps = false;

  bank::UnitDoubt unit = bank::UnitDoubt::none;
  int unit_sensor = 0;
  double unit_c = 0;
  std::optional<Elapsed> unit_doubted_at, unit_right_at;   ///< since when it fits the other unit; fits as read
  bool unit_settled = false;                    ///< held so long that only the owner can lift it

  std::optional<Elapsed> charging_since;
  std::optional<Elapsed> cold_draw_since;
  std::optional<Elapsed> refused_since;
  enum class Holder { none, battery, controller } holder = Holder::none;

  std::string reason;
  Block reason_block = Block::none;
  bool reason_open = false;

  bool has_cells() const { return cells.count() > 0; }

  // ---- time --------------------------------------------------------------------------------

  /// Asked with every reading and every message, and moved only by a step.
  std::optional<Elapsed> due() const {
    if (!due_known) due_at = soonest(), due_known = true;
    assert(due_at == soonest());
    return due_at;
  }
  mutable std::optional<Elapsed> due_at;
  mutable bool due_known = false;

  std::optional<Elapsed> soonest() const {
    std::optional<Elapsed> next;
    const auto sooner = [&](std::optional<Elapsed> e) {
      if (e && (!next || *e < *next)) next = e;
    };
    if (!begun) return next;
    sooner(cells.next_expiry(now.at));
    sooner(gate.next_deadline());
    for (const auto& c : chargers) sooner(c.next_deadline());
    for (const auto& h : heaters) sooner(h.next_deadline());
    return next;
  }

  void run_to(Now to) {
    if (!begun) {
      begun = true;
      begun_at = to.at;
      now = to;
      step(to);
      return;
    }
    if (to.at < now.at) to.at = now.at;
    while (true) {
      const auto next = due();
      if (!next || *next > to.at) break;
      const Elapsed at = std::max(*next, now.at);
      const bool again = at == now.at && *next < now.at;
      now = {at, to.utc - (to.at - at), to.trusted};
      step(now);
      const auto after = due();
      if (again && after && *after <= at) break;  // nothing that is overdue may hold up the loop
    }
    now = to;
  }

  // ---- judging -----------------------------------------------------------------------------

  bool idle() const {
    const auto a = bank_current.within(now.at, fresh);
    const bool heating = own_heater.within(now.at, fresh).value_or(0) > 0.5;
    return !heating && (!a || milliamps || std::abs(*a) < 0.2 * std::max(rig.bank.capacity_ah, 1.0));
  }

  const rig::Source* source_of(int sensor) const {
    for (const auto& s : rig.sources)
      if (s.channel == Channel{Quantity::cell_temperature, sensor}) return &s;
    return nullptr;
  }
  /// How a sensor's numbers become degrees; a doubt belongs to this reading of them.
  std::string read_as(int sensor) const {
    const auto* s = source_of(sensor);
    return s ? s->unit + " " + fixed(s->factor, 6) + " " + fixed(s->offset, 6) + " " + fixed(s->sign, 0) : "";
  }

  /// A doubted unit withholds the permit at once. A short doubt passes; one that held can only be lifted in the config.
  void judge_unit() {
    if (unit_settled) return;
    const auto air_c = air.within(now.at, soc_fresh), cabin_c = cabin.within(now.at, soc_fresh);
    if ((!air_c && !cabin_c) || !idle()) return;
    bool judged = false, doubted = false;
    for (int i = 0; i < cells.count(); ++i) {
      if (unit_confirmed[static_cast<std::size_t>(i)]) continue;
      const auto c = cells.cell_c(i, now.at);
      if (!c) continue;
      judged = true;
      const auto d = bank::unit_doubt(*c, air_c, cabin_c, true);
      if (d != bank::UnitDoubt::none) unit = d, unit_c = *c, unit_sensor = i, doubted = true;
    }
    if (!judged || unit == bank::UnitDoubt::none) return;
    if (doubted) {
      unit_right_at.reset();
      if (!unit_doubted_at) unit_doubted_at = now.at;
      unit_settled = now.at - *unit_doubted_at >= unit_doubt_settles;
    } else if (!unit_right_at) {
      unit_right_at = now.at;
    } else if (now.at - *unit_right_at >= unit_doubt_settles) {
      unit = bank::UnitDoubt::none;
      unit_doubted_at.reset();
      unit_right_at.reset();
    }
  }

  std::string temperatures() const {
    if (!last_min || !last_max) return "cells unknown";
    if (words.temperature(*last_min) == words.temperature(*last_max)) return "cells at " + words.temperature(*last_min);
    return "cells at " + words.temperature(*last_min) + " to " + words.temperature(*last_max);
  }

  std::string why() const {
    const auto& w = rig.bank.window;
    switch (gate.block()) {
      case Block::none: return temperatures();
      case Block::start: return "no fresh cell temperature since the start";
      case Block::cold:
        return temperatures() + (last_min && *last_min > w.lower_limit_c
                                     ? ", permit returns when " + words.temperature(w.resume_c) + " has held for " + Words::span(w.resume_dwell)
                                     : ", charging stops at " + words.temperature(w.lower_limit_c));
      case Block::hot: return temperatures() + ", charging stops at " + words.temperature(w.upper_limit_c);
      case Block::no_temperature: return "no cell temperature to believe";
      case Block::unit: return "cell temperature looks like " + std::string(unit == bank::UnitDoubt::fahrenheit ? "°F" : "°C") + ", not confirmed";
      case Block::no_current: return "no charge current allowed, " + temperatures();
      case Block::resting: return "permit changed too often within the hour";
    }
    return "";
  }

  void step(Now n) {
    due_known = false;
    judge_unit();
    const auto view = cells.at(n.at);
    last_min = view.min_c;
    last_max = view.max_c;
    gate.update(n.at, {view.min_c, view.max_c, view.forbidden_c, view.perhaps_min_c, view.perhaps_max_c, unit != bank::UnitDoubt::none, ever_heard});

    double left = gate.limit_a();
    for (std::size_t i = 0; i < chargers.size(); ++i) {
      const auto& c = rig.chargers[i];
      const double share = c.rated_a > 0 ? std::min(left, c.rated_a) : left;
      const bool yes = gate.open() && share >= 0.1;
      ChargerLine& line = chargers[i];
      line.settle(n.at);
      // The sentence is made only when it will be said.
      if (!line.told() || yes != line.permit() || gate.block() != reason_block || std::abs(share - line.limit_a()) >= 0.05) {
        reason = why();
        reason_block = gate.block();
        line.want(yes, yes ? share : 0, gate.open() && !yes ? "the bank's limit is used up by the chargers before this one" : reason, n, effects);
      }
      line.advance(n, effects);
      left -= yes ? share : 0;
    }
    for (std::size_t i = 0; i < heaters.size(); ++i) {
      heaters[i].want(unit == bank::UnitDoubt::none ? last_min : std::nullopt, soc.within(n.at, soc_fresh), n, effects);
      heaters[i].advance(n, effects);
    }
    judge_flow(n);
  }

  /// Current the bank takes although nothing may charge it.
  void judge_flow(Now n) {
    const auto a = bank_current.within(n.at, minutes{3});
    double threshold = unpermitted_from_a;
    const bool heating = own_heater.within(n.at, fresh).value_or(0) > 0.5 || own_heater_w.within(n.at, fresh).value_or(0) > 1;
    if (rig.bank.self_heating && (heating || !own_heater.known)) {
      const double w = own_heater_w.within(n.at, fresh).value_or(0.1 * rig.bank.capacity_wh());
      threshold += 1.3 * w / std::max(rig.bank.nominal_v, 1.0);
    }
    const auto& floor_c = rig.bank.window.discharge_lower_limit_c;
    const bool cold_draw = floor_c && last_min && *last_min <= *floor_c && a && !milliamps && *a <= -std::max(0.5, 0.002 * rig.bank.capacity_ah);
    if (!cold_draw) cold_draw_since.reset();
    else if (!cold_draw_since) cold_draw_since = n.at;
    const bool flowing = a && !milliamps && *a >= threshold;
    if (!flowing) {
      charging_since.reset();
      return;
    }
    const bool none_may = !gate.open() && gate.block() != Block::start;
    // A bank without any charger of ours is watched only where charging does harm.
    const bool matters = chargers.empty() ? gate.cold() && last_min && decide.too_cold(*last_min, rig.bank.window) : none_may;
    if (!matters)
      charging_since.reset();
    else if (!charging_since)
      charging_since = std::max(n.at, gate.since() + seconds{30});
  }

  bool unpermitted(Elapsed at) const { return charging_since && at >= *charging_since + unpermitted_for; }

  /// Which of the other guards holds while ours permits.
  void judge_refusal(Now n) {
    Holder h = Holder::none;
    const bool ours_open = chargers.empty() ? !gate.cold() && !gate.hot() && last_min : gate.open();
    const double full = soc.within(n.at, soc_fresh).value_or(0.5);
    if (ours_open && full < 0.95) {
      const auto ok = allowed.within(n.at, fresh);
      bool panels_ready = false, any_current = false, inhibited = false;
      for (std::size_t i = 0; i < rig.strings.size(); ++i) {
        const auto v = string_voltage[i].within(n.at, fresh), p = string_power[i].within(n.at, fresh);
        const auto o = output_current[i].within(n.at, fresh), s = stage[i].within(n.at, fresh);
        const double full_v = rig.strings[i].module.v_mp_v * rig.strings[i].series;
        panels_ready = panels_ready || (v && *v > std::max(0.9 * full_v, rig.bank.nominal_v + 8));
        any_current = any_current || (p && *p > 10) || (o && *o > 0.5);
        inhibited = inhibited || (s && *s == static_cast<double>(Stage::inhibited));
      }
      if (ok && *ok < 0.5) h = Holder::battery;
      else if (inhibited && !any_current) h = Holder::controller;
      else if (panels_ready && !any_current && last_min && *last_min < rig.bank.window.resume_c + 6) h = Holder::battery;
    }
    if (h != holder) {
      holder = h;
      refused_since = h == Holder::none ? std::nullopt : std::optional<Elapsed>(n.at);
    }
  }

  // ---- words -------------------------------------------------------------------------------

  Utc utc_of(Elapsed e, Now n) const { return n.utc - (n.at - e); }
  std::string since(Elapsed e, Now n) const { return words.when(utc_of(e, n), n.utc); }

  void cold_fact(Now n, Facts& out) const {
    const auto& w = rig.bank.window;
    Fact* const fact = out.add("bank_cold", "bank", gate.block() == Block::cold && last_min);
    if (!fact) return;
    Fact& f = *fact;
    f.hidden_by = {"charging_unpermitted-bank"};
    if (f.condition) {
      f.text = chargers.empty() ? "Too cold to charge: " + temperatures() + "." : "Charging is off: " + temperatures() + ".";
      if (gate.resuming_since()) {
        f.text += (chargers.empty() ? " Warm enough " : " Permit returns ") + about_when(words, utc_of(*gate.resuming_since() + w.resume_dwell, n), n.utc) + " if they stay above " + words.temperature(w.resume_c) + ".";
      } else {
        f.text += (chargers.empty() ? " Warm enough above " : " Permit returns above ") + words.temperature(w.resume_c);
        const auto warm = foresight.warm_at(w.resume_c);
        f.text += warm ? ", " + about_when(words, *warm, n.utc) + " if the weather does as expected." : "; not within 18 h as it looks.";
      }
      if (chargers.empty()) f.text += " No charger here can be stopped by firnwatt.";
    } else if (gate.open() && last_min) {
      f.over_text = "Charging is permitted again: " + temperatures() + ".";
    }
  }

  void cold_discharge_fact(Now n, Facts& out) const {
    Fact* const fact = out.add("bank_cold", "discharge", cold_draw_since && n.at - *cold_draw_since >= minutes{2} && last_min);
    if (!fact) return;
    Fact& f = *fact;
    f.priority = 1;
    if (f.condition)
      f.text = Words::capital(temperatures()) + ", and " + Words::amps(-bank_current.value) + " are drawn since " + since(*cold_draw_since, n) + ". Your limit for discharge is " +
               words.temperature(*rig.bank.window.discharge_lower_limit_c) + ". Switch off what can be spared, or warm the bank.";
    else
      f.over_text = "Discharge in the cold is over.";
  }

  void half_fact(Now n, Facts& out) const {
    Fact* const fact = out.add("bank_gone", "half", halves.missing_since().has_value());
    if (!fact) return;
    Fact& f = *fact;
    f.priority = 1;
    f.confidence = 0.8;
    if (f.condition)
      f.text = "One of the " + std::to_string(rig.bank.parallel_batteries) + " parallel batteries has probably switched itself off since " + since(*halves.missing_since(), n) +
               ": the volts move " + fixed(halves.times(), 1) + " times as much for every ampere. The others carry its load, and " +
               (rig.bank.parallel_batteries == 2 ? "half the energy" : "its share of the energy") +
               " is missing. Look at each battery's own light or display; have connections checked by someone qualified.";
    else
      f.over_text = "All batteries carry again.";
  }

  void hot_fact(Facts& out) const {
    Fact* const f = out.add("bank_hot", "bank", gate.block() == Block::hot && last_max);
    if (!f) return;
    if (f->condition)
      f->text = "Charging is off: cells at " + words.temperature(*last_max) + ". Permit returns at " + words.temperature(rig.bank.window.upper_resume_c) + ". Give the bank air and shade.";
    else if (gate.open() && last_max)
      f->over_text = "Charging is permitted again: cells at " + words.temperature(*last_max) + ".";
  }

  std::string held_off() const {
    const std::string look = " Look at the sensor and its gateway.";
    if (chargers.empty()) return look;
    return (gate.open() ? " The other sensors stand in." : " Charging is held off until it is back.") + look;
  }

  void sensor_facts(Now n, Facts& out) const {
    for (int i = 0; i < cells.count(); ++i) {
      const bool usable = cells.usable(i, n.at);
      const auto word = cells.last_word(i);
      Fact* const fact = out.add("bank_sensor", sensor_subjects[static_cast<std::size_t>(i)],
                                 !usable && (word || cells.doubted_since(i) || n.at - begun_at >= silent_at_start));
      if (!fact) continue;
      Fact& f = *fact;
      const std::string called = cells.count() > 1 ? "battery sensor " + Words::named(cells.name(i)) : "battery sensor";
      if (f.condition) {
        if (cells.doubt(i) == bank::Doubt::frozen)
          f.text = Words::capital(called) + " stands still at " + words.temperature(cells.doubted_c(i)) + " while all around it moves. Not believed since " + since(*cells.doubted_since(i), n) + "." + held_off();
        else if (cells.doubted_since(i))
          f.text = Words::capital(called) + " failed: it shows " + words.temperature(cells.doubted_c(i)) + (cells.last_c(i) ? " after " + words.temperature(*cells.last_c(i)) : "") + ", not believed since " + since(*cells.doubted_since(i), n) + "." + held_off();
        else
          f.text = "No word from the " + called + (word ? " since " + since(*word, n) : " since the start") + "." + held_off();
      } else if (usable) {
        f.over_text = Words::capital(called) + " is back: " + words.temperature(*cells.last_c(i)) + ".";
      }
    }
    Fact* const u = out.add("bank_sensor", "unit", unit != bank::UnitDoubt::none);
    if (u && u->condition) {
      const bool f = unit == bank::UnitDoubt::fahrenheit;
      const std::string sensor = cells.count() > 1 ? "sensor " + cells.name(unit_sensor) : "cell_temperature";
      u->text = "Cell temperature " + fixed(f ? unit_c : unit_c * 1.8 + 32, 0) + " looks like " + (f ? "°F, is read as °C" : "°C, is read as °F") +
               (air.known ? ": air is " + words.temperature(air.value) : "") + ". Charging is held off. In the config, at " + sensor +
               ", write unit: " + (f ? "degF" : "degC") + ", or unit_confirmed: true if it is right as it is; then restart or reload firnwatt.";
    } else if (u && last_min) {
      u->over_text = "The cell temperature can be believed again: " + words.temperature(*last_min) + ".";
    }
    if (cells.count() > 1) {
      Fact* const a = out.add("bank_sensor", "apart", cells.apart_since() && n.at - *cells.apart_since() >= apart_for && last_min && last_max);
      if (a && a->condition)
        a->text = "Battery sensors disagree: " + words.temperature(*last_min) + " and " + words.temperature(*last_max) + " since " + since(*cells.apart_since(), n) + ". Charging follows whichever is stricter. Have a look at where they sit.";
      else if (a)
        a->over_text = "The battery sensors agree again.";
    }
    if (Fact* m = out.add("bank_sensor", "current", milliamps)) {
      if (milliamps) m->text = "Bank current " + fixed(bank_current.value, 0) + " looks like mA, is read as A. It is not used until the unit is put right.";
      else m->over_text = "The bank current can be used again.";
    }
    const bool warm = last_min && *last_min >= rig.bank.window.resume_c + 6 && last_max && *last_max < rig.bank.window.upper_resume_c - 5;
    Fact* const b = out.add("bank_sensor", "battery", refused_long(n) && warm);
    if (b && b->condition)
      b->text = std::string(holder == Holder::battery ? "The battery" : "The controller") + " refuses to charge since " + since(*refused_since, n) + " although " + temperatures() + " allow it. Its own sensor may read wrong, or another of its protections acts.";
    else if (b && holder == Holder::none)
      b->over_text = "The bank takes charge again.";
  }

  bool refused_long(Now n) const { return holder != Holder::none && refused_since && n.at - *refused_since >= refused_for; }

  /// ", about 15:30": when the cells will be three degrees warmer than now, where the course ahead shows it.
  std::string few_degrees_later(Now n) const {
    const auto then = last_min ? foresight.warm_at(*last_min + 3) : std::nullopt;
    return then ? ", " + about_when(words, *then, n.utc) : "";
  }

  void refusal_fact(Now n, Facts& out) const {
    const bool cool = last_min && *last_min < rig.bank.window.resume_c + 6;
    Fact* const fact = out.add("bank_cold", "battery", refused_long(n) && cool);
    if (!fact) return;
    Fact& f = *fact;
    f.hidden_by = {"bank_cold-bank"};
    if (f.condition) {
      f.text = holder == Holder::battery
                   ? "Charging is refused by the battery since " + since(*refused_since, n) + ": its case reads " + words.temperature(*last_min) + ", the core is probably colder."
                   : "Charging is held back by the controller since " + since(*refused_since, n) + ": " + temperatures() + ", its own sensor is probably colder.";
      f.text += " Nothing to do; it should take charge a few degrees later" + few_degrees_later(n) + ".";
      f.worth_saying = false;
      f.confidence = 0.8;
    } else if (holder == Holder::none && last_min) {
      f.over_text = "The battery takes charge again: " + temperatures() + ".";
    }
  }

  void flow_fact(Now n, Facts& out) const {
    Fact* const fact = out.add("charging_unpermitted", "bank", unpermitted(n.at));
    if (!fact) return;
    Fact& f = *fact;
    if (f.condition) {
      const std::string amps = Words::amps(bank_current.value);
      f.text = "The bank is charging" + (last_min ? " at " + words.temperature(*last_min) : std::string(" with its temperature unknown"));
      f.text += chargers.empty() ? ", and firnwatt has no charger to stop" : " with every charger told to stop";
      f.text += ": " + amps + " since " + since(*charging_since, n) + ".";
      // Name one that gives current by its own account, else all that cannot be switched off.
      std::string named;
      for (std::size_t i = 0; i < chargers.size(); ++i)
        if (chargers[i].current_a(n.at).value_or(0) >= 1) named = Words::named(rig.chargers[i].name);
      if (named.empty())
        for (const auto& c : rig.chargers)
          if (!off_for(c)) named = Words::named(c.name);
      f.text += named.empty() ? " Switch the charging source off at its breaker if you can do so safely."
                              : " Switch the " + named + " charger off at its breaker if you can do so safely.";
    } else {
      f.over_text = "The bank is no longer charging against the permit.";
    }
  }

  void charger_facts(Now n, Facts& out) const {
    for (std::size_t i = 0; i < chargers.size(); ++i) {
      Fact* const fact = out.add("command_unconfirmed", rig.chargers[i].name, chargers[i].unconfirmed(n.at));
      if (!fact) continue;
      Fact& c = *fact;
      c.hidden_by = {"charging_unpermitted-bank"};
      if (c.condition) {
        const auto& line = chargers[i];
        const auto a = line.current_a(n.at);
        if (line.over_limit(n.at) && a) {
          c.text = "The " + Words::named(rig.chargers[i].name) + " charger takes more than it may: " + Words::amps(*a) + ", told " + Words::amps(line.limit_a()) + ", with " + temperatures() +
                   ". Told again every " + Words::span(rig.chargers[i].confirm_within) + ". Set its own limit lower, or switch it off by hand if you can do so safely.";
        } else if (line.permit()) {
          c.text = "The " + Words::named(rig.chargers[i].name) + " charger may charge since " + since(line.since(), n) + " and still says it is off. Look at its switch and settings.";
          c.priority = 0;
        } else {
          c.text = "The " + Words::named(rig.chargers[i].name) + " charger was told to stop at " + since(line.since(), n) + " and does not" +
                   (a && *a >= 1 ? ": it gives " + Words::amps(*a) : std::string(" say it did")) + ". Told again every " + Words::span(rig.chargers[i].confirm_within) + ". Switch it off by hand if you can do so safely.";
        }
      } else {
        c.over_text = "The " + Words::named(rig.chargers[i].name) + " charger obeys again.";
      }
    }
  }

  void heater_facts(Now n, Facts& out) const {
    for (std::size_t i = 0; i < heaters.size(); ++i) {
      const auto& h = rig.heaters[i];
      const bool reserve = heaters[i].heat() == Heat::reserve;
      const bool deaf = heaters[i].unconfirmed(n.at);
      Fact* const f = out.add("heater", h.name, reserve || deaf);
      if (!f) continue;
      if (reserve && soc.known)
        f->text = "Heat for the bank is off: it is at " + Words::percent(soc.value) + ", the heating reserve is " + Words::percent(h.min_soc) + ". " + Words::capital(temperatures()) + ".";
      else if (deaf)
        f->text = "The " + Words::named(h.name) + " heater was told to " + (heaters[i].on() ? "heat and says it is off" : "stop and says it is on") + ". Have a look at it.";
      else
        f->over_text = "The " + Words::named(h.name) + " heater may heat again and does as it is told.";
    }
  }

  static std::string subject(const std::string& name, int i) {
    std::string out;
    for (const char c : name) {
      const char l = c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c;
      out += (l >= 'a' && l <= 'z') || (l >= '0' && l <= '9') || l == '_' || l == '-' ? l : '-';
    }
    return out.empty() ? "sensor" + std::to_string(i + 1) : out;
  }
};

const Decisions& Guard::standard_decisions() {
  static const Decisions standard;
  return standard;
}

Guard::Guard(const rig::Rig& rig, const Words& words, const Decisions& decisions)
    : s_(std::make_unique<State>(rig, words, decisions)) {}
Guard::~Guard() = default;
Guard::Guard(Guard&&) noexcept = default;
Guard& Guard::operator=(Guard&&) noexcept = default;

void Guard::on_reading(const Reading& r, Now now) {
  State& s = *s_;
  s.run_to(now);
  if (r.retained || !r.value) return;
  const double v = *r.value;
  const auto heard = [&](Heard& h) { h = {v, r.at, true}; };
  const auto of_string = [&](std::vector<Heard>& h) {
    if (r.channel.thing >= 0 && r.channel.thing < static_cast<int>(h.size())) heard(h[r.channel.thing]);
  };
  switch (r.channel.quantity) {
    case Quantity::cell_temperature: {
      const auto taken = s.cells.on_reading(r, now);
      if (taken == Cells::Taken::ignored) {
        s.step(now);
        return;
      }
      if (taken == Cells::Taken::believed) s.ever_heard = true;
      if (taken == Cells::Taken::doubted && s.cells.doubted_since(r.channel.thing) == r.at)
        s.effects.emplace_back(LogLine{Level::warn, "sensor " + s.cells.name(r.channel.thing) + ": " + fixed(v, 1) + " degC not believed (" +
                                                        std::string(bank::name(s.cells.doubt(r.channel.thing))) + ")"});
      break;
    }
    case Quantity::bank_current:
      heard(s.bank_current);
      s.milliamps = bank::looks_like_milliamps(v, s.rig.bank.capacity_ah);
      break;
    case Quantity::bank_voltage: heard(s.bank_voltage); return;
    case Quantity::soc: heard(s.soc); break;
    case Quantity::air_temperature: heard(s.air); break;
    case Quantity::cabin_temperature: heard(s.cabin); break;
    case Quantity::charge_allowed: heard(s.allowed); return;
    case Quantity::bank_heater_on: heard(s.own_heater); return;
    case Quantity::bank_heater_power: heard(s.own_heater_w); return;
    case Quantity::string_voltage: of_string(s.string_voltage); return;
    case Quantity::string_power: of_string(s.string_power); return;
    case Quantity::output_current: of_string(s.output_current); break;
    case Quantity::stage: of_string(s.stage); break;
    case Quantity::charger_on:
    case Quantity::charger_limit:
    case Quantity::charger_current: break;
    case Quantity::heater_on:
      if (r.channel.thing >= 0 && r.channel.thing < static_cast<int>(s.heaters.size())) s.heaters[r.channel.thing].on_readback(v > 0.5, now);
      return;
    default: return;
  }
  for (auto& c : s.chargers) c.on_reading(r, now, s.effects);
  s.step(now);
}

void Guard::on_minute(const RigMinute& m) {
  State& s = *s_;
  s.run_to({m.at, m.start + minutes{1}, m.clock_trusted});
  double heater_w = 0;
  for (std::size_t i = 0; i < s.heaters.size(); ++i)
    if (s.heaters[i].readback().value_or(s.heaters[i].on())) heater_w += s.rig.heaters[i].rated_w;
  s.cells.watch_frozen(s.now.at, [&](double c) { return s.foresight.rate_k_per_h(c); });
  const auto view = s.cells.at(s.now.at);
  s.foresight.on_minute(m, s.unit == bank::UnitDoubt::none ? view.min_c : std::nullopt, heater_w);
  s.halves.on_minute(m);
  s.judge_refusal(s.now);
  s.step(s.now);
}

void Guard::advance(Now now) { s_->run_to(now); }

std::optional<Elapsed> Guard::next_deadline() const { return s_->due(); }

std::vector<Effect> Guard::take_effects() { return std::exchange(s_->effects, {}); }

std::vector<Fact> Guard::facts(Now now, const Remembered& remembered) const {
  const State& s = *s_;
  Facts out(remembered);
  if (!s.rig.has_bank || !s.begun) return {};
  if (s.has_cells()) {
    s.foresight.facts(now, out);
    s.cold_fact(now, out);
    s.refusal_fact(now, out);
    s.hot_fact(out);
    if (s.rig.bank.window.discharge_lower_limit_c) s.cold_discharge_fact(now, out);
    if (s.rig.bank.parallel_batteries > 1) s.half_fact(now, out);
    s.sensor_facts(now, out);
  }
  s.flow_fact(now, out);
  s.charger_facts(now, out);
  s.heater_facts(now, out);
  return out.take();
}

bool Guard::may_charge(int charger) const {
  return charger >= 0 && charger < static_cast<int>(s_->chargers.size()) && s_->chargers[charger].permit();
}

std::optional<double> Guard::current_limit_a(int charger) const {
  if (!may_charge(charger)) return std::nullopt;
  return s_->chargers[charger].limit_a();
}

bool Guard::any_solar_permit() const {
  for (std::size_t i = 0; i < s_->chargers.size(); ++i)
    if (s_->rig.chargers[i].kind == rig::ChargerKind::solar && s_->chargers[i].permit()) return true;
  return false;
}

std::optional<double> Guard::cell_min_c() const { return s_->last_min; }
std::optional<double> Guard::cell_max_c() const { return s_->last_max; }
std::optional<double> Guard::cell_c(int sensor) const { return s_->cells.cell_c(sensor, s_->now.at); }

std::vector<std::string> Guard::sentences(Now now) const {
  const State& s = *s_;
  std::vector<std::string> out;
  if (!s.rig.has_bank) return out;
  if (!s.has_cells()) {
    out.push_back("No cell temperature is configured: no charger is ever permitted.");
  } else if (s.chargers.empty()) {
    out.push_back(Words::capital(s.temperatures()) + ". No charger is configured, so nothing can be stopped.");
  } else if (s.gate.open()) {
    out.push_back("Charging is permitted: " + s.temperatures() + ", up to " + Words::amps(s.gate.limit_a()) + ".");
  } else {
    std::string held = "Our permit holds charging off since " + s.since(s.gate.since(), now) + ": " + s.why() + ".";
    if (s.gate.block() == Block::cold) {
      if (s.gate.resuming_since())
        held += " Until " + about_when(s.words, s.utc_of(*s.gate.resuming_since() + s.rig.bank.window.resume_dwell, now), now.utc) + " if it stays so.";
      else if (const auto warm = s.foresight.warm_at(s.rig.bank.window.resume_c))
        held += " Warm enough " + about_when(s.words, *warm, now.utc) + ".";
    }
    out.push_back(held);
  }
  const auto allowed = s.allowed.within(now.at, fresh);
  const std::string held_since = s.refused_since ? " since " + s.since(*s.refused_since, now) + ", " + s.temperatures() : "";
  const std::string later = s.last_min && *s.last_min < s.rig.bank.window.resume_c + 6 ? s.few_degrees_later(now) : "";
  const std::string until = later.empty() ? "" : " It should take charge a few degrees later" + later + ".";
  if (allowed && *allowed < 0.5) out.push_back("The battery's own protection refuses charge" + held_since + "." + until);
  if (s.holder == State::Holder::battery && s.refused_since && !(allowed && *allowed < 0.5))
    out.push_back("Panels have voltage and nothing flows" + held_since + ": refused by the battery, its core is probably colder than its case." + until);
  if (s.holder == State::Holder::controller && s.refused_since)
    out.push_back("The controller holds charging back by itself" + held_since + "." + until);
  for (const auto& line : s.foresight.sentences(now)) out.push_back(line);
  for (std::size_t i = 0; i < s.chargers.size(); ++i)
    if (!off_for(s.rig.chargers[i])) out.push_back(Words::capital(can_be_stopped(s.rig.chargers[i])) + ".");
  return out;
}

std::vector<Effect> Guard::all_off(std::string reason) {
  std::vector<Effect> out;
  for (auto& c : s_->chargers) c.farewell(reason, s_->now, out);
  for (auto& h : s_->heaters) h.farewell(out);
  s_->due_known = false;
  return out;
}

std::string Guard::snapshot() const {
  const State& s = *s_;
  const auto g = s.gate.memory();
  nlohmann::json j{{"v", 1}, {"cold", g.cold}, {"hot", g.hot}, {"open", g.open}, {"limit_a", g.limit_a}, {"at", ms_of(s.now.at)}, {"unit", static_cast<int>(s.unit)}, {"unit_c", s.unit_c}};
  if (s.unit != bank::UnitDoubt::none) {
    j["unit_sensor"] = s.cells.name(s.unit_sensor);
    j["unit_read_as"] = s.read_as(s.unit_sensor);
    j["unit_settled"] = s.unit_settled;
  }
  auto& changes = j["changes"] = nlohmann::json::array();
  for (const Elapsed c : g.changes) changes.push_back(ms_of(c));
  auto& cells = j["cells"] = nlohmann::json::array();
  for (const auto& m : s.cells.memory())
    cells.push_back({{"name", m.name}, {"c", m.value_c ? nlohmann::json(*m.value_c) : nlohmann::json()}, {"at", ms_of(m.at)}, {"still", m.longest_still.count()}});
  auto& chargers = j["chargers"] = nlohmann::json::object();
  for (std::size_t i = 0; i < s.chargers.size(); ++i) {
    const auto& c = s.chargers[i];
    if (!c.told()) continue;
    auto& saved = chargers[s.rig.chargers[i].name] = {{"permit", c.permit()}, {"limit_a", c.limit_a()}, {"reason", c.reason()}, {"since", ms_of(c.since())}};
    auto& changed = saved["changes"] = nlohmann::json::array();
    for (const Elapsed e : c.changes()) changed.push_back(ms_of(e));
  }
  j["foresight"] = s.foresight.memory();
  j["halves"] = s.halves.memory();
  return json_text(j);
}

void Guard::restore(std::string_view text, Now now, Continuity how) {
  State& s = *s_;
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", 0) != 1) return;
  s.due_known = false;
  const bool reload = how == Continuity::reload;
  try {
    Gate::Memory g{j.at("cold").get<bool>(), j.at("hot").get<bool>(), j.at("open").get<bool>(), j.at("limit_a").get<double>(), {}};
    for (const auto& c : j.at("changes")) g.changes.push_back(elapsed_ms(c.get<std::int64_t>()));
    std::vector<Cells::Memory> cells;
    for (const auto& c : j.at("cells"))
      cells.push_back({c.at("name").get<std::string>(), c.at("c").is_number() ? std::optional<double>(c.at("c").get<double>()) : std::nullopt,
                       elapsed_ms(c.at("at").get<std::int64_t>()), Span{c.at("still").get<std::int64_t>()}});
    if (const int u = j.at("unit").get<int>(); u == 1 || u == 2) {
      // The config may have been put right, or the values confirmed, since.
      for (int i = 0; i < s.cells.count(); ++i) {
        if (s.cells.name(i) != j.value("unit_sensor", "") || s.read_as(i) != j.value("unit_read_as", "") || s.unit_confirmed[static_cast<std::size_t>(i)]) continue;
        s.unit = static_cast<bank::UnitDoubt>(u);
        s.unit_sensor = i;
        s.unit_c = j.at("unit_c").get<double>();
        s.unit_doubted_at = now.at;
        s.unit_settled = j.value("unit_settled", false);
      }
    }
    s.gate.recall(g, now.at, reload);
    s.cells.recall(cells, reload);
    if (reload) {
      s.ever_heard = std::any_of(cells.begin(), cells.end(), [](const auto& c) { return c.value_c.has_value(); });
    }
    for (std::size_t i = 0; i < s.chargers.size(); ++i) {
      const auto c = j.at("chargers").find(s.rig.chargers[i].name);
      if (c == j.at("chargers").end()) continue;
      std::vector<Elapsed> changed;
      for (const auto& e : c->at("changes")) changed.push_back(std::min(elapsed_ms(e.get<std::int64_t>()), now.at));
      const bool had = c->at("permit").get<bool>();
      if (had && !reload) changed.push_back(now.at);  // the stop itself took the permit away
      s.chargers[i].recall_changes(std::move(changed));
      if (reload) s.chargers[i].recall(had, c->at("limit_a").get<double>(), c->at("reason").get<std::string>(), elapsed_ms(c->at("since").get<std::int64_t>()));
    }
    if (const auto f = j.find("foresight"); f != j.end()) s.foresight.recall(*f);
    if (const auto h = j.find("halves"); h != j.end()) s.halves.recall(*h);
  } catch (const nlohmann::json::exception&) {
    // a foreign or damaged text: begin anew, which is to say without a permit
  }
}

}  // namespace fw::guard
