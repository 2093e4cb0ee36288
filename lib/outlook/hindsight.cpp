#include "outlook/hindsight.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "outlook/bank_ahead.h"
#include "outlook/kept.h"
#include "units/json.h"

namespace fw::outlook {
namespace {
constexpr Span balance_span = hours{3};
constexpr double full_from = 0.985;
constexpr double prior_promises = 40;
}  // namespace

void Hindsight::on_minute(Utc at, std::optional<double> made_w, std::optional<double> load_w, std::optional<double> soc, double usual_load_w) {
  if (!made_w || !load_w || !soc) {
    balance_from_.reset();
    return;
  }
  if (*soc > full_from) {
    balance_from_.reset();
    if (*made_w > 0) full_draw_w_ += (std::clamp(*made_w - *load_w, 0.0, 0.2 * *made_w) - full_draw_w_) / 180;
    return;
  }
  if (!balance_from_) {
    balance_from_ = at;
    balance_soc_ = *soc;
    balance_wh_ = 0;
    return;
  }
  balance_wh_ += (*made_w - *load_w) / 60 * (*made_w > *load_w ? charge_efficiency : 1);
  if (at - *balance_from_ < balance_span) return;
  const double missing_w = (balance_wh_ - (*soc - balance_soc_) * capacity_wh_) / hours_of(at - *balance_from_);
  const double bound_w = std::max(20.0, 0.3 * usual_load_w);
  unexplained_w_ += 0.06 * (std::clamp(missing_w, -bound_w, bound_w) - unexplained_w_);
  balance_from_.reset();
}

void Hindsight::while_held_off(double made_w, double load_w, double could_w) {
  const double may_take_w = std::min(load_w, could_w);
  if (may_take_w >= 10) held_feeds_ += (std::clamp(made_w / may_take_w, 0.0, 1.0) - held_feeds_) / 60;
}

void Hindsight::promise(Utc due, double soc, double sigma) {
  promises_.push_back({due, soc, sigma});
  while (promises_.size() > 48) promises_.pop_front();
}

void Hindsight::judge(Utc now, std::optional<double> soc) {
  while (!promises_.empty() && promises_.front().due <= now) {
    const Promise p = promises_.front();
    promises_.pop_front();
    if (!soc || now - p.due > hours{1} || p.sigma <= 0.003) continue;
    const double z = (*soc - p.soc) / p.sigma;
    missed2_ = missed2_ * 0.996 + std::min(z * z, 16.0);
    missed_weight_ = missed_weight_ * 0.996 + 1;
  }
}

double Hindsight::widen() const {
  return std::clamp(std::sqrt((prior_promises + missed2_) / (prior_promises + missed_weight_)), 0.4, 3.0);
}

std::string Hindsight::snapshot() const {
  nlohmann::json j{{"v", 1}, {"u", unexplained_w_}, {"full", full_draw_w_}, {"held", held_feeds_}, {"m2", missed2_}, {"mw", missed_weight_}, {"promises", nlohmann::json::array()}};
  for (const auto& p : promises_) j["promises"].push_back({{"due", ms_of(p.due)}, {"soc", p.soc}, {"sigma", p.sigma}});
  return json_text(j);
}

void Hindsight::restore(std::string_view text) {
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  unexplained_w_ = kept::number(j, "u");
  full_draw_w_ = kept::number(j, "full");
  held_feeds_ = std::clamp(kept::number(j, "held"), 0.0, 1.0);
  missed2_ = kept::number(j, "m2");
  missed_weight_ = kept::number(j, "mw");
  promises_.clear();
  for (const auto& p : kept::rows(j, "promises"))
    if (const auto due = kept::time(p, "due")) promises_.push_back({*due, kept::number(p, "soc"), kept::number(p, "sigma")});
}

}  // namespace fw::outlook
