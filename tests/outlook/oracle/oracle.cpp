#include "outlook/oracle/oracle.h"

#include <algorithm>
#include <cmath>

namespace fw::oracle {

double gain_kwh(const World& w, std::size_t at, std::size_t end, bool count_bank) {
  const double h = hours_of(truth_step);
  if (at >= w.steps.size()) return 0;
  const auto& then = w.steps[at];
  double left_soc = then.soc, cleared_soc = then.soc, left_taken = 0, cleared_taken = 0, possible = 0;
  auto take = [&](double could_w, const StepTruth& s, double& soc) {
    if (!s.may_charge) could_w = 0;
    const double room_w = (1 - soc) * w.capacity_wh / h;
    const double taken = std::min(0.96 * could_w, s.load_w + room_w);
    soc = std::max(0.0, soc + (taken - s.load_w) * h / w.capacity_wh);
    return taken * h;
  };
  for (std::size_t i = at; i < std::min(end, w.steps.size()); ++i) {
    const auto& s = w.steps[i];
    bool falling = false;
    double since_snow_h = -1;
    for (const auto& [from, to] : w.snowfalls) {
      falling |= w.at(i) >= from && w.at(i) < to;
      const Utc begin = std::max(from, w.at(at));
      if (to > w.at(at) && w.at(i) >= begin) since_snow_h = std::max(since_snow_h, hours_of(std::min(w.at(i), to) - begin));
    }
    double left_w = 0, cleared_w = 0;
    for (std::size_t k = 0; k < s.strings.size(); ++k) {
      const auto& truth = s.strings[k];
      // Where it was cleared by hand in truth it would have gone the way of a string that was left alone, or, when
      // there is none, stayed as it was.
      double left = truth.snow_loss;
      for (const auto& [c, string] : w.cleared) {
        if (string != static_cast<int>(k) || c <= w.at(at) || c > w.at(i)) continue;
        double stays = 1;
        for (std::size_t q = 0; q < s.strings.size(); ++q) {
          const bool alone = std::none_of(w.cleared.begin(), w.cleared.end(), [&](const auto& e) {
            return e.second == static_cast<int>(q) && e.first > w.at(at) && e.first <= w.at(i);
          });
          if (alone && q != k && then.strings[q].snow_loss >= 0.3) stays = std::min(stays, s.strings[q].snow_loss / then.strings[q].snow_loss);
        }
        left = std::max(left, then.strings[k].snow_loss * stays);
      }
      double after = left;
      if (then.strings[k].snow_loss >= 0.1)
        after = since_snow_h < 0 ? 0 : std::min(1.0, since_snow_h / 0.75) * std::max(left, falling ? 0.9 : 0.0);
      left_w += truth.bare_w * (1 - left);
      cleared_w += truth.bare_w * (1 - std::min(left, after));
    }
    possible += (cleared_w - left_w) * h;
    left_taken += take(left_w, s, left_soc);
    cleared_taken += take(cleared_w, s, cleared_soc);
  }
  return (count_bank ? cleared_taken - left_taken : possible) / 1000;
}

void judge_ice(World& w, const rig::Rig& rig) {
  double sun_wh_m2 = 0;
  for (auto& s : w.steps) {
    double clear = 0, plane_wm2 = 0;
    for (std::size_t k = 0; k < s.strings.size(); ++k) {
      clear += s.strings[k].clear_w;
      plane_wm2 = std::max(plane_wm2, s.strings[k].bare_w / rig.strings[k].rated_w() * 1000);
    }
    if (clear <= 0) sun_wh_m2 = 0;
    s.ice_holds = sun_wh_m2 < 100 && s.air_c <= 1;
    sun_wh_m2 += plane_wm2 * hours_of(truth_step);
  }
  for (const auto& [hand, string] : w.cleared)
    for (std::size_t i = w.index(hand - minutes{30}); i < std::min(w.index(hand), w.steps.size()); ++i) w.steps[i].ice_holds = false;
}

Best best_clearing(const World& w, std::size_t from, std::size_t end, bool waits_for_ice) {
  Best best{0, from};
  for (std::size_t i = from; i < std::min(end, w.steps.size()); i += 6) {
    double clear = 0;
    for (const auto& s : w.steps[i].strings) clear += s.clear_w;
    if (clear <= 0 || (waits_for_ice && w.steps[i].ice_holds)) continue;
    const double g = gain_kwh(w, i, end);
    if (g > best.kwh) best = {g, i};
  }
  return best;
}

double curtailed_kwh(const World& w, std::size_t from, std::size_t end) {
  double wh = 0;
  for (std::size_t i = from; i < std::min(end, w.steps.size()); ++i) {
    const auto& s = w.steps[i];
    if (!s.curtailed || !s.may_charge) continue;
    for (const auto& k : s.strings) wh += std::max(0.0, k.bare_w * (1 - k.snow_loss) - k.actual_w) * hours_of(truth_step);
  }
  return wh / 1000;
}

double median(std::vector<double> v) {
  if (v.empty()) return 0;
  std::sort(v.begin(), v.end());
  return v[v.size() / 2];
}

}  // namespace fw::oracle
