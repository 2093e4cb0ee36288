#include "outlook/bank_ahead.h"

#include <algorithm>
#include <cmath>

#include "bank/charge_window.h"

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

BankPath run_bank(const rig::Rig& rig, const BankNow& now, const std::vector<BankStep>& steps, double offset_sd) {
  BankPath out;
  const double capacity = std::max(1.0, rig.bank.capacity_wh());
  bool limits_current = false;
  for (const auto& c : rig.chargers) limits_current |= c.kind == rig::ChargerKind::solar && c.stop_by == rig::StopBy::limit;
  std::vector<bank::Band> bands;
  for (const auto& b : rig.bank.window.bands) bands.push_back({b.from_c, b.to_c, b.c_rate});
  if (bands.empty()) bands = bank::default_bands();

  double soc = std::clamp(now.soc + offset_sd * now.soc_error, 0.0, 1.0);
  double reach = soc;  // the same, with what the cold keeps back
  bool allowed = now.charging_allowed;
  double t = 0, sun_error = 0, load_error2 = 0, total_before = 0;
  if (soc <= rig.bank.reserve_soc) out.reserve_h = 0;
  if (soc <= rig.bank.departure_reserve_soc) out.departure_h = 0;
  for (const auto& s : steps) {
    const auto& window = rig.bank.window;
    if (s.cell_c) {
      if (*s.cell_c <= window.lower_limit_c || *s.cell_c >= window.upper_limit_c) allowed = false;
      else if (*s.cell_c >= window.resume_c && *s.cell_c <= window.upper_resume_c) allowed = true;
    } else if (t > 6) {
      allowed = true;  // no cell temperature known: nothing to hold it off for ever
    }
    const double possible = std::max(0.0, s.available_w);
    double take = 0;
    const double load = std::max(0.0, s.load_w + now.unexplained_w);
    if (allowed) {
      double charge_limit = 1e9;
      if (limits_current && s.cell_c)
        charge_limit = bank::c_rate_at(bands, *s.cell_c, window.interpolate) * capacity;
      const double room = (1 - soc) * capacity / charge_efficiency / s.hours;
      const double trickle = soc > full_from ? now.full_draw_w : 0;
      take = std::min(possible, load + std::max(trickle, std::min(charge_limit, room)));
      out.held_off_w.push_back(0);
      out.curtailed_w.push_back(possible - take);
    } else {
      out.held_off_w.push_back(possible);
      out.curtailed_w.push_back(0);
    }
    out.accepted_w.push_back(take);
    out.chargeable.push_back(allowed);

    // Errors: the sun's of a day go together, the loads' hours are half independent.
    sun_error += take * s.available_error * s.hours;
    load_error2 += std::pow(s.load_error_w * s.hours, 2) * 4 + std::pow(0.04 * load * s.hours, 2) * 24;
    const double total = now.widen * std::sqrt(std::pow(sun_error * 0.8, 2) + load_error2);
    const double shift = offset_sd * (total - total_before);
    total_before = total;

    double in = (take - load) * s.hours;
    if (in > 0) in *= charge_efficiency;
    const double before = reach;
    const double cold = in < 0 && s.cell_c ? usable_share(*s.cell_c) : 1;
    soc = std::clamp(soc + (in + shift) / capacity, 0.0, 1.0);
    reach = std::clamp(reach + (in / cold + shift) / capacity, 0.0, 1.0);
    if (soc > full_from) reach = std::max(reach, soc);
    auto crossed = [&](double level, std::optional<double>& at) {
      if (at || reach > level) return;
      const double part = before > reach ? std::clamp((before - level) / (before - reach), 0.0, 1.0) : 1;
      at = t + part * s.hours;
    };
    crossed(rig.bank.reserve_soc, out.reserve_h);
    crossed(rig.bank.departure_reserve_soc, out.departure_h);
    out.soc.push_back(soc);
    t += s.hours;
  }
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
