#include "outlook/cells_ahead.h"

#include <algorithm>

namespace fw::outlook {
namespace {
constexpr double likely_sd = 0.67;  // three chances in four
constexpr double air_sigma_k = 1.5;
constexpr Span point = minutes{5};  // of a course
constexpr double first_day_h = 24;
}  // namespace

CellsAhead cells_ahead(const rig::Rig& rig, const bank::ThermalModel& thermal, const CellsNow& now, Utc at, const std::vector<WeatherHour>& weather) {
  CellsAhead out;
  if (weather.empty()) return out;
  double rated_w = 0;
  std::vector<bank::Thermostat> heaters;
  for (const auto& h : rig.heaters) {
    heaters.push_back({h.on_below_c, h.off_above_c, h.rated_w, now.heater_on});
    rated_w += h.rated_w;
  }
  auto surroundings = [&](Span ahead, double) {
    const auto h = std::clamp<std::int64_t>((at + ahead - weather.front().from) / hours{1}, 0, std::ssize(weather) - 1);
    return bank::Surroundings{weather[static_cast<std::size_t>(h)].air_c, now.cabin_c, 0, 0};
  };
  const auto course = bank::course_of(thermal, now.cell_c, surroundings, weather.back().from + hours{1} - at, air_sigma_k, heaters);
  if (course.empty()) return out;
  const auto hold = thermal.hold();
  const bool new_here = thermal.hours_learned() < first_day_h;
  const double resume_c = rig.bank.window.resume_c;
  // Without a heater cells do not go on rising for days above all that surrounds them, whatever made them rise today.
  double ceiling_c = std::max(now.cell_c, now.cabin_c.value_or(-99));
  const auto half_day = static_cast<std::size_t>(hours{12} / point);
  if (course.size() > half_day) ceiling_c = std::max(ceiling_c, course[half_day].cell_c);
  for (const WeatherHour& w : weather) {
    const auto i = std::clamp<std::int64_t>((w.from + minutes{30} - at) / point, 0, std::ssize(course) - 1);
    const bank::CoursePoint& p = course[static_cast<std::size_t>(i)];
    double cell_c = p.cell_c;
    ceiling_c = std::max(ceiling_c, w.air_c);
    if (rated_w == 0) cell_c = std::min(cell_c, ceiling_c);
    if (hold) cell_c = std::max(cell_c, hold->turn_c);
    // Until a day has shown how fast the cells follow, sun is not written off for a cold that is only guessed.
    if (new_here && now.cell_c > resume_c + 2) cell_c = std::max(cell_c, resume_c + 1);
    // Held off by cold now: sun is counted again only when the cells are likely warm enough, not just perhaps.
    if (now.cell_c < resume_c && !now.charging_allowed) cell_c -= p.sigma_k * likely_sd;
    out.cell_c.push_back(cell_c);
    // Held by a heater, or above all doubt for want of a day's learning: no spread to speak of.
    out.sigma_k.push_back(hold || new_here ? 0 : p.sigma_k);
    double held = 0, points = 0;
    for (auto k = std::max<std::int64_t>(0, i - 6); k < std::min<std::int64_t>(i + 6, std::ssize(course)); ++k, ++points) held += course[static_cast<std::size_t>(k)].held;
    out.heat_w.push_back(points > 0 ? std::max(0.0, rated_w * held / points - now.heater_usual_w) : 0);
  }
  return out;
}

}  // namespace fw::outlook
