#include "guard/halves.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <vector>

namespace fw::guard {

namespace {
constexpr Span learned_after = hours{6};
constexpr double steps_to_know = 12;
constexpr std::size_t steps_to_judge = 6;
constexpr double least_step_c = 0.03;       // C-rate; less drowns in the digits
}  // namespace

Halves::Halves(int batteries, double capacity_ah, double nominal_v) : batteries_(batteries), capacity_ah_(capacity_ah), nominal_v_(nominal_v) {}

void Halves::on_minute(const RigMinute& m) {
  if (batteries_ < 2 || !m.bank_voltage_v || !m.bank_current_a || !m.cell_min_c) {
    last_v_.reset();
    return;
  }
  const double v = *m.bank_voltage_v, a = *m.bank_current_a;
  // Near full and near empty the volts run away by themselves.
  const bool plain = m.soc.value_or(0.5) > 0.15 && m.soc.value_or(0.5) < 0.93 && std::abs(v / nominal_v_ - 1.03) < 0.07;
  if (plain && last_v_ && m.at - last_at_ <= minutes{2} && std::abs(a - *last_a_) >= least_step_c * capacity_ah_) {
    const double ohm = (v - *last_v_) / (a - *last_a_);
    const int bin = static_cast<int>(std::floor(*m.cell_min_c / 5));
    if (ohm > 0) {
      const auto k = known_.find(bin);
      lately_.push_back({m.at, bin, ohm, k != known_.end() && k->second.steps >= steps_to_know ? ohm / k->second.ohm : 0});
      judge(m.at);
    }
  }
  while (!lately_.empty() && m.at - lately_.front().at > learned_after) {
    const Step s = lately_.front();
    lately_.pop_front();
    if (missing_since_) continue;
    Known& k = known_[s.bin];
    k.steps += 1;
    k.ohm += std::max(0.03, 1 / k.steps) * (std::clamp(s.ohm, k.steps > 3 ? k.ohm / 2 : 0.0, k.steps > 3 ? k.ohm * 2 : 1e9) - k.ohm);
  }
  last_v_ = v;
  last_a_ = a;
  last_at_ = m.at;
}

void Halves::judge(Elapsed now) {
  std::vector<double> times;
  Elapsed from = now;
  for (auto s = lately_.rbegin(); s != lately_.rend() && times.size() < steps_to_judge; ++s)
    if (s->times > 0) times.push_back(s->times), from = s->at;
  if (times.size() < steps_to_judge) return;
  std::nth_element(times.begin(), times.begin() + steps_to_judge / 2, times.end());
  times_ = times[steps_to_judge / 2];
  const double less = static_cast<double>(batteries_) / (batteries_ - 1);   // what one missing makes of it
  if (!missing_since_ && times_ >= 1 + 0.6 * (less - 1)) missing_since_ = from;
  if (missing_since_ && times_ <= 1 + 0.3 * (less - 1)) missing_since_.reset();
}

nlohmann::json Halves::memory() const {
  auto j = nlohmann::json::array();
  for (const auto& [bin, k] : known_) j.push_back({bin, k.ohm, k.steps});
  return j;
}

void Halves::recall(const nlohmann::json& j) {
  try {
    std::map<int, Known> known;
    for (const auto& k : j) known[k.at(0).get<int>()] = {k.at(1).get<double>(), k.at(2).get<double>()};
    known_ = std::move(known);
  } catch (const nlohmann::json::exception&) {
    // foreign or damaged: learn anew
  }
}

}  // namespace fw::guard
