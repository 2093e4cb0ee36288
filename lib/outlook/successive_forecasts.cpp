#include "outlook/successive_forecasts.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "outlook/kept.h"
#include "sky/cloud.h"
#include "units/json.h"

namespace fw::outlook {
namespace {
constexpr double prior_weight = 0.4, prior_k2 = 50;  // a day or two of forecasts 1.5 K apart move it
constexpr double most_weight = 0.65;
constexpr double fades = 0.995;                      // an hour
constexpr Span too_far_apart = hours{24};

std::optional<double> mean(std::optional<double> a, std::optional<double> b, double b_counts) {
  if (!a || !b) return a;
  return *a * (1 - b_counts) + *b * b_counts;
}

/// Clouds are averaged by the light they take.
std::optional<double> cloud_mean(std::optional<double> a, std::optional<double> b, double b_counts) {
  if (!a || !b) return a;
  const auto taken = [](double cover) { return std::pow(std::clamp(cover, 0.0, 1.0), sky::cloud_power); };
  return std::pow(taken(*a) * (1 - b_counts) + taken(*b) * b_counts, 1 / sky::cloud_power);
}
}  // namespace

double SuccessiveForecasts::older_weight() const {
  // The weight that would have left the least squared error: that of the newest against its distance from the older.
  return std::clamp((prior_weight * prior_k2 + product_) / (prior_k2 + square_), 0.0, most_weight);
}

void SuccessiveForecasts::average() {
  const double counts = older_weight();
  mean_ = newest_;
  for (ForecastHour& row : mean_.rows)
    if (const ForecastHour* old = older_.at(row.from)) {
      row.cloud = cloud_mean(row.cloud, old->cloud, counts);
      row.air_c = mean(row.air_c, old->air_c, counts);
      row.snow_cm = mean(row.snow_cm, old->snow_cm, counts);
      row.irradiance_wm2 = mean(row.irradiance_wm2, old->irradiance_wm2, counts);
      row.wind_ms = mean(row.wind_ms, old->wind_ms, counts);
    }
}

void SuccessiveForecasts::take(const Forecast& newest) {
  if (newest.rows.empty()) return;
  const auto same = [](const ForecastHour& a, const ForecastHour& b) {
    return a.from == b.from && a.cloud == b.cloud && a.air_c == b.air_c && a.snow_cm == b.snow_cm && a.irradiance_wm2 == b.irradiance_wm2 && a.wind_ms == b.wind_ms;
  };
  const bool sent_again = std::equal(newest.rows.begin(), newest.rows.end(), newest_.rows.begin(), newest_.rows.end(), same);
  if (!sent_again) older_ = newest.received - newest_.received < too_far_apart ? mean_ : Forecast{};
  newest_ = newest;
  average();
}

void SuccessiveForecasts::learn(Utc hour, double air_c) {
  const ForecastHour *now = newest_.at(hour), *before = older_.at(hour);
  if (!now || !before || !now->air_c || !before->air_c) return;
  const double apart = std::clamp(*now->air_c - *before->air_c, -5.0, 5.0), error = std::clamp(*now->air_c - air_c, -5.0, 5.0);
  product_ = product_ * fades + error * apart;
  square_ = square_ * fades + apart * apart;
}

std::string SuccessiveForecasts::snapshot() const {
  return json_text(nlohmann::json{{"v", 1}, {"newest", kept::json_of(newest_)}, {"older", kept::json_of(older_)}, {"product", product_}, {"square", square_}});
}

void SuccessiveForecasts::restore(std::string_view text) {
  *this = SuccessiveForecasts();
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  newest_ = kept::forecast(j, "newest").value_or(Forecast{});
  older_ = kept::forecast(j, "older").value_or(Forecast{});
  product_ = kept::number(j, "product");
  square_ = kept::number(j, "square");
  if (!newest_.rows.empty()) average();
}

}  // namespace fw::outlook
