#include "outlook/shortage.h"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "outlook/kept.h"
#include "units/json.h"

namespace fw::outlook {
namespace {
constexpr double known_from_min = 10, remembers_min = 120;
}  // namespace

double served_at(const ServedShare& share, double soc) {
  const auto level = static_cast<std::size_t>(std::clamp(soc, 0.0, 1.0) * 100);
  return level < share.size() ? share[level] : 1;
}

void Shortage::on_minute(double soc, bool cut_off, double load_w, double usual_w) {
  const auto level = static_cast<std::size_t>(std::clamp(soc, 0.0, 1.0) * 100);
  if (level >= levels_.size()) return;
  Level& l = levels_[level];
  l.minutes = std::min(l.minutes + 1, remembers_min);
  l.cut += ((cut_off ? 1 : 0) - l.cut) / l.minutes;
  if (!cut_off) return;
  left_wh_ += load_w / 60;
  usual_wh_ += usual_w / 60;
}

ServedShare Shortage::served() const {
  ServedShare out = all_served;
  const double left = usual_wh_ > 0 ? std::clamp(left_wh_ / usual_wh_, 0.0, 1.0) : 1;
  double cut = 0;  // a level not seen so far is like the one above
  for (std::size_t i = levels_.size(); i-- > 0;) {
    if (levels_[i].minutes >= known_from_min) cut = levels_[i].cut;
    out[i] = 1 - cut * (1 - left);
  }
  return out;
}

std::string Shortage::snapshot() const {
  nlohmann::json rows = nlohmann::json::array();
  for (const Level& l : levels_) rows.push_back({{"cut", l.cut}, {"minutes", l.minutes}});
  return json_text(nlohmann::json{{"v", 1}, {"levels", rows}, {"left", left_wh_}, {"usual", usual_wh_}});
}

void Shortage::restore(std::string_view text) {
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  const auto rows = kept::rows(j, "levels");
  for (std::size_t i = 0; i < levels_.size() && i < rows.size(); ++i)
    levels_[i] = {std::clamp(kept::number(rows[i], "cut"), 0.0, 1.0), std::clamp(kept::number(rows[i], "minutes"), 0.0, remembers_min)};
  left_wh_ = kept::number(j, "left");
  usual_wh_ = kept::number(j, "usual");
}

}  // namespace fw::outlook
