#include "guard/charger_line.h"

#include <algorithm>
#include <cmath>

#include "guard/guard.h"
#include "guard/wire.h"

namespace fw::guard {

namespace {
constexpr Span ramp_before_off = seconds{3};
constexpr Span heard_lately = minutes{5};
constexpr double no_current_a = 0.5;
constexpr double some_current_a = 1.0;

void publish(std::vector<Publish> p, std::vector<Effect>& out) {
  for (auto& one : p) out.emplace_back(std::move(one));
}
}  // namespace

ChargerLine::ChargerLine(const rig::Rig& rig, int index, const Decisions& decisions)
    : rig_(rig), charger_(rig.chargers[index]), decide_(decisions), index_(index) {
  for (const int s : charger_.strings) outputs_.push_back({s, {}, {}});
}

void ChargerLine::say(Now now, std::vector<Effect>& out) {
  said_ = now.at;
  if (permit_) {
    off_due_.reset();
    publish(yes_for(rig_, charger_, limit_a_, reason_, permit_valid_for, now.utc + permit_valid_for), out);
    return;
  }
  publish(no_for(rig_, charger_, reason_), out);
  const auto off = off_for(charger_);
  if (!off) return;
  if (charger_.stop_by == rig::StopBy::limit && !charger_.limit_topic.empty() && now.at - since_ < ramp_before_off) {
    off_due_ = since_ + ramp_before_off;
    return;
  }
  off_due_.reset();
  out.emplace_back(*off);
}

void ChargerLine::store(Now now, std::vector<Effect>& out) {
  CommandRow row;
  row.when = {now.utc, now.at, now.trusted};
  row.id = command_id_;
  row.charger = charger_.name;
  row.permit = permit_;
  row.current_limit_a = permit_ ? limit_a_ : 0.0;
  row.reason = reason_;
  row.confirmed = confirmed_;
  out.emplace_back(Store{row});
}

void ChargerLine::settle(Elapsed now) {
  if (std::erase_if(changes_, [&](Elapsed c) { return now - c >= hours{1}; }) > 0) waiting_ = false;
}

void ChargerLine::want(bool permit, double limit_a, const std::string& reason, Now now, std::vector<Effect>& out) {
  settle(now.at);
  waiting_ = permit && !permit_ && !decide_.may_change_again(static_cast<int>(changes_.size()));
  if (waiting_) permit = false;
  if (!permit) limit_a = 0;
  if (charger_.rated_a > 0) limit_a = std::min(limit_a, charger_.rated_a);
  const bool changed = !told_ || permit != permit_ || std::abs(limit_a - limit_a_) >= 0.05;
  if (!changed) {
    reason_ = reason;
    return;
  }
  if (!told_ || permit != permit_) since_ = now.at;
  limit_since_ = now.at;
  if (permit != permit_) changes_.push_back(now.at);
  told_ = true;
  permit_ = permit;
  limit_a_ = limit_a;
  reason_ = reason;
  confirmed_.reset();
  contrary_since_.reset();
  command_id_ = charger_.name + "-" + std::to_string(ms_of(now.at)) + "-" + std::to_string(++commands_);
  say(now, out);
  store(now, out);
}

std::optional<Elapsed> ChargerLine::next_deadline() const {
  if (!told_) return std::nullopt;
  Elapsed next = said_ + (permit_ ? permit_renewed_every : refusal_repeated_every);
  if (contrary_since_) next = std::min(next, said_ + charger_.confirm_within);
  if (off_due_) next = std::min(next, *off_due_);
  if (waiting_ && !changes_.empty()) next = std::min(next, changes_.front() + hours{1});
  return next;
}

void ChargerLine::advance(Now now, std::vector<Effect>& out) {
  if (!told_) return;
  if (off_due_ && *off_due_ <= now.at) {
    off_due_.reset();
    if (const auto off = off_for(charger_); off && !permit_) out.emplace_back(*off);
  }
  Span every = permit_ ? permit_renewed_every : refusal_repeated_every;
  if (contrary_since_) every = std::min(every, charger_.confirm_within);
  if (now.at - said_ >= every) say(now, out);
  judge(now, out);
}

void ChargerLine::on_reading(const Reading& r, Now now, std::vector<Effect>& out) {
  if (!r.value || r.retained) return;
  Heard* heard = nullptr;
  if (r.channel.thing == index_) {
    if (r.channel.quantity == Quantity::charger_on) heard = &on_;
    if (r.channel.quantity == Quantity::charger_limit) heard = &limit_;
    if (r.channel.quantity == Quantity::charger_current) heard = &current_;
  }
  for (Output& o : outputs_) {
    if (r.channel == Channel{Quantity::output_current, o.string}) heard = &o.current;
    if (r.channel == Channel{Quantity::stage, o.string}) heard = &o.stage;
  }
  if (!heard) return;
  *heard = {*r.value, r.at, true};
  judge(now, out);
}

ChargerLine::Sign ChargerLine::sign(Elapsed now) const {
  const auto after = [&](const Heard& h) { return h.known && h.at > since_; };
  const auto lately = [&](const Heard& h) { return after(h) && now - h.at <= heard_lately; };
  if (over_limit(now)) return Sign::contrary;
  // What it says of its switch holds until it says otherwise, for many speak only on change.
  if (on_.known) {
    const bool agrees = (on_.value > 0.5) == permit_;
    if (agrees) return Sign::obeys;
    return Sign::contrary;
  }
  if (permit_) {
    if (lately(limit_)) return std::abs(limit_.value - limit_a_) <= std::max(0.6, 0.05 * limit_a_) ? Sign::obeys : Sign::contrary;
    if (lately(current_) && current_.value >= some_current_a) return Sign::obeys;
    for (const Output& o : outputs_)
      if (lately(o.current) && o.current.value >= some_current_a) return Sign::obeys;
    return Sign::nothing;
  }
  if (lately(limit_)) return limit_.value <= 0.1 ? Sign::obeys : Sign::contrary;
  if (lately(current_)) {
    if (current_.value <= no_current_a) return Sign::obeys;
    if (current_.value >= some_current_a) return Sign::contrary;
  }
  bool all_quiet = !outputs_.empty(), any_busy = false;
  for (const Output& o : outputs_) {
    const bool off = lately(o.stage) && (o.stage.value == static_cast<double>(Stage::off) || o.stage.value == static_cast<double>(Stage::inhibited));
    const bool quiet = off || (lately(o.current) && o.current.value <= no_current_a);
    all_quiet = all_quiet && quiet;
    any_busy = any_busy || (!off && lately(o.current) && o.current.value >= some_current_a);
  }
  if (any_busy) return Sign::contrary;
  return all_quiet ? Sign::obeys : Sign::nothing;
}

void ChargerLine::judge(Now now, std::vector<Effect>& out) {
  if (!told_) return;
  switch (sign(now.at)) {
    case Sign::obeys:
      contrary_since_.reset();
      if (!confirmed_) {
        confirmed_ = now.utc;
        store(now, out);
      }
      break;
    case Sign::contrary:
      if (!contrary_since_) contrary_since_ = now.at;
      break;
    case Sign::nothing:
      break;
  }
}

bool ChargerLine::over_limit(Elapsed now) const {
  if (!told_ || !permit_ || (charger_.rated_a > 0 && limit_a_ > charger_.rated_a - 0.05)) return false;
  // Heard since the limit was said; a tenth and an ampere are the measurement's.
  const auto heard = [&](const Heard& h) { return h.known && h.at > limit_since_ && now - h.at <= heard_lately; };
  std::optional<double> a;
  if (heard(current_)) a = current_.value;
  else
    for (const Output& o : outputs_)
      if (heard(o.current)) a = a.value_or(0) + o.current.value;
  return a && *a > limit_a_ * 1.1 + 1;
}

bool ChargerLine::unconfirmed(Elapsed now) const {
  if (!told_ || !contrary_since_) return false;
  // A charger that stays off although it may is a nuisance, one that stays on a danger.
  const Span wait = permit_ && !over_limit(now) ? std::max<Span>(minutes{15}, charger_.confirm_within * 3) : charger_.confirm_within * 3;
  return now - *contrary_since_ >= wait;
}

std::optional<double> ChargerLine::current_a(Elapsed now) const {
  if (current_.known && now - current_.at <= heard_lately) return current_.value;
  std::optional<double> sum;
  for (const Output& o : outputs_)
    if (o.current.known && now - o.current.at <= heard_lately) sum = sum.value_or(0) + o.current.value;
  return sum;
}

void ChargerLine::farewell(const std::string& reason, Now now, std::vector<Effect>& out) {
  const bool was_yes = permit_;
  permit_ = false;
  limit_a_ = 0;
  reason_ = reason;
  publish(no_for(rig_, charger_, reason), out);
  if (const auto off = off_for(charger_)) out.emplace_back(*off);
  if (!was_yes) return;
  since_ = now.at;
  confirmed_.reset();
  command_id_ = charger_.name + "-" + std::to_string(ms_of(now.at)) + "-" + std::to_string(++commands_);
  store(now, out);
}

void ChargerLine::recall(bool permit, double limit_a, const std::string& reason, Elapsed since) {
  told_ = true;
  permit_ = permit;
  limit_a_ = limit_a;
  reason_ = reason;
  since_ = limit_since_ = since;
  said_ = Elapsed{Span{0}};  // said again at once, on the new connection
  command_id_ = charger_.name + "-" + std::to_string(ms_of(since)) + "-0";
}

}  // namespace fw::guard
