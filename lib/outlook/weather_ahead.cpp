#include "outlook/weather_ahead.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "sky/cloud.h"
#include "units/json.h"

namespace fw::outlook {
namespace {
constexpr double prior_hours = 4;                  // a cloud knot moves from theory within about a day's light
constexpr double prior_error = 0.25, prior_error_weight = 10;
constexpr double snowfall_share = 0.16;            // nimbostratus; Kasten & Czeplak 1980, Solar Energy 24, 177; from memory
constexpr double surely_falling_cm = 0.4;          // in an hour of a forecast that smears a fall out
constexpr double fallback_share = 0.55;            // a winter day of which nothing is known (common practice, no source)
constexpr std::size_t past_hours = 72;
constexpr double remembers_h = 36, lasts_h = 6;    // of the sky without a forecast

/// How surely it snows in an hour of which this was forecast.
double falling(double snow_cm) { return std::clamp(snow_cm / surely_falling_cm, 0.0, 1.0); }
}  // namespace

double WeatherAhead::share_for_cloud(double cloud) const {
  const double at = std::clamp(cloud, 0.0, 1.0) * 4;
  const int i = std::min(3, static_cast<int>(at));
  auto knot = [&](int k) {
    const double theory = sky::share_under_cloud(k / 4.0);
    return (theory * prior_hours + by_cloud_[k].sum) / (prior_hours + by_cloud_[k].weight);
  };
  const double f = at - i;
  return std::clamp(knot(i) * (1 - f) + knot(i + 1) * f, 0.02, 1.15);
}

double WeatherAhead::share_for(double cloud, double snow_cm) const {
  const double dry = share_for_cloud(cloud);
  const double snowy = (snowfall_share * prior_hours + in_snowfall_.sum) / (prior_hours + in_snowfall_.weight);
  return dry + falling(snow_cm) * (std::min(dry, snowy) - dry);
}

void WeatherAhead::learn(Utc hour, std::optional<double> share, double weight, std::optional<double> air_c,
                         const ForecastHour* said) {
  past_.push_back({hour, share, weight, air_c});
  if (past_.size() > past_hours) past_.erase(past_.begin());
  if (!said) return;
  if (share && weight > 0.05 && said->cloud) {
    const double snows = falling(said->snow_cm.value_or(0));
    const double e = *share - share_for(*said->cloud, said->snow_cm.value_or(0));
    error2_ = error2_ * 0.985 + weight * e * e;
    error_weight_ = error_weight_ * 0.985 + weight;
    const double at = std::clamp(*said->cloud, 0.0, 1.0) * 4;
    const int i = std::min(3, static_cast<int>(at));
    for (auto [seen, part] : {std::pair{&by_cloud_[i], (1 - (at - i)) * (1 - snows)}, std::pair{&by_cloud_[i + 1], (at - i) * (1 - snows)},
                              std::pair{&in_snowfall_, snows}}) {
      seen->sum += weight * part * *share;
      seen->weight += weight * part;
      if (seen->weight > 60) {
        seen->sum *= 0.9;
        seen->weight *= 0.9;
      }
    }
  }
  if (air_c && said->air_c) air_bias_c_ += 0.04 * std::clamp(*air_c - *said->air_c - air_bias_c_, -5.0, 5.0);
}

std::vector<WeatherHour> WeatherAhead::ahead(Now now, int count, const Forecast* forecast,
                                             std::optional<double> now_air_c) const {
  const Utc first = floor_to(now.utc, hours{1});
  const bool usable = forecast && !forecast->rows.empty() && now.at - forecast->received <= forecast_too_old;
  const double age_h = usable ? hours_of(now.at - forecast->received) : 0;

  // The last days, the latest most, and what the sky does just now for the hours that follow.
  double sum = 0, weight = 0, now_sum = 0, now_weight = 0;
  for (const auto& p : past_)
    if (p.share) {
      const double ago_h = hours_of(first - p.hour), counts = p.weight * std::exp(-ago_h / remembers_h);
      sum += *p.share * counts;
      weight += counts;
      if (ago_h <= 4) now_sum += *p.share * p.weight, now_weight += p.weight;
    }
  const double usual_share = (fallback_share + sum) / (1 + weight);
  auto like_now = [&](int h) { return now_weight > 0 ? usual_share + (now_sum / now_weight - usual_share) * std::min(1.0, now_weight) * std::exp(-h / lasts_h) : usual_share; };
  auto usual_air = [&](Utc t) -> std::optional<double> {  // the same hour of the last days, the newest first
    for (int day = 1; day <= 3; ++day)
      for (const auto& p : past_)
        if (p.air_c && p.hour == t - hours{24 * day}) return p.air_c;
    return {};
  };

  const double learned = std::sqrt((error2_ + prior_error * prior_error * prior_error_weight) / (error_weight_ + prior_error_weight));
  std::vector<WeatherHour> out;
  std::optional<double> air_step;
  for (int h = 0; h < count; ++h) {
    WeatherHour w;
    w.from = first + hours{h};
    const ForecastHour* said = usable ? forecast->at(w.from) : nullptr;
    Utc like = w.from;
    while (like >= first + hours{0} && like > now.utc) like -= hours{24};
    if (said && (said->cloud || said->irradiance_wm2 || said->air_c)) {
      w.by_cloud = said->cloud.has_value();
      w.forecast = said->cloud || said->irradiance_wm2;
      w.irradiance_wm2 = said->irradiance_wm2;
      w.clear_share = said->cloud ? share_for(*said->cloud, said->snow_cm.value_or(0)) : like_now(h);
      w.snow_cm = std::max(0.0, said->snow_cm.value_or(0));
      w.wind_ms = said->wind_ms;
      w.share_error = (w.forecast ? learned : 0.45) * std::sqrt(1 + (age_h + h) / 36);
    } else {
      w.clear_share = like_now(h);
      w.share_error = 0.45;
    }
    const auto usual = usual_air(like + hours{24});
    double air = said && said->air_c ? *said->air_c + air_bias_c_ : usual ? *usual : now_air_c.value_or(0);
    if (now_air_c) {
      if (!air_step) air_step = std::clamp(*now_air_c - air, -8.0, 8.0);
      air += *air_step * std::exp(-h / 6.0);
    }
    w.air_c = air;
    out.push_back(w);
  }
  return out;
}

std::string WeatherAhead::snapshot() const {
  nlohmann::json j{{"v", 1}, {"e2", error2_}, {"ew", error_weight_}, {"ab", air_bias_c_}, {"s", {in_snowfall_.sum, in_snowfall_.weight}}};
  for (const auto& k : by_cloud_) j["c"].push_back({k.sum, k.weight});
  j["p"] = nlohmann::json::array();
  for (const auto& p : past_) {
    nlohmann::json row{ms_of(p.hour), p.weight, nullptr, nullptr};
    if (p.share) row[2] = *p.share;
    if (p.air_c) row[3] = *p.air_c;
    j["p"].push_back(row);
  }
  return json_text(j);
}

void WeatherAhead::restore(std::string_view text) {
  const auto j = json_in(text);
  WeatherAhead fresh;
  *this = fresh;
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  auto number = [](const nlohmann::json& v) { return v.is_number() ? v.get<double>() : 0.0; };
  const auto c = j.value("c", nlohmann::json::array());
  const auto p = j.value("p", nlohmann::json::array());
  if (!c.is_array() || c.size() != by_cloud_.size() || !p.is_array()) return;
  for (std::size_t i = 0; i < c.size(); ++i) {
    if (!c[i].is_array() || c[i].size() != 2) { *this = fresh; return; }
    by_cloud_[i] = {number(c[i][0]), number(c[i][1])};
  }
  for (const auto& row : p) {
    if (!row.is_array() || row.size() != 4 || !row[0].is_number_integer()) continue;
    Past q{utc_ms(row[0].get<std::int64_t>()), {}, number(row[1]), {}};
    if (row[2].is_number()) q.share = row[2].get<double>();
    if (row[3].is_number()) q.air_c = row[3].get<double>();
    past_.push_back(q);
    if (past_.size() > past_hours) past_.erase(past_.begin());
  }
  if (const auto& snowfall = j.value("s", nlohmann::json()); snowfall.is_array() && snowfall.size() == 2) in_snowfall_ = {number(snowfall[0]), number(snowfall[1])};
  error2_ = number(j.value("e2", nlohmann::json()));
  error_weight_ = number(j.value("ew", nlohmann::json()));
  air_bias_c_ = number(j.value("ab", nlohmann::json()));
}

}  // namespace fw::outlook
