#include "outlook/load_model.h"
#include "units/json.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

namespace fw::outlook {
namespace {
constexpr std::size_t hours_kept = 21 * 24;
constexpr Span sustained = minutes{12};       // longer than a kettle
constexpr double heavy_above_w = 150;
constexpr Span heavy_at_least = hours{3};
constexpr std::size_t heavy_kept = 12;
constexpr double prior_hours = 12;            // a persistence learned moves from the usual one within a day
constexpr double scarce_soc = 0.2, cut_share = 0.6;
constexpr double slope_from_k = 2, prior_pairs = 24;
constexpr double first_hours = 12, known_within_h = 24;

double median(std::vector<double> v) {
  if (v.empty()) return 0;
  auto mid = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), mid, v.end());
  return *mid;
}
}  // namespace

bool LoadModel::cut_off(double load_w, std::optional<double> soc) const {
  if (!soc || *soc >= scarce_soc || hours_.empty()) return false;
  const auto standing = standing_w();
  return standing && load_w < cut_share * *standing;
}

void LoadModel::learn(Utc minute, int minute_of_day, double load_w, std::optional<double> air_c, std::optional<double> soc) {
  load_w = std::max(0.0, load_w);
  const Utc hour = floor_to(minute, hours{1});
  if (hour != hour_) {
    close_hour();
    hour_ = hour;
    hour_of_day_ = minute_of_day / 60;
  }
  minutes_.push_back(load_w);
  minutes_cut_ += cut_off(load_w, soc);
  if (air_c) {
    air_sum_ += *air_c;
    ++air_count_;
  }
  recent_.emplace_back(minute, load_w);
  while (!recent_.empty() && minute - recent_.front().first >= minutes{30}) recent_.pop_front();
  last_ = {minute_of_day / 60, air_c};
  std::vector<double> half_hour;
  half_hour.reserve(recent_.size());
  for (const auto& r : recent_) half_hour.push_back(r.second);
  present_ = median(std::move(half_hour));

  // Heavy: well above the habit of this hour and above what such hours have seen for a quarter of an hour.
  const double habit = usual(minute_of_day / 60, air_c).watts;
  const double limit = std::max(habit + heavy_above_w, std::max(habit * 1.5, table_[static_cast<std::size_t>(minute_of_day / 60)].top_w * 1.15));
  if (hours_.size() + minutes_.size() / 30 < 1) {
    heavy_since_.reset();
  } else if (load_w > limit) {
    if (!heavy_since_) heavy_since_ = minute;
  } else if (heavy_since_) {
    // A thermostat's short rest is no end: the last ten minutes on the whole decide.
    double sum = 0;
    int n = 0;
    for (const auto& [t, w] : recent_)
      if (minute - t < minutes{10}) sum += w, ++n;
    if (n == 0 || sum / n <= limit * 0.8) {
      if (heavy_) heavy_lasted_.push_back(heavy_->lasting);
      while (heavy_lasted_.size() > heavy_kept) heavy_lasted_.pop_front();
      heavy_since_.reset();
    }
  }
  heavy_.reset();
  if (heavy_since_ && minute - *heavy_since_ >= sustained) {
    std::vector<double> last;
    for (const auto& [t, w] : recent_)
      if (minute - t < minutes{10}) last.push_back(w);
    const double now_w = median(last);
    heavy_ = HeavyLoad{now_w, std::max(0.0, now_w - habit), minute - *heavy_since_ + minutes{1}};
  }
}

void LoadModel::close_hour() {
  const bool cut = 2 * static_cast<std::size_t>(minutes_cut_) > minutes_.size();
  minutes_cut_ = 0;
  if (minutes_.size() >= 20 && !cut) {
    double sum = 0;
    for (double w : minutes_) sum += w;
    double peak = 0;
    const std::size_t n = minutes_.size();
    for (std::size_t i = 0; i + 12 <= n; ++i) {
      double low = minutes_[i];
      for (std::size_t k = i; k < i + 12; ++k) low = std::min(low, minutes_[k]);
      peak = std::max(peak, low);
    }
    auto sorted = minutes_;
    std::sort(sorted.begin(), sorted.end());
    hours_.push_back({hour_, hour_of_day_, sum / static_cast<double>(n), sorted[n / 4], peak,
                      air_count_ > 0 ? std::optional<double>(air_sum_ / air_count_) : std::nullopt});
    while (hours_.size() > hours_kept) hours_.pop_front();
    fit();
  }
  minutes_.clear();
  air_sum_ = 0;
  air_count_ = 0;
}

// Slope between the same hours of different days (Theil 1950, Sen 1968), drawn toward none while they are few or alike.
void LoadModel::fit() {
  double air_all = 0;
  int n_all = 0;
  std::array<std::vector<const Hour*>, 24> alike;
  for (const auto& h : hours_)
    if (h.air_c) {
      air_all += *h.air_c, ++n_all;
      alike[static_cast<std::size_t>(h.hour_of_day)].push_back(&h);
    }
  air_mean_ = n_all > 0 ? air_all / n_all : 0;
  std::vector<double> slopes;
  for (const auto& hours : alike)
    for (std::size_t i = 0; i < hours.size(); ++i)
      for (std::size_t k = i + 1; k < hours.size(); ++k)
        if (const double colder_k = *hours[k]->air_c - *hours[i]->air_c; std::abs(colder_k) >= slope_from_k)
          slopes.push_back((hours[i]->mean_w - hours[k]->mean_w) / colder_k);
  const double pairs = static_cast<double>(slopes.size());
  slope_ = slopes.empty() ? 0 : std::max(0.0, median(slopes)) * pairs / (pairs + prior_pairs);
  tabulate();

  double together = 0, alone = 0, n = 0;
  for (std::size_t i = 0; i + 1 < hours_.size(); ++i) {
    if (hours_[i + 1].from - hours_[i].from != hours{1}) continue;
    const double now = hours_[i].mean_w - usual(hours_[i].hour_of_day, hours_[i].air_c).watts;
    const double next = hours_[i + 1].mean_w - usual(hours_[i + 1].hour_of_day, hours_[i + 1].air_c).watts;
    together += now * next;
    alone += now * now;
    ++n;
  }
  const double prior = n > 0 ? prior_hours * alone / n : 1;
  persists_ = std::clamp((usual_persistence * prior + together) / (prior + alone + 1e-9), 0.0, 0.95);
}

void LoadModel::tabulate() {
  table_ = {};
  if (hours_.empty()) return;
  // As if all of it had been at the mean air.
  std::vector<double> all;
  all.reserve(hours_.size());
  for (const auto& h : hours_) all.push_back(std::max(0.0, h.mean_w - (h.air_c ? slope_ * (air_mean_ - *h.air_c) : 0)));
  // One kettle is not a habit: on the first day an hour counts little over the typical level, half a day later up
  // to three times that and a kettle's worth.
  const double known = std::clamp((static_cast<double>(all.size()) - first_hours) / known_within_h, 0.0, 1.0);
  const double cap = (1.25 + 1.75 * known) * median(all) + 250 * known;
  struct Sum { double w = 0, w2 = 0, weight = 0; };
  std::array<Sum, 24> sums{};
  double all_sum = 0, all_weight = 0;
  for (std::size_t i = 0; i < hours_.size(); ++i) {
    const double age_days = static_cast<double>(hours_.size() - 1 - i) / 24;
    const double recency = std::exp(-age_days / 6);
    const double w = std::min(all[i], cap);
    all_sum += recency * w;
    all_weight += recency;
    for (int off = -2; off <= 2; ++off) {
      const double near = off == 0 ? 1 : std::abs(off) == 1 ? 0.35 : 0.1;
      Sum& sum = sums[static_cast<std::size_t>((hours_[i].hour_of_day + off + 24) % 24)];
      sum.w += near * recency * w;
      sum.w2 += near * recency * w * w;
      sum.weight += near * recency;
    }
    for (int off = -1; off <= 1; ++off) {
      double& top = table_[static_cast<std::size_t>((hours_[i].hour_of_day + off + 24) % 24)].top_w;
      top = std::max(top, hours_[i].peak_w);
    }
  }
  const double overall = all_sum / all_weight, prior = 0.7;
  for (std::size_t k = 0; k < 24; ++k) {
    const Sum& sum = sums[k];
    const double mean = (sum.w + prior * overall) / (sum.weight + prior);
    const double variance = std::max(0.0, (sum.w2 + prior * overall * overall) / (sum.weight + prior) - mean * mean);
    table_[k].mean_w = mean;
    table_[k].error_w = std::sqrt(variance) + mean * 0.3 / (1 + sum.weight);
  }
}

LoadAhead LoadModel::usual(int hour_of_day, std::optional<double> air_c) const {
  if (hours_.empty()) {
    const double m = present_.value_or(0);
    return {m, m * 0.5};
  }
  const Habit& h = table_[static_cast<std::size_t>(hour_of_day)];
  return {std::max(0.0, h.mean_w - (air_c ? slope_ * (*air_c - air_mean_) : 0)), h.error_w};
}

LoadAhead LoadModel::ahead(Span ahead, int hour_of_day, std::optional<double> air_c) const {
  LoadAhead u = usual(hour_of_day, air_c);
  if (heavy_) {
    if (ahead < goes_on(*heavy_)) return {std::max(u.watts, heavy_->watts), u.error_w};
    return u;
  }
  if (present_ && last_) {
    const double off = *present_ - usual(last_->first, last_->second).watts;
    u.watts = std::max(0.0, u.watts + off * std::pow(persists_, hours_of(ahead) + 0.5));
  }
  return u;
}

/// The mean of what is left of those that lasted longer than this one has, and of one such load of which nothing is known.
Span LoadModel::goes_on(const HeavyLoad& heavy) const {
  Span sum = std::max<Span>(heavy_at_least, heavy.lasting);
  int n = 1;
  for (const Span lasted : heavy_lasted_)
    if (lasted > heavy.lasting) sum += lasted - heavy.lasting, ++n;
  return sum / n;
}

std::optional<double> LoadModel::standing_w() const {
  std::vector<double> low;
  for (std::size_t i = hours_.size() > 24 ? hours_.size() - 24 : 0; i < hours_.size(); ++i) low.push_back(hours_[i].low_w);
  if (low.empty()) return present_;
  std::sort(low.begin(), low.end());
  return low[low.size() / 5];
}

std::string LoadModel::snapshot() const {
  nlohmann::json rows = nlohmann::json::array();
  for (const auto& h : hours_) {
    nlohmann::json row{ms_of(h.from), h.hour_of_day, h.mean_w, h.low_w, h.peak_w, nullptr};
    if (h.air_c) row[5] = *h.air_c;
    rows.push_back(row);
  }
  nlohmann::json heavy = nlohmann::json::array();
  for (const Span s : heavy_lasted_) heavy.push_back(s.count());
  return json_text(nlohmann::json{{"v", 1}, {"h", rows}, {"heavy", heavy}});
}

void LoadModel::restore(std::string_view text) {
  *this = LoadModel{};
  const auto j = json_in(text);
  if (!j.is_object() || j.value("v", nlohmann::json()) != 1) return;
  const auto rows = j.value("h", nlohmann::json::array());
  if (!rows.is_array()) return;
  for (const auto& row : rows) {
    if (!row.is_array() || row.size() != 6 || !row[0].is_number_integer() || !row[1].is_number_integer()) continue;
    if (!row[2].is_number() || !row[3].is_number() || !row[4].is_number()) continue;
    Hour h{utc_ms(row[0].get<std::int64_t>()), std::clamp(row[1].get<int>(), 0, 23), row[2].get<double>(), row[3].get<double>(),
           row[4].get<double>(), {}};
    if (row[5].is_number()) h.air_c = row[5].get<double>();
    hours_.push_back(h);
    if (hours_.size() > hours_kept) hours_.pop_front();
  }
  const auto heavy = j.value("heavy", nlohmann::json::array());
  for (const auto& ms : heavy)
    if (ms.is_number_integer() && heavy_lasted_.size() < heavy_kept) heavy_lasted_.push_back(Span{ms.get<std::int64_t>()});
  fit();
}

}  // namespace fw::outlook
