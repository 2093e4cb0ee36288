#include "score/generated/bank.h"

#include <algorithm>
#include <cmath>

namespace fw::score {

Bank::Bank(const Scene& scene) : scene_(scene), d_(scene.seed, "bank") {
  now_.soc = static_cast<float>(scene.first_soc);
  now_.cabin_c = static_cast<float>(scene.cabin_c);
  now_.cell_c = static_cast<float>(scene.cabin_c - 1);
}

double Bank::step(double offered_w, double air_c, double local_hour) {
  const Scene& s = scene_;
  flicker_ = 0.9 * flicker_ + 0.44 * d_.normal();
  if (kettle_min_ > 0) --kettle_min_;
  else if (local_hour > 6.5 && local_hour < 21 && d_.chance(0.0025)) kettle_min_ = d_.between(3, 25);
  double load = s.base_load_w * (1 + 0.05 * flicker_) + (local_hour > 17 && local_hour < 22 ? s.evening_load_w : 0) +
                (kettle_min_ > 0 ? s.base_load_w * 4 + 150 : 0);
  if (now_.soc < 0.12) load *= 0.25;
  const double cabin_goal = s.cold_cabin ? air_c + s.cold_lift_k : local_hour > 22 || local_hour < 6 ? s.cabin_c - 5 : s.cabin_c;
  now_.cabin_c += static_cast<float>((cabin_goal - now_.cabin_c) / 150 + 0.02 * flicker_);
  now_.cell_c += static_cast<float>((now_.cabin_c - now_.cell_c) / (s.cell_hours * 60) + 3e-5 * std::abs(now_.amps));
  if (now_.cell_c < s.lower_limit_c) now_.permitted = false;
  if (now_.cell_c > s.lower_limit_c + 2) now_.permitted = true;

  const double v = s.bank_v * (1.0 + 0.012 * (now_.soc - 0.5));
  double accept_a = s.bank_ah * 0.5;
  if (now_.soc > 0.965) accept_a = std::max(0.0, s.bank_ah * 0.5 * (1 - now_.soc) / 0.035);
  if (stage_ == RealStage::floating) accept_a = std::min(accept_a, 0.002 * s.bank_ah);
  double want = accept_a * v + load;
  if (!now_.permitted) want = s.feeds_loads_when_held ? load : 0;
  const double taken = std::min(offered_w, want);
  const bool throttled = taken < offered_w * 0.985;
  if (!now_.permitted) stage_ = RealStage::inhibited;
  else if (stage_ == RealStage::inhibited) stage_ = RealStage::bulk;
  else if (stage_ == RealStage::bulk && throttled && now_.soc > 0.965) stage_ = RealStage::absorption;
  else if (stage_ == RealStage::absorption && now_.soc > 0.994) stage_ = RealStage::floating;
  else if ((stage_ == RealStage::floating || stage_ == RealStage::absorption) && now_.soc < 0.94) stage_ = RealStage::bulk;
  now_.load_w = static_cast<float>(load);
  now_.amps = static_cast<float>((taken - load) / v);
  now_.soc = static_cast<float>(std::clamp(now_.soc + now_.amps / 60 / s.bank_ah, 0.03, 1.0));
  double volts = v + 0.10 * s.bank_v * now_.amps / s.bank_ah * 0.5;
  if (stage_ == RealStage::absorption) volts = s.bank_v * 1.105;
  if (stage_ == RealStage::floating) volts = s.bank_v * (now_.amps < -0.02F * static_cast<float>(s.bank_ah) ? 1.035 : 1.055);
  now_.volts = static_cast<float>(volts);
  return taken;
}

}  // namespace fw::score
