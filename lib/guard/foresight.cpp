#include "guard/foresight.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "words/about_when.h"

namespace fw::guard {

namespace {

constexpr Span step = minutes{5};
constexpr Span horizon = hours{18};
constexpr double unreported_heater_w = 50;      // a heater known only as on: its watts and their effect are learned as one
constexpr double hours_to_judge_by = 24;
constexpr Span likely_for = minutes{10};
constexpr Span unlikely_for = minutes{75};
constexpr double well_known_k = 1.5, near_k = 3;
constexpr int morning_minute = 9 * 60;

std::optional<double> mean_or(std::optional<double> a, std::optional<double> b) { return a ? a : b; }

}  // namespace

void DayCourse::learn(int minute, double value) {
  auto& m = mean_[static_cast<std::size_t>(minute / 30) % 48];
  // About thirty minutes a bin a day: a week of days weighs most.
  m = m ? *m + 0.012 * (value - *m) : value;
}

std::optional<double> DayCourse::at(int minute) const {
  const int shifted = (minute + 24 * 60 - 15) % (24 * 60);
  const auto a = static_cast<std::size_t>(shifted / 30), b = (a + 1) % 48;
  if (!mean_[a] || !mean_[b]) return mean_or(mean_[a], mean_[b]);
  const double share = (shifted % 30) / 30.0;
  return *mean_[a] + share * (*mean_[b] - *mean_[a]);
}

Foresight::Foresight(const rig::Rig& rig, const Words& words) : rig_(rig), words_(words), model_(rig.bank.capacity_wh()) {
  Warning limit;
  limit.subject = "bank";
  limit.level_c = rig.bank.window.lower_limit_c;
  warnings_.push_back(limit);
  if (const auto floor = rig.bank.window.preferred_floor_c; floor && *floor > limit.level_c) {
    Warning w;
    w.subject = "floor";
    w.level_c = *floor;
    w.lasting = true;
    warnings_.push_back(w);
  }
  if (const auto discharge = rig.bank.window.discharge_lower_limit_c) {
    Warning w;
    w.subject = "discharge";
    w.level_c = *discharge;
    warnings_.push_back(w);
  }
}

std::optional<double> Foresight::rate_k_per_h(double cell_c) const {
  if (model_.hours_learned() < hours_to_judge_by || (!now_.air_c && !now_.cabin_c)) return std::nullopt;
  return model_.rate_k_per_h(cell_c, now_) + (model_.hold() ? model_.hidden_on() * model_.hidden_k_per_h() : 0);
}

void Foresight::on_minute(const RigMinute& m, std::optional<double> cell_c, double heater_w) {
  utc_ = m.start + minutes{1};
  soc_ = m.soc;
  if (!cell_c) {
    cell_c_.reset();
    course_.clear();
    return;
  }
  double own_w = 0;
  if (m.bank_heater_w && *m.bank_heater_w > 0) own_w = *m.bank_heater_w;
  else if (m.bank_heater_on.value_or(false)) own_w = unreported_heater_w;
  if (m.bank_heater_on || m.bank_heater_w) {
    const bool on = own_w > 0;
    if (own_known_ && on != own_on_) {
      const double c = model_.cell_c().value_or(*cell_c);
      auto& edge = on ? own_on_c_ : own_off_c_;
      edge = edge ? *edge + 0.3 * (c - *edge) : c;
    }
    own_known_ = true;
    if (on) own_w_ = own_w;
    own_on_ = on;
    const bool overdue = !on && own_on_c_ && model_.cell_c().value_or(*cell_c) < *own_on_c_ - 0.25;
    if (!overdue) own_overdue_since_.reset();
    else if (!own_overdue_since_) own_overdue_since_ = m.at;
    if (on) own_trusted_ = true;
    else if (overdue && (*cell_c < *own_on_c_ - 0.6 || m.at - *own_overdue_since_ >= minutes{20})) own_trusted_ = false;  // it should have come on by now
  }
  const double all_w = own_w + heater_w;
  commanded_on_ = heater_w > 0;
  if (all_w > 0 && !heating_since_) heating_since_ = utc_;
  if (all_w <= 0) heating_since_.reset();

  now_ = {m.air_c, m.cabin_c, all_w, rig_.bank.capacity_ah > 0 ? std::abs(m.bank_current_a.value_or(0)) / rig_.bank.capacity_ah : 0};
  if (m.clock_trusted) now_.habit_k_per_h = habit_at(utc_);
  model_.learn(m.at, *cell_c, now_);
  if (model_.balances() != balances_seen_) {
    balances_seen_ = model_.balances();
    // Only what comes back day after day is a habit, so one day teaches little.
    auto& h = habit_[static_cast<std::size_t>(words_.minute_of_day(utc_ - minutes{30}) / 30) % 48];
    if (m.clock_trusted && model_.hours_learned() > 6) h = std::clamp(h + 0.2 * model_.last_miss_k_per_h(), -1.5, 1.5);
  }
  cell_c_ = cell_c;

  if (m.clock_trusted) {
    const int minute = words_.minute_of_day(utc_);
    if (m.air_c) air_day_.learn(minute, *m.air_c);
    if (m.cabin_c && !cabin_failed_) cabin_day_.learn(minute, *m.cabin_c);
  }
  if (m.cabin_c) {
    cabin_recent_.emplace_back(m.at, *m.cabin_c);
    std::erase_if(cabin_recent_, [&](const auto& c) { return m.at - c.first > minutes{25}; });
  } else {
    cabin_recent_.clear();
  }
  const auto minute_number = m.at.time_since_epoch() / minutes{1};
  if (minute_number % 5 == 0 || course_.empty()) foresee(m, model_.cell_c().value_or(*cell_c));
}

double Foresight::habit_at(Utc t) const { return habit_[static_cast<std::size_t>(words_.minute_of_day(t) / 30) % 48]; }

void Foresight::look_ahead(const RigMinute& m) {
  const auto n = static_cast<std::size_t>(horizon / step) + 1;
  air_ahead_.assign(n, std::nullopt);
  cabin_ahead_.assign(n, std::nullopt);
  const bool profile = m.clock_trusted;
  const auto minute_at = [&](std::size_t i) { return words_.minute_of_day(utc_ + step * static_cast<int>(i)); };

  // Air: the forecast moved to what is measured now, else the last days' course, else as it is.
  const Forecast* f = m.forecast && m.clock_trusted && m.at - m.forecast->received < hours{36} ? m.forecast : nullptr;
  const auto forecast_air = [&](Utc t) -> std::optional<double> {
    if (!f) return std::nullopt;
    const ForecastHour* here = f->at(t);
    if (!here || !here->air_c) return std::nullopt;
    const ForecastHour* next = f->at(t + hours{1});
    if (!next || !next->air_c) return here->air_c;
    return *here->air_c + hours_of(t - here->from) * (*next->air_c - *here->air_c);
  };
  const auto forecast_now = forecast_air(utc_);
  air_sigma_k_ = forecast_now ? 1.5 : 3.0;
  const auto usual_air_now = profile ? air_day_.at(minute_at(0)) : std::nullopt;
  for (std::size_t i = 0; i < n; ++i) {
    const double h = hours_of(step * static_cast<int>(i));
    std::optional<double> course = forecast_air(utc_ + step * static_cast<int>(i));
    std::optional<double> course_now = forecast_now;
    if (!course && profile) {
      course = air_day_.at(minute_at(i));
      course_now = usual_air_now;
    }
    if (course && m.air_c)
      air_ahead_[i] = *course + (course_now ? (*m.air_c - *course_now) * std::exp(-h / 8) : 0);
    else if (m.air_c)
      air_ahead_[i] = m.air_c;
    // A bank that never saw its air measured has learned nothing of it: leave it out.
  }

  if (!m.cabin_c) {
    cabin_failed_ = false;
    return;
  }
  const double cabin = *m.cabin_c;
  double slope = 0;
  if (cabin_recent_.size() > 8) {
    const auto& [t0, c0] = cabin_recent_.front();
    const double h = hours_of(m.at - t0);
    if (h > 0.2) slope = (cabin - c0) / h;
  }
  // Heating that has failed: far under anything usual for these hours, and sinking toward the air.
  double usual_low = 1e9;
  bool usual_known = profile;
  for (int minute = -60; minute <= 90; minute += 30) {
    const auto c = profile ? cabin_day_.at((words_.minute_of_day(utc_) + minute + 24 * 60) % (24 * 60)) : std::nullopt;
    if (c) usual_low = std::min(usual_low, *c);
    else usual_known = false;
  }
  const bool far_below = usual_known && cabin < usual_low - 2;
  if (far_below && (slope < -0.8 || cabin_failed_)) cabin_failed_ = true;
  if (cabin_failed_ && (!usual_known || cabin > usual_low - 1 || slope > 3)) cabin_failed_ = false;
  if (cabin_failed_ && m.air_c && slope < -0.8 && cabin - *m.air_c > 2)
    cabin_tau_h_ = std::clamp((cabin - *m.air_c) / -slope, 1.0, 24.0);

  double c = cabin;
  const auto usual_now = profile ? cabin_day_.at(minute_at(0)) : std::nullopt;
  for (std::size_t i = 0; i < n; ++i) {
    const double h = hours_of(step * static_cast<int>(i));
    if (cabin_failed_ && air_ahead_[i]) {
      cabin_ahead_[i] = c;
      c += (*air_ahead_[i] + 1 - c) / cabin_tau_h_ * hours_of(step);
      continue;
    }
    const auto usual = profile ? cabin_day_.at(minute_at(i)) : std::nullopt;
    cabin_ahead_[i] = usual && usual_now ? *usual + (cabin - *usual_now) * std::exp(-h / 4) : cabin;
  }
}

bank::Surroundings Foresight::ahead(Span at) const {
  const auto i = std::min(static_cast<std::size_t>(at / step), air_ahead_.size() - 1);
  return {air_ahead_[i], cabin_ahead_[i], 0, 0, now_.habit_k_per_h == 0 ? 0 : habit_at(utc_ + at)};
}

std::vector<bank::Thermostat> Foresight::thermostats() const {
  std::vector<bank::Thermostat> out;
  if (own_trusted_ && own_on_c_ && own_w_ > 0) out.push_back({*own_on_c_, std::max(own_off_c_.value_or(*own_on_c_ + 1.5), *own_on_c_ + 0.3), own_w_, own_on_});
  for (const auto& h : rig_.heaters)
    if (soc_.value_or(0) > h.min_soc) out.push_back({h.on_below_c, h.off_above_c, h.rated_w, commanded_on_});
  return out;
}

void Foresight::foresee(const RigMinute& m, double cell_c) {
  look_ahead(m);
  course_ = bank::course_of(model_, cell_c, [this](Span at, double) { return ahead(at); }, horizon, air_sigma_k_, thermostats());
  const auto in_an_hour = static_cast<std::size_t>(hours{1} / step);
  falling_ = course_.size() > in_an_hour && course_[in_an_hour].cell_c < cell_c - 0.05;
  for (Warning& w : warnings_) judge(w, m, cell_c);

  // A heater at work that still loses ground.
  const double level = rig_.bank.window.lower_limit_c;
  cannot_hold_ = false;
  if (heating_since_ && utc_ - *heating_since_ >= minutes{60}) {
    const auto full = [this](Span at, double) {
      auto s = ahead(at);
      s.heater_w = now_.heater_w;
      return s;
    };
    const auto on = bank::course_of(model_, cell_c, full, hours{10}, air_sigma_k_);
    const bool sinks = on[in_an_hour].cell_c < cell_c - 0.1;
    cannot_hold_ = sinks && bank::crossing_of(on, level).at.has_value() && on.back().cell_c < level;
  }
}

bool Foresight::returns_below(double level_c) const {
  const auto last = std::find_if(course_.begin(), course_.end(), [](const auto& p) { return p.ahead > hours{12}; });
  auto above = std::find_if(course_.begin(), last, [&](const auto& p) { return p.cell_c > level_c + 0.1; });
  const bool heated = std::any_of(course_.begin(), above, [](const auto& p) { return p.held; });
  return above != last && heated && bank::crossing_of({above, course_.end()}, level_c, true).probability >= 0.4;
}

void Foresight::judge(Warning& w, const RigMinute& m, double cell_c) {
  const auto x = bank::crossing_of(course_, w.level_c, w.lasting);
  if (cell_c > w.level_c) {
    if (w.below_since && m.at - *w.below_since < minutes{55}) w.short_dip_at = m.at;
    w.below_since.reset();
    if (!w.above_since) w.above_since = m.at;
  } else {
    if (!w.below_since) w.below_since = m.at;
    w.above_since.reset();
  }
  // A coarse digit touches the level before the cells do.
  if (cell_c > w.level_c - 0.1) w.at_level_since.reset();
  else if (!w.at_level_since) w.at_level_since = m.at;
  if (cell_c <= w.level_c - 0.3 || (w.at_level_since && m.at - *w.at_level_since >= minutes{30})) {
    w.reached = true;
    w.likely_since.reset();
    // Where a heater lets the cells come and go about the floor, the warning of the first time stands for all of them.
    if (!w.active || !w.lasting || !returns_below(w.level_c)) w.active = false;
    return;
  }
  if (cell_c > w.level_c + 0.15 || (w.above_since && m.at - *w.above_since >= minutes{75})) w.reached = false;
  w.probability = x.probability;
  const auto utc_of = [&](std::optional<Span> s) { return s ? std::optional<Utc>(utc_ + *s) : std::nullopt; };
  const auto soon = x.at ? x.at : x.early;
  // Short dips of a thermostat's cycle are likely followed by more of them: then only what is sure or soon.
  const bool cycling = w.lasting && (model_.hold() || !thermostats().empty()) && w.short_dip_at && m.at - *w.short_dip_at < hours{30};
  // Where it is not known yet how the bank follows its surroundings, the range is wide: then only what is sure all the same,
  // or so near that the rate of now decides.
  const bool known = soon && (cell_c - w.level_c <= near_k || course_[static_cast<std::size_t>(*soon / step)].sigma_k <= well_known_k);
  const double enough = !cycling ? (known ? 0.75 : 0.9) : soon && *soon <= hours{4} ? 0.65 : 0.97;
  const bool sure = soon && x.probability >= enough;
  const bool near = known && !cycling && ((x.probability >= 0.5 && *soon <= hours{5}) || (x.probability >= 0.55 && *soon <= hours{9}));
  const bool likely = !w.reached && cell_c > w.level_c && (sure || near);
  const bool unlikely = x.probability < 0.2 || (!x.at && x.probability < 0.4);
  if (likely) {
    if (!w.likely_since) w.likely_since = m.at;
  } else {
    w.likely_since.reset();
  }
  if (!unlikely)
    w.unlikely_since.reset();
  else if (!w.unlikely_since)
    w.unlikely_since = m.at;
  if (!w.active && w.likely_since && m.at - *w.likely_since >= likely_for) w.active = true;
  if (w.active && w.unlikely_since && m.at - *w.unlikely_since >= unlikely_for) w.active = false;
  if (!w.active && !likely) {
    w.at.reset();
    return;
  }
  if (!soon) return;  // wavering: the last figures stand
  w.at = utc_of(soon);
  w.early = utc_of(x.early);
  w.late = utc_of(x.late);
  // Heat: from when the cells are a degree above, until the morning sun.
  Span from{};
  for (const auto& p : course_)
    if (p.cell_c <= w.level_c + 1) {
      from = p.ahead;
      break;
    }
  const Span until = std::min<Span>(horizon, words_.next_at(morning_minute, *w.at) - utc_);
  const auto need = bank::heat_to_hold(model_, w.level_c + 0.5, [this](Span at, double) { return ahead(at); }, from, until);
  w.heat_from = utc_ + from;
  w.heat_w = need.watts;
  w.heat_kwh = need.kwh;
}

void Foresight::facts(Now now, Facts& out) const {
  // Tonight's hours need no day beside them.
  const auto said = [&](Utc t) { return t - now.utc < hours{14} ? words_.clock(t) : words_.when(t, now.utc); };
  for (const Warning& w : warnings_) {
    Fact* const fact = out.add("bank_cold_ahead", w.subject, w.active);
    if (!fact) continue;
    Fact& f = *fact;
    // Once charging is off, that is the news.
    if (w.subject != "discharge") f.hidden_by = {"bank_cold-bank"};
    if (w.subject == "floor") f.hidden_by.push_back("bank_cold_ahead-bank");
    if (w.active && cell_c_) {
      f.confidence = std::clamp(w.probability, 0.5, 0.99);
      f.text = "Cells at " + words_.temperature(*cell_c_) + (falling_ ? ", falling." : ".");
      if (w.reached && *cell_c_ <= w.level_c) {
        f.text += " That is about your floor of " + words_.temperature(w.level_c) + "; they come and go about it as the heater works. Nothing to do.";
        f.worth_saying = false;
        continue;
      }
      const std::string level = words_.temperature(w.level_c);
      f.text += (f.confidence >= 0.9 ? " Very likely" : " Likely") + std::string(level == words_.temperature(*cell_c_) ? " to go below " : " to reach ") + level;
      const std::string early = w.early ? said(std::max(*w.early, now.utc)) : "", late = w.late ? said(*w.late) : "";
      if (!early.empty() && !late.empty() && *w.late - *w.early >= minutes{20} && *w.late - *w.early <= hours{8})
        f.text += " between " + early + " and " + late;
      else if (w.at)
        f.text += *w.at - now.utc < hours{14} ? " about " + words_.clock(*w.at) : " " + about_when(words_, *w.at, now.utc);
      f.text += w.subject == "bank" ? "; charging stops there." : w.subject == "floor" ? ", your floor." : "; no discharge below that.";
      double rated = own_w_ > 0 && own_on_c_ ? own_w_ : 0;
      for (const auto& h : rig_.heaters) rated += h.rated_w;
      if (w.heat_w >= 1 && w.heat_from) {
        const std::string watts = Words::watts(w.heat_w);
        if (rated > 0 && w.heat_w > rated * 1.05) {
          f.text += " The heater cannot hold it: about " + watts + " is needed, it has " + Words::watts(rated) + ".";
        } else if (w.heat_kwh >= 0.005) {
          f.text += " About " + watts + " of heat from " + words_.clock(*w.heat_from) + " would hold it (about " + Words::energy(w.heat_kwh);
          if (soc_) f.text += "; the bank has " + Words::energy(std::max(0.0, *soc_ * rig_.bank.capacity_wh() / 1000));
          f.text += ").";
        }
      }
    } else {
      f.over_text = w.reached ? "Cells have reached " + words_.temperature(w.level_c) + "." : "Cells now likely to stay above " + words_.temperature(w.level_c) + ".";
    }
  }
  if (own_w_ > 0 || !rig_.heaters.empty()) {
    Fact* const f = out.add("heater", "bank", cannot_hold_ && cell_c_);
    if (f && f->condition && heating_since_) {
      const Utc morning = words_.next_at(8 * 60, now.utc);
      const double kwh = now_.heater_w * hours_of(morning - *heating_since_) / 1000;
      f->text = "Heater cannot hold " + words_.temperature(rig_.bank.window.lower_limit_c) + " tonight: " + Words::watts(now_.heater_w) +
               " since " + words_.when(*heating_since_, now.utc) + ", cells at " + words_.temperature(*cell_c_) + " and falling. Left on until " +
               words_.clock(morning) + " it costs about " + Words::energy(kwh) + ". No charging before the bank is warmed otherwise.";
      f->confidence = 0.9;
    } else if (f && heating_since_ && cell_c_) {
      f->over_text = "The heater keeps up again: cells at " + words_.temperature(*cell_c_) + ".";
    }
  }
}

std::vector<std::string> Foresight::sentences(Now now) const {
  std::vector<std::string> out;
  for (const Warning& w : warnings_)
    if (w.active && w.at && cell_c_ && *cell_c_ > w.level_c)
      out.push_back("Cells likely to reach " + words_.temperature(w.level_c) + " " + about_when(words_, *w.at, now.utc) + ".");
  return out;
}

std::optional<Utc> Foresight::warm_at(double level_c) const {
  for (const auto& p : course_)
    if (p.cell_c >= level_c) return utc_ + p.ahead;
  return std::nullopt;
}

nlohmann::json Foresight::memory() const {
  const auto m = model_.memory();
  nlohmann::json j{{"x", m.x}, {"p", m.p}, {"error", m.error}, {"hours", m.hours}, {"cabin_tau", cabin_tau_h_}};
  auto& turns = j["turns"] = nlohmann::json::array();
  for (const auto& t : m.turns) turns.push_back({ms_of(t.at), t.low_c, t.amplitude_k, t.strength_k_per_h});
  const auto day = [](const DayCourse& d) {
    auto a = nlohmann::json::array();
    for (const auto& v : d.means()) a.push_back(v ? nlohmann::json(*v) : nlohmann::json());
    return a;
  };
  j["air_day"] = day(air_day_);
  j["cabin_day"] = day(cabin_day_);
  if (own_on_c_) j["own_on"] = *own_on_c_;
  j["own_w"] = own_w_;
  j["habit"] = habit_;
  auto& standing = j["standing"] = nlohmann::json::array();
  for (const Warning& w : warnings_)
    if (w.active) standing.push_back(w.subject);
  return j;
}

void Foresight::recall(const nlohmann::json& j) {
  try {
    bank::ThermalModel::Memory m;
    m.x = j.at("x").get<decltype(m.x)>();
    m.p = j.at("p").get<decltype(m.p)>();
    m.error = j.at("error").get<double>();
    m.hours = j.at("hours").get<double>();
    for (const auto& t : j.at("turns"))
      m.turns.push_back({elapsed_ms(t.at(0).get<std::int64_t>()), t.at(1).get<double>(), t.at(2).get<double>(), t.at(3).get<double>()});
    const auto day = [](const nlohmann::json& a) {
      std::array<std::optional<double>, 48> out;
      for (std::size_t i = 0; i < 48; ++i)
        if (a.at(i).is_number()) out[i] = a.at(i).get<double>();
      return out;
    };
    const auto air = day(j.at("air_day")), cabin = day(j.at("cabin_day"));
    const double tau = j.at("cabin_tau").get<double>(), own_w = j.at("own_w").get<double>();
    const auto habit = j.at("habit").get<decltype(habit_)>();
    model_.recall(m);
    habit_ = habit;
    air_day_.recall(air);
    cabin_day_.recall(cabin);
    cabin_tau_h_ = tau;
    own_w_ = own_w;
    if (j.contains("own_on")) own_on_c_ = j.at("own_on").get<double>();
    for (const auto& s : j.at("standing"))
      for (Warning& w : warnings_)
        if (s == w.subject) w.active = true;
  } catch (const nlohmann::json::exception&) {
    // foreign or damaged: begin anew
  }
}

}  // namespace fw::guard
