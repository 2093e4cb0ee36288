#include "diagnosis/skyline.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

namespace fw::diagnosis {

namespace {

constexpr double direction_deg = 360.0 / Skyline::directions, height_deg = 1.5;
// Estimates, no source: what a day and a minute say.
constexpr double unseen_day = 1.7;      // odds: more winter days than not show the sun some time, where nothing hides it
constexpr double seen_minute = 0.75;    // one minute of sun, against what would hide it
constexpr double calm_edge = 16, loose_edge = 4, edge_sd_deg = 0.9;
constexpr double calm_step = 0.012;
constexpr int edge_dim_minutes = 8, edge_bright_minutes = 4;
constexpr float least = 1e-5f;
constexpr std::size_t near_minutes = 150;
constexpr int unit = 10000;             // of a snapshot

double above(double elevation) { return 0.7 / (1 + std::exp((elevation - 6) / 3.5)); }

int direction_of(double azimuth_deg) {
  const double a = azimuth_deg - 360 * std::floor(azimuth_deg / 360);
  return std::min(static_cast<int>(a / direction_deg), Skyline::directions - 1);
}

}  // namespace

double Skyline::usual(int h) {
  // row 0: nothing there
  if (h == 0) return 1 - above(0);
  if (h == heights - 1) return above((h - 1) * height_deg);
  return above((h - 1) * height_deg) - above(h * height_deg);
}

void Skyline::forget() {
  for (auto& row : table_)
    for (int h = 0; h < heights; ++h) row[static_cast<std::size_t>(h)] = static_cast<float>(usual(h));
  kept_.clear();
}

double Skyline::hidden(double elevation_deg, double azimuth_deg) const {
  const auto at_direction = [&](int d) {
    const auto& row = table_[static_cast<std::size_t>((d + directions) % directions)];
    double p = 0;
    for (int h = 1; h < heights; ++h) {
      // row h reaches from (h-1) to h times height_deg
      const double reach = (h - elevation_deg / height_deg);
      p += row[static_cast<std::size_t>(h)] * std::clamp(h == heights - 1 ? reach + 1 : reach, 0.0, 1.0);
    }
    return p;
  };
  const double x = azimuth_deg / direction_deg - 0.5;
  const double part = x - std::floor(x);
  const int d = static_cast<int>(std::floor(x));
  return std::clamp((1 - part) * at_direction(d) + part * at_direction(d + 1), 0.0, 1.0);
}

nlohmann::json Skyline::kept() const {
  nlohmann::json j = nlohmann::json::object();
  std::array<double, heights> as_usual;
  for (int h = 0; h < heights; ++h) as_usual[static_cast<std::size_t>(h)] = usual(h);
  for (int d = 0; d < directions; ++d) {
    const auto& row = table_[static_cast<std::size_t>(d)];
    bool changed = false;
    for (std::size_t h = 0; h < heights; ++h) changed |= std::abs(row[h] - as_usual[h]) > 1e-4;
    if (!changed) continue;
    nlohmann::json::array_t values;
    values.reserve(heights);
    for (const double p : row) values.emplace_back(static_cast<int>(std::lround(p * unit)));
    j[std::to_string(d)] = std::move(values);
  }
  return j;
}

void Skyline::take(const nlohmann::json& kept) {
  if (!kept.is_object()) return;
  for (int d = 0; d < directions; ++d) {
    const auto it = kept.find(std::to_string(d));
    if (it == kept.end() || !it->is_array() || it->size() != heights) continue;
    std::array<float, heights> row{};
    double sum = 0;
    bool read = true;
    for (std::size_t h = 0; h < heights && read; ++h) {
      read = (*it)[h].is_number_integer() && (*it)[h].get<std::int64_t>() >= 0 && (*it)[h].get<std::int64_t>() <= unit;
      if (read) sum += row[h] = std::max(static_cast<float>((*it)[h].get<std::int64_t>()) / static_cast<float>(unit), least);
    }
    if (!read || !(sum > 0)) continue;
    for (float& p : row) p /= static_cast<float>(sum);
    table_[static_cast<std::size_t>(d)] = row;
  }
}

void Skyline::keep(std::int32_t day, double elevation_deg, double azimuth_deg, double beam, double level_ln, double noise) {
  kept_.push_back({day, elevation_deg, azimuth_deg, beam, level_ln, noise});
}

template <class F>
void Skyline::weigh(double azimuth_deg, F&& factor) {
  const int middle = direction_of(azimuth_deg);
  for (int away = -1; away <= 1; ++away) {
    auto& row = table_[static_cast<std::size_t>((middle + away + directions) % directions)];
    float sum = 0;
    for (int h = 0; h < heights; ++h) {
      const double f = factor(h == 0 ? -1.0 : (h - 0.5) * height_deg);
      float& p = row[static_cast<std::size_t>(h)];
      p = std::max(p * static_cast<float>(away ? std::sqrt(f) : f), least);
      sum += p;
    }
    for (float& p : row) p /= sum;
  }
}

void Skyline::close_day() {
  const std::size_t n = kept_.size();
  const auto seen = [&](std::size_t i) { return kept_[i].beam > 0.65; };
  const auto unseen = [&](std::size_t i) { return kept_[i].beam < 0.25; };
  // sun seen
  for (std::size_t i = 0; i < n; ++i)
    if (seen(i)) weigh(kept_[i].azimuth_deg, [&](double h) { return h > kept_[i].elevation_deg + 0.3 ? seen_minute : 1.0; });
  // directions without sun all along, on a day that had some within hours: else the glass may be covered
  for (std::size_t from = 0; from < n;) {
    const int d = direction_of(kept_[from].azimuth_deg);
    std::size_t to = from;
    int with = 0, without = 0;
    double elevation = 0;
    for (; to < n && direction_of(kept_[to].azimuth_deg) == d; ++to) {
      with += !unseen(to);
      without += unseen(to);
      elevation += kept_[to].elevation_deg;
    }
    elevation /= static_cast<double>(to - from);
    bool near = false;
    for (std::size_t i = from > near_minutes ? from - near_minutes : 0; i < std::min(n, to + near_minutes) && !near; ++i) near = seen(i);
    if (with == 0 && without >= 4 && near) weigh(kept_[from].azimuth_deg, [&](double h) { return h > elevation ? unseen_day : 1.0; });
    from = to;
  }
  // edges between steady dim light and sun, either way round
  for (std::size_t i = 1; i < n; ++i) {
    for (const int way : {1, -1}) {
      // the first bright minute, and the last dim one within three before it
      const std::size_t bright = way > 0 ? i : i - 1;
      const auto at = [&](std::ptrdiff_t k) { return static_cast<std::ptrdiff_t>(bright) + way * k; };
      const auto inside = [&](std::ptrdiff_t k) { return k >= 0 && k < static_cast<std::ptrdiff_t>(n); };
      if (!seen(bright) || !inside(at(-1)) || seen(static_cast<std::size_t>(at(-1)))) continue;
      std::ptrdiff_t dim = 1;
      while (dim <= 4 && inside(at(-dim)) && !unseen(static_cast<std::size_t>(at(-dim)))) ++dim;
      if (dim > 4 || !inside(at(-dim))) continue;
      int brights = 0, dims = 0;
      for (std::ptrdiff_t k = 0; k < 8 && inside(at(k)); ++k) brights += seen(static_cast<std::size_t>(at(k)));
      std::vector<double> steps;
      for (std::ptrdiff_t k = dim; k < dim + 15 && inside(at(-k)); ++k) {
        const auto now = static_cast<std::size_t>(at(-k));
        if (!unseen(now)) break;
        ++dims;
        if (inside(at(-k - 1)))
          steps.push_back(std::max(0.0, std::abs(kept_[now].level_ln - kept_[static_cast<std::size_t>(at(-k - 1))].level_ln) - kept_[now].noise));
      }
      if (brights < edge_bright_minutes || dims < edge_dim_minutes) continue;
      const auto middle = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
      std::nth_element(steps.begin(), middle, steps.end());
      const double weight = *middle < calm_step ? calm_edge : loose_edge;
      const double edge = (kept_[bright].elevation_deg + kept_[static_cast<std::size_t>(at(-dim))].elevation_deg) / 2;
      weigh(kept_[bright].azimuth_deg, [&](double h) {
        const double z = (h - edge) / edge_sd_deg;
        return 1 + weight * std::exp(-0.5 * z * z);
      });
      // and where it came from, it was higher
      for (std::ptrdiff_t k = dim + 3; k < dim + 60 && inside(at(-k)) && unseen(static_cast<std::size_t>(at(-k))); k += 12) {
        const Minute& m = kept_[static_cast<std::size_t>(at(-k))];
        weigh(m.azimuth_deg, [&](double h) { return h > m.elevation_deg ? std::sqrt(weight) : 1.0; });
      }
    }
  }
  kept_.clear();
}

}  // namespace fw::diagnosis
