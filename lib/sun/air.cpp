#include "sun/air.h"

#include <algorithm>
#include <chrono>
#include <cmath>

#include "sun/angle.h"

namespace fw::sun {

double airmass_relative(double apparent_elevation_deg) {
  const double e = std::max(apparent_elevation_deg, 0.0);
  return 1.0 / (sin_deg(e) + 0.50572 * std::pow(6.07995 + e, -1.6364));
}

double airmass_absolute(double relative, double pressure) { return relative * pressure / 101325.0; }

double pressure_pa(double altitude_m) {
  return 100.0 * std::pow((44331.514 - altitude_m) / 11880.516, 1.0 / 0.1902632);
}

int day_of_year(Utc at) {
  const auto day = std::chrono::floor<std::chrono::days>(at);
  const std::chrono::year_month_day date{day};
  const std::chrono::sys_days first{date.year() / std::chrono::January / 1};
  return static_cast<int>((day - first).count()) + 1;
}

double distance_factor(int day) {
  const double b = 2.0 * std::numbers::pi * (day - 1) / 365.0;
  return 1.00011 + 0.034221 * std::cos(b) + 0.00128 * std::sin(b) + 0.000719 * std::cos(2 * b) +
         0.000077 * std::sin(2 * b);
}

double extraterrestrial_wm2(int day, double solar_constant_wm2) { return solar_constant_wm2 * distance_factor(day); }

}  // namespace fw::sun
