#include "score/generated/glass.h"

#include <algorithm>
#include <cmath>

namespace fw::score {

Glass::Glass(const Scene& scene, int string)
    : scene_(scene), string_(string), d_(scene.seed * 131 + static_cast<std::uint64_t>(string), "glass") {
  const StringScene& s = scene.strings[static_cast<std::size_t>(string)];
  film_ = s.first_soiling;
  parts_.resize(static_cast<std::size_t>(s.real.parallel));
  melts_at_ = d_.between(0.75, 1.3);
  trace_ = d_.between(0.004, 0.014);
  for (auto& row : parts_) {
    row.resize(static_cast<std::size_t>(s.real.series * 3));
    double module = 1;
    for (std::size_t i = 0; i < row.size(); ++i) {
      if (i % 3 == 0) module = std::exp(d_.about(0.12, 0.25));
      row[i].take = module * std::exp(d_.about(0.08, 0.2));
      row[i].slide_at = d_.between(15, 120);
    }
  }
  pass_.assign(parts_.size(), std::vector<double>(parts_.front().size(), 1.0));
}

void Glass::step(const WeatherMinute& w, long minute, double poa, double sun_el) {
  const StringScene& s = scene_.strings[static_cast<std::size_t>(string_)];
  slid_ = false;
  // Film: builds, is washed by rain according to how much falls, and goes along with melting snow.
  film_ += scene_.soiling_per_day / 1440 * d_.between(0.4, 1.6);
  if (w.rain_mm > 0) film_ *= std::exp(-w.rain_mm * 0.55);
  const double lies = std::cos(s.real_tilt_deg * 0.01745);
  bool moved = w.snow_cm > 0;
  for (auto& row : parts_)
    for (Part& p : row) {
      if (w.snow_cm > 0) {
        const double sticks = s.real_tilt_deg > 55 ? 0.35 * lies : lies;
        p.cm += w.snow_cm * p.take * std::max(0.02, sticks) * (w.wind_ms > 5 ? 0.6 : 1.0);
      }
      if (p.cm <= 0 && p.ice <= 0) continue;
      moved = true;
      // 1 cm of fresh snow is about 1 kg/m2; it takes what the glass below and the sun give, less what cold air draws.
      const double open = std::exp(-p.cm / 1.1);
      const double gain = poa * (0.08 + 0.45 * open) * melts_at_ + 9 * w.air_c + (w.rain_mm > 0 ? 40 : 0);
      const double melt_cm = std::max(0.0, gain) * 60 / 334000 * 0.9;
      p.ice = std::max(0.0, p.ice - melt_cm * 0.6 - poa * 8e-6);
      // A breath of wind and dry air take a little even in the cold.
      p.cm = std::max(0.0, p.cm - melt_cm - 2e-5);
      if (s.clears_easily && p.cm > 0.2 && (gain > 5 || w.air_c > 0.5)) {
        p.soft += std::sin(s.real_tilt_deg * 0.01745) * (1 + gain / 60);
        if (p.soft > p.slide_at) {
          p.cm = 0;
          p.soft = 0;
          slid_ = true;
        }
      }
      if (p.cm < 0.03 && w.snow_cm <= 0) p.cm = 0;
    }
  // Thin snow on a steep wall falls off by its own weight.
  if (s.real_tilt_deg > 60)
    for (auto& row : parts_)
      for (Part& p : row)
        if (p.cm > 2.5 && d_.chance(0.02)) p.cm = 0, slid_ = true;
  // Rime at the end of a clear night, on glass without snow.
  const auto day = static_cast<std::size_t>(minute / 1440);
  const bool before_dawn = sun_el > -8 && sun_el < -2;
  if (before_dawn && day < scene_.frost_by_day.size() && scene_.frost_by_day[day] > 0 && w.air_c < 0.5 && w.cover < 0.7 && rime_ < scene_.frost_by_day[day])
    rime_ = scene_.frost_by_day[day] * d_.between(0.8, 1.1);
  if (rime_ > 0) {
    rime_ -= (poa * 2.0e-5 + std::max(0.0, w.air_c) * 4e-4) * (rime_ > 0.02 ? 1 : 3);
    if (rime_ < 0.004 || w.rain_mm > 0) rime_ = 0;
  }
  if (moved) settle();
}

void Glass::settle() {
  for (std::size_t r = 0; r < parts_.size(); ++r)
    for (std::size_t i = 0; i < parts_[r].size(); ++i) {
      const Part& p = parts_[r][i];
      // Thin snow lies in patches; what lies takes light by its depth.
      const double lying = 1 - std::exp(-p.cm / 0.45);
      // Through the deepest snow and at its edges a trace still comes.
      pass_[r][i] = (1 - lying * (1 - std::max(trace_, std::exp(-0.35 - p.cm / 1.3)))) * (1 - std::min(0.9, p.ice));
    }
}

void Glass::by_hand(const Handwork& h) {
  if (h.washes) {
    film_ = std::min(film_, d_.between(0.002, 0.012));
    return;
  }
  std::size_t done = 0, all = 0;
  for (const auto& row : parts_) all += row.size();
  for (auto& row : parts_)
    for (Part& p : row) {
      if (static_cast<double>(done++) < h.share * static_cast<double>(all)) {
        const bool had = p.cm > 0.3;
        p.cm = 0;
        p.soft = 0;
        if (had && h.leaves_ice) p.ice = d_.between(0.2, 0.5);
      }
    }
  film_ *= 0.5;
  settle();
}

std::vector<std::vector<double>> Glass::bare(const PlaneLight& light) const {
  return std::vector<std::vector<double>>(parts_.size(), std::vector<double>(parts_.front().size(), light.sum()));
}

std::vector<std::vector<double>> Glass::shaded(const PlaneLight& light, const SunAt& sun) const {
  auto out = bare(light);
  // A hill takes the beam of all at once; the light from snow slopes and sky stays, and is more than the sky's own.
  const double hill = scene_.horizon_deg(sun.azimuth_deg);
  const double behind = std::clamp((hill - sun.elevation_deg) / 0.6 + 0.5, 0.0, 1.0);
  const double rest = hill > 0.5 ? 1 + (scene_.hill_diffuse - 1) * behind : 1;
  std::size_t all = 0;
  for (const auto& row : out) all += row.size();
  std::size_t n = 0;
  for (auto& row : out)
    for (double& g : row) {
      const double place = all > 1 ? static_cast<double>(n) / static_cast<double>(all - 1) - 0.5 : 0;
      ++n;
      double seen = 1 - behind, sky = 1;
      for (const Obstacle& o : scene_.obstacles) {
        if (o.string != string_) continue;
        const double width = std::fmod(o.to_az - o.from_az + 360, 360);
        const double middle = o.from_az + width / 2 + (o.by_parts ? place * std::min(8.0, width * 0.6) : 0);
        const double off = std::abs(std::remainder(sun.azimuth_deg - middle, 360));
        const double in_az = std::clamp((width / 2 - off) / o.soft_deg + 0.5, 0.0, 1.0);
        const double in_el = std::clamp((o.top_el - sun.elevation_deg) / o.soft_deg + 0.5, 0.0, 1.0) *
                             std::clamp((sun.elevation_deg - o.bottom_el) / o.soft_deg + 0.5, 0.0, 1.0);
        seen *= 1 - o.dense * in_az * in_el;
        sky *= 0.985;
      }
      // What hides the sun hides about half of the bright sky around it.
      g = light.beam * seen + light.glow * (0.5 + 0.5 * seen) + light.diffuse * rest * sky;
    }
  return out;
}

double Glass::depth_cm() const {
  double sum = 0;
  int n = 0;
  for (const auto& row : parts_)
    for (const Part& p : row) sum += p.cm, ++n;
  return sum / n;
}

double Glass::covered() const {
  double sum = 0;
  int n = 0;
  for (const auto& row : parts_)
    for (const Part& p : row) sum += 1 - std::exp(-p.cm / 0.45), ++n;
  return sum / n;
}

}  // namespace fw::score
