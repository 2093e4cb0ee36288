#include "guard/cells.h"

#include <algorithm>
#include <cmath>

namespace fw::guard {

namespace {

constexpr Span default_max_age = minutes{15};
constexpr double apart_k = 8;
constexpr Span late = minutes{1};
constexpr Span same_lag = seconds{10};
constexpr int agreeing_for_a_new_lag = 3;

/// Power-on, disconnect and empty values sensors are known for, as the mapping turns them into degC.
std::vector<double> magic_values(const rig::Rig& rig, int sensor) {
  std::vector<double> out{85.0, -127.0, 0.0, 127.0, -55.0};
  for (const auto& s : rig.sources) {
    if (s.channel != Channel{Quantity::cell_temperature, sensor}) continue;
    for (const double raw : {0.0, 85.0, -127.0, 255.0, -1.0}) {
      const double v = (raw * s.factor + s.offset) * s.sign;
      if (s.unit == "degF") out.push_back((v - 32) / 1.8);
      if (s.unit == "degC" && raw != -1.0) out.push_back(v);
    }
  }
  return out;
}

double heaters_w(const rig::Rig& rig) {
  double w = rig.bank.self_heating ? 0.15 * rig.bank.capacity_wh() : 0;
  for (const auto& h : rig.heaters) w += h.rated_w;
  return w;
}

}  // namespace

Cells::Cells(const rig::Rig& rig, const Decisions& decisions) : rig_(rig), decide_(decisions) {
  std::size_t n = rig.bank.sensors.size();
  for (const auto& s : rig.sources)
    if (s.channel.quantity == Quantity::cell_temperature) n = std::max(n, static_cast<std::size_t>(s.channel.thing) + 1);
  const double fastest = bank::fastest_k_per_h(rig.bank.capacity_wh(), heaters_w(rig));
  for (std::size_t i = 0; i < n; ++i) {
    Sensor s{i < rig.bank.sensors.size() && !rig.bank.sensors[i].name.empty() ? rig.bank.sensors[i].name : "cells",
             bank::SensorBelief(fastest, magic_values(rig, static_cast<int>(i))), default_max_age, {}, {}, {}, 0, {}, {}, {}, {}, {}, 0, {}};
    for (const auto& src : rig.sources)
      if (src.channel == Channel{Quantity::cell_temperature, static_cast<int>(i)} && src.max_age) s.max_age = *src.max_age;
    sensors_.push_back(std::move(s));
  }
}

bool Cells::timely(Sensor& s, const Reading& r, Now now) {
  // A sender's clock may be off, so only the change of its lag counts. Three in a row that agree are a clock that was
  // set; at the start two, unless the stamp is right by our own clock.
  const Span lag{ms_of(r.at) - ms_of(*r.stamped)};
  const bool said_before = s.stamped && *r.stamped == *s.stamped;
  const bool right_by_us = !s.lag && now.trusted && now.utc - *r.stamped <= late && *r.stamped - now.utc <= late;
  const bool on_time = right_by_us || (s.lag && lag <= *s.lag + late);
  if (said_before) return false;
  if (!on_time) {
    const bool agrees = s.other_count > 0 && lag - s.other_lag <= same_lag && s.other_lag - lag <= same_lag;
    s.other_count = agrees ? s.other_count + 1 : 1;
    s.other_lag = lag;
    if (s.other_count < (s.lag ? agreeing_for_a_new_lag : 2)) return false;
    s.lag = lag;
    s.stamped.reset();
  }
  s.other_count = 0;
  s.lag = s.lag ? std::min(*s.lag, lag) : lag;
  if (s.stamped && *r.stamped < *s.stamped) return false;
  s.stamped = r.stamped;
  return true;
}

Cells::Taken Cells::on_reading(const Reading& r, Now now) {
  if (r.retained || !r.value || r.channel.thing < 0 || r.channel.thing >= count()) return Taken::ignored;
  Sensor& s = sensors_[r.channel.thing];
  if (r.stamped && !timely(s, r, now)) {
    // Before the sender's lag is known a reading carries nothing, but may make things stricter.
    if (!s.lag) s.pending_c = *r.value, s.pending_at = r.at;
    return Taken::ignored;
  }
  s.pending_c.reset();
  const auto still_before = s.belief.still_since();
  const auto answer = s.belief.offer(r.at, *r.value);
  if (s.belief.still_since() != still_before) s.still_from.reset();
  note_spread(r.at);
  return answer == bank::SensorBelief::Answer::believed ? Taken::believed : Taken::doubted;
}

bool Cells::usable(int i, Elapsed now) const {
  const Sensor& s = sensors_[i];
  if (!s.belief.value_c() || !s.belief.believed_at()) return false;
  std::optional<Span> doubted_for;
  if (s.belief.doubted_since()) doubted_for = now - *s.belief.doubted_since();
  if (s.belief.frozen()) return false;
  return decide_.carries(now - *s.belief.believed_at(), doubted_for, s.max_age, rig_.bank.window.temperature_grace);
}

std::optional<double> Cells::cell_c(int i, Elapsed now) const {
  if (i < 0 || i >= count() || !usable(i, now)) return std::nullopt;
  return sensors_[i].belief.value_c();
}

Cells::View Cells::at(Elapsed now) const {
  View v;
  std::vector<double>& cells = usable_c_;
  cells.clear();
  double lost_was_colder_by = 0;
  for (int i = 0; i < count(); ++i) {
    const Sensor& s = sensors_[i];
    if (usable(i, now)) {
      cells.push_back(*s.belief.value_c());
    } else if (s.belief.value_c()) {
      lost_was_colder_by = std::max(lost_was_colder_by, s.below_others_k.value_or(0));
    }
    if (s.belief.doubted_since() && s.belief.doubted_but_possible()) {
      const double c = s.belief.last_doubted_c();
      if (decide_.too_cold(c, rig_.bank.window) || decide_.too_hot(c, rig_.bank.window)) v.forbidden_c = c;
    }
  }
  for (const Sensor& s : sensors_)
    if (s.pending_c && now - s.pending_at <= s.max_age && decide_.too_cold(*s.pending_c, rig_.bank.window)) v.forbidden_c = s.pending_c;
  if (cells.empty()) return v;
  // The lost sensor sat at the coldest place: the others stand in for it, less the difference last seen.
  v.min_c = decide_.coldest(cells) - lost_was_colder_by;
  for (const Sensor& s : sensors_)
    if (s.pending_c && now - s.pending_at <= s.max_age) v.min_c = std::min(*v.min_c, *s.pending_c);
  v.max_c = *std::max_element(cells.begin(), cells.end());
  v.perhaps_min_c = v.min_c, v.perhaps_max_c = v.max_c;
  for (const Sensor& s : sensors_) {
    if (!s.belief.doubted_since() || !s.belief.doubted_but_possible() || now - *s.belief.doubted_since() > s.max_age) continue;
    v.perhaps_min_c = std::min(*v.perhaps_min_c, s.belief.last_doubted_c());
    v.perhaps_max_c = std::max(*v.perhaps_max_c, s.belief.last_doubted_c());
  }
  return v;
}

std::optional<Elapsed> Cells::next_expiry(Elapsed now) const {
  std::optional<Elapsed> next;
  for (int i = 0; i < count(); ++i) {
    if (!usable(i, now)) continue;
    const Sensor& s = sensors_[i];
    const Span grace = rig_.bank.window.temperature_grace;
    Elapsed e = *s.belief.believed_at() + s.max_age + grace;
    if (s.belief.doubted_since()) e = std::min(e, *s.belief.doubted_since() + grace);
    e += Span{1};
    if (e > now && (!next || e < *next)) next = e;
  }
  return next;
}

void Cells::note_spread(Elapsed now) {
  double low = 1e9, high = -1e9;
  int fresh = 0;
  for (int i = 0; i < count(); ++i) {
    if (!usable(i, now) || sensors_[i].belief.doubted_since()) continue;
    ++fresh;
    low = std::min(low, *sensors_[i].belief.value_c());
    high = std::max(high, *sensors_[i].belief.value_c());
  }
  if (fresh > 0)
    for (int i = 0; i < count(); ++i) {
      // Lost before it was ever compared: what it said last against what the others say first.
      Sensor& s = sensors_[i];
      if (!s.below_others_k && !usable(i, now) && s.belief.value_c()) s.below_others_k = std::clamp(low - *s.belief.value_c(), 0.0, 5.0);
    }
  if (fresh < 2) return;
  if (high - low <= apart_k)
    apart_since_.reset();
  else if (!apart_since_)
    apart_since_ = now;
  if (fresh < count()) return;
  for (int i = 0; i < count(); ++i) {
    double others = 1e9;
    for (int k = 0; k < count(); ++k)
      if (k != i) others = std::min(others, *sensors_[k].belief.value_c());
    sensors_[i].below_others_k = std::clamp(others - *sensors_[i].belief.value_c(), 0.0, 5.0);
  }
}

void Cells::watch_frozen(Elapsed now, const std::function<std::optional<double>(double)>& model_rate) {
  constexpr double moved_k = 1.5;
  for (int i = 0; i < count(); ++i) {
    Sensor& s = sensors_[i];
    if (!s.belief.value_c() || s.belief.frozen() || s.belief.doubted_since()) continue;
    if (!s.still_from) {
      s.still_from = s.belief.still_since();
      s.others_then.assign(sensors_.size(), std::nullopt);
      for (int k = 0; k < count(); ++k) s.others_then[k] = cell_c(k, now);
      s.model_c = *s.belief.value_c();
      s.model_at = now;
      continue;
    }
    const Span still = now - *s.still_from;
    if (const auto rate = model_rate(s.model_c))
      s.model_c += *rate * hours_of(std::min<Span>(now - s.model_at, minutes{5}));
    else
      s.model_c = *s.belief.value_c();
    s.model_at = now;
    const Span longest = s.belief.longest_still();
    bool frozen = false;
    for (int k = 0; k < count(); ++k) {
      const auto other = cell_c(k, now);
      if (k == i || !other || !s.others_then[k]) continue;
      // A lone mover is as likely the one at fault: it must have moved as cells do, digit after digit.
      if (std::abs(*other - *s.others_then[k]) >= moved_k && still >= std::max<Span>(minutes{40}, longest * 3 / 2)) frozen = true;
    }
    if (std::abs(s.model_c - *s.belief.value_c()) >= moved_k && still >= std::max<Span>(hours{2}, longest * 3 / 2)) frozen = true;
    if (frozen) s.belief.declare_frozen(now);
  }
}

std::vector<Cells::Memory> Cells::memory() const {
  std::vector<Memory> out;
  for (const Sensor& s : sensors_)
    out.push_back({s.name, s.belief.value_c(), s.belief.believed_at().value_or(Elapsed{}), s.belief.longest_still()});
  return out;
}

void Cells::recall(const std::vector<Memory>& memory, bool fresh) {
  for (Sensor& s : sensors_)
    for (const Memory& m : memory) {
      if (m.name != s.name) continue;
      s.belief.set_longest_still(m.longest_still);
      if (!m.value_c) continue;
      s.belief.set_context(*m.value_c);
      if (fresh) s.belief.offer(m.at, *m.value_c);
    }
}

}  // namespace fw::guard
