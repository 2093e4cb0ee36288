#include "snow/soiling.h"

#include <algorithm>
#include <cmath>

namespace fw::snow {

KimberState kimber_next_day(KimberState s, double rain_mm, const KimberSettings& k) {
  if (rain_mm > k.cleaning_rain_mm) return {0, 0};
  ++s.days_since_cleaning;
  if (s.days_since_cleaning >= k.grace_days) s.loss = std::min(s.loss + k.loss_per_day, k.max_loss);
  return s;
}

double soiling_ratio_hsu(double dust_gm2) {
  return 1 - 0.3437 * std::erf(0.17 * std::pow(std::max(dust_gm2, 0.0), 0.8473));
}

}  // namespace fw::snow
