#include "outlook/bank_ahead.h"

#include <algorithm>
#include <cmath>

namespace fw::outlook {
namespace {

constexpr double full_from = 0.995;
}  // namespace

double usable_share(double cell_c) {
  struct P { double c, share; };
  static constexpr P p[] = {{-20, 0.62}, {-10, 0.68}, {-5, 0.83}, {0, 0.95}, {10, 1.0}};
  if (cell_c <= p[0].c) return p[0].share;
  for (std::size_t i = 1; i < std::size(p); ++i)
    if (cell_c <= p[i].c) return p[i - 1].share + (p[i].share - p[i - 1].share) * (cell_c - p[i - 1].c) / (p[i].c - p[i - 1].c);
  return 1;
}

BankModel::BankModel(const rig::Rig& rig, const BankNow& now)
    : rig_(rig), now_(now), capacity_wh_(std::max(1.0, rig.bank.capacity_wh())) {
  for (const auto& c : rig.chargers) limits_current_ |= c.kind == rig::ChargerKind::solar && c.stop_by == rig::StopBy::limit;
  just_allowed_c_ = rig.bank.window.lower_limit_c + 0.1;
  if (!limits_current_) return;
  for (const auto& b : rig.bank.window.bands) bands_.push_back({b.from_c, b.to_c, b.c_rate});
  if (bands_.empty()) bands_ = bank::default_bands();
}

void judge_charging(const rig::Rig& rig, bool allowed_now, const std::vector<double>& sigma_k, std::vector<BankStep>& steps) {
  const auto& window = rig.bank.window;
  constexpr double off_sd[] = {-1.28, -0.52, 0, 0.52, 1.28};  // the middles of five equal chances
  for (auto& s : steps) s.may_charge = 0;
  for (const double sd : off_sd) {
    bool allowed = allowed_now;
    double hours_on = 0;
    for (std::size_t i = 0; i < steps.size(); ++i) {
      BankStep& s = steps[i];
      if (s.cell_c) {
        const double cell_c = *s.cell_c + sd * (i < sigma_k.size() ? sigma_k[i] : 0);
        if (cell_c <= window.lower_limit_c || cell_c >= window.upper_limit_c) allowed = false;
        else if (cell_c >= window.resume_c && cell_c <= window.upper_resume_c) allowed = true;
      } else if (hours_on > 6) {
        allowed = true;  // no cell temperature known: nothing to hold it off for ever
      }
      if (allowed) s.may_charge += 1.0 / std::size(off_sd);
      hours_on += s.hours;
    }
  }
  for (auto& s : steps) s.may_charge = std::min(1.0, s.may_charge);
}

BankModel::Flow BankModel::flow(const State& at, const BankStep& s) const {
  Flow f;
  f.served_share = served_at(now_.served, at.soc);
  f.load_w = std::max(0.0, s.load_w + now_.unexplained_w) * f.served_share;
  double charge_limit = 1e9;
  if (limits_current_ && s.cell_c) charge_limit = bank::c_rate_at(bands_, std::max(*s.cell_c, just_allowed_c_), rig_.bank.window.interpolate) * capacity_wh_;
  const double room = (1 - at.soc) * capacity_wh_ / charge_efficiency / s.hours;
  const double trickle = at.soc > full_from ? now_.full_draw_w : 0;
  const double available = std::max(0.0, s.available_w);
  f.fed_w = (1 - s.may_charge) * now_.held_feeds * std::min(available, f.load_w);
  f.take_w = f.fed_w + std::min(available * s.may_charge, f.load_w + std::max(trickle, std::min(charge_limit, room)));
  return f;
}

void BankModel::step(State& at, const BankStep& s, const Flow& f, double shift_wh) const {
  double in = (f.take_w - f.load_w) * s.hours;
  if (in > 0) in *= charge_efficiency;
  at.soc = std::clamp(at.soc + (in + shift_wh) / capacity_wh_, 0.0, 1.0);
  at.hours += s.hours;
}

namespace {
/// Walks the steps; seen(flow, step, state after, reach before and after) says whether to go on.
template <class Seen>
void walk(const rig::Rig& rig, const BankNow& now, const std::vector<BankStep>& steps, double offset_sd, double load_share, Seen&& seen) {
  const BankModel model(rig, now);
  BankModel::State at{std::clamp(now.soc + offset_sd * now.soc_error, 0.0, 1.0), 0};
  double reach = at.soc;  // the same, with what the cold keeps back
  double sun_error = 0, load_error2 = 0, total_before = 0;
  for (BankStep s : steps) {
    s.load_w *= load_share;
    const BankModel::Flow f = model.flow(at, s);
    double shift = 0;
    if (offset_sd != 0) {
      // Errors: the sun's of a day go together, the loads' hours are half independent.
      sun_error += f.take_w * s.available_error * s.hours;
      const double of_load = s.load_error_w * s.hours, of_habit = 0.04 * f.load_w * s.hours;
      load_error2 += of_load * of_load * 4 + of_habit * of_habit * 24;
      const double total = now.widen * std::sqrt(sun_error * sun_error * 0.64 + load_error2);
      shift = offset_sd * (total - total_before);
      total_before = total;
    }
    const double before = reach;
    double in = (f.take_w - f.load_w) * s.hours;
    if (in > 0) in *= charge_efficiency;
    const double cold = in < 0 && s.cell_c ? usable_share(*s.cell_c) : 1;
    model.step(at, s, f, shift);
    reach = std::clamp(reach + (in / cold + shift) / model.capacity_wh(), 0.0, 1.0);
    if (at.soc > full_from) reach = std::max(reach, at.soc);
    if (!seen(f, s, at, before, reach)) return;
  }
}

void note_crossing(double level, double before, double reach, const BankStep& s, double end_h, std::optional<double>& when) {
  if (when || reach > level) return;
  const double part = before > reach ? std::clamp((before - level) / (before - reach), 0.0, 1.0) : 1;
  when = end_h - (1 - part) * s.hours;
}
}  // namespace

BankPath run_bank(const rig::Rig& rig, const BankNow& now, const std::vector<BankStep>& steps, double offset_sd) {
  BankPath out;
  for (auto* v : {&out.soc, &out.accepted_w, &out.served_w, &out.curtailed_w, &out.held_off_w}) v->reserve(steps.size());
  out.chargeable.reserve(steps.size());
  const double soc = std::clamp(now.soc + offset_sd * now.soc_error, 0.0, 1.0);
  if (soc <= rig.bank.reserve_soc) out.reserve_h = 0;
  if (soc <= rig.bank.departure_reserve_soc) out.departure_h = 0;
  walk(rig, now, steps, offset_sd, 1, [&](const BankModel::Flow& f, const BankStep& s, const BankModel::State& at, double before, double reach) {
    const double possible = std::max(0.0, s.available_w);
    out.held_off_w.push_back(possible * (1 - s.may_charge) - f.fed_w);
    out.curtailed_w.push_back(std::max(0.0, possible * s.may_charge - (f.take_w - f.fed_w)));
    out.accepted_w.push_back(f.take_w);
    out.served_w.push_back(s.load_w * f.served_share);
    out.chargeable.push_back(s.may_charge >= 0.5);
    out.soc.push_back(at.soc);
    note_crossing(rig.bank.reserve_soc, before, reach, s, at.hours, out.reserve_h);
    note_crossing(rig.bank.departure_reserve_soc, before, reach, s, at.hours, out.departure_h);
    return true;
  });
  return out;
}

std::optional<double> reached_after_h(const rig::Rig& rig, const BankNow& now, const std::vector<BankStep>& steps, double soc_level,
                                      double offset_sd, double load_share) {
  if (std::clamp(now.soc + offset_sd * now.soc_error, 0.0, 1.0) <= soc_level) return 0;
  std::optional<double> out;
  walk(rig, now, steps, offset_sd, load_share, [&](const BankModel::Flow&, const BankStep& s, const BankModel::State& at, double before, double reach) {
    note_crossing(soc_level, before, reach, s, at.hours, out);
    return !out;
  });
  return out;
}

double accepted_kwh(const BankPath& path, const std::vector<BankStep>& steps, std::size_t from, std::size_t to) {
  double wh = 0;
  for (std::size_t i = from; i < std::min(to, steps.size()); ++i) wh += path.accepted_w[i] * steps[i].hours;
  return wh / 1000;
}

SocSpan soc_from_voltage(double bank_v, double nominal_v, std::optional<double> current_a, double capacity_ah) {
  const double cells = std::max(1.0, std::round(nominal_v / 3.2));
  const double cell_v = bank_v / cells;
  const double rate = current_a && capacity_ah > 0 ? *current_a / capacity_ah : 0;
  if (cell_v >= 3.42 && rate >= 0 && rate < 0.05) return {0.90, 1.0};
  if (cell_v < 2.9 && rate > -0.3) return {0.0, 0.10};
  if (cell_v < 3.1 && rate > -0.3) return {0.0, 0.20};
  return {};
}

}  // namespace fw::outlook
