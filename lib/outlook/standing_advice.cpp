#include "outlook/standing_advice.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "outlook/kept.h"
#include "units/json.h"
#include "units/text.h"

namespace fw::outlook {
namespace {
constexpr Span gone_for = minutes{55};

bool same_gain(const Advice& a, const Advice& b) {
  const double x = a.gain_kwh.value_or(0), y = b.gain_kwh.value_or(0);
  return std::abs(x - y) <= 0.1 + 0.25 * std::max(std::abs(x), std::abs(y));
}

/// Within the hour, or a quarter of the way there.
bool near(const std::optional<Utc>& x, const std::optional<Utc>& y, Utc now) {
  if (x.has_value() != y.has_value()) return false;
  if (!x) return true;
  return std::max(*x, *y) - std::min(*x, *y) <= std::max<Span>(hours{1}, (std::min(*x, *y) - now) / 4);
}
}  // namespace

void StandingAdvice::put(const std::string& kind, const Advice& advice, const Stamp& when) {
  bool store = true;
  gone_since_.erase(kind);
  const auto standing = advice_.find(kind);
  if (standing != advice_.end()) {
    const Advice& old = standing->second;
    const bool begun = old.best_from && *old.best_from <= when.utc;  // a window that time has run into is the same advice
    const bool same_time = begun || (near(old.best_from, advice.best_from, when.utc) && (advice.best_from || near(old.best_to, advice.best_to, when.utc)));
    const bool same_sort = old.sort == advice.sort;
    // What was "tomorrow" is "today" after midnight.
    const bool words_old = old.text != advice.text && words_.local_midnight(old.said) != words_.local_midnight(when.utc);
    const bool same = same_gain(old, advice) && same_time && same_sort;
    if (same && !words_old) return;
    // Running out while its hours run is no new advice: its topic keeps up, the journal need not.
    store = !same && !(same_sort && begun && advice.gain_kwh.value_or(0) < old.gain_kwh.value_or(0));
  }
  advice_[kind] = advice;
  advice_[kind].said = when.utc;
  if (store) effects_.push_back(Store{AdviceRow{when, kind, advice.text, advice.gain_kwh, advice.best_from, advice.best_to, ""}});
  nlohmann::json j{{"utc", iso_utc(when.utc)}, {"kind", kind}, {"text", advice.text}};
  if (advice.gain_kwh) j["gain_kwh"] = std::round(*advice.gain_kwh * 1000) / 1000;
  if (advice.best_from) j["best_from_utc"] = iso_utc(*advice.best_from);
  if (advice.best_to) j["best_to_utc"] = iso_utc(*advice.best_to);
  Publish p = published(kind);
  p.payload = json_text(j);
  effects_.push_back(p);
}

void StandingAdvice::withdraw(const std::string& kind, const std::string& why, const Stamp& when) {
  const auto it = advice_.find(kind);
  if (it == advice_.end()) return;
  const Advice& a = it->second;
  effects_.push_back(Store{AdviceRow{when, kind, a.text, a.gain_kwh, a.best_from, a.best_to, why}});
  effects_.push_back(published(kind));
  advice_.erase(it);
  gone_since_.erase(kind);
}

void StandingAdvice::withdraw_if_lasting(const std::string& kind, const std::string& why, const Stamp& when) {
  if (!has(kind)) return;
  const auto [since, first] = gone_since_.try_emplace(kind, when.at);
  if (!first && when.at - since->second >= gone_for) withdraw(kind, why, when);
}

Publish StandingAdvice::published(const std::string& kind) const {
  Publish p;
  p.topic = "firnwatt/" + rig_name_ + "/advice/" + kind;
  p.qos = 1;
  p.retain = true;
  return p;
}

std::vector<Effect> StandingAdvice::take_effects() {
  std::vector<Effect> out;
  out.swap(effects_);
  return out;
}

std::string StandingAdvice::snapshot() const {
  nlohmann::json j = nlohmann::json::object();
  for (const auto& [kind, a] : advice_) {
    nlohmann::json row{{"text", a.text}, {"sort", a.sort}, {"said", ms_of(a.said)}};
    if (a.gain_kwh) row["kwh"] = *a.gain_kwh;
    if (a.best_from) row["from"] = ms_of(*a.best_from);
    if (a.best_to) row["to"] = ms_of(*a.best_to);
    j[kind] = row;
  }
  return json_text(j);
}

void StandingAdvice::restore(std::string_view text) {
  advice_.clear();
  const auto j = json_in(text);
  if (!j.is_object()) return;
  for (const auto& [kind, row] : j.items()) {
    if (!row.is_object()) continue;
    Advice a{kept::text(row, "text"), {}, kept::time(row, "from"), kept::time(row, "to"), kept::text(row, "sort"), kept::time(row, "said").value_or(Utc{})};
    if (row.contains("kwh")) a.gain_kwh = kept::number(row, "kwh");
    advice_[kind] = a;
  }
}

}  // namespace fw::outlook
