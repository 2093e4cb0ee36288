#pragma once
// Dirt that gathers day by day and what rain takes away.

namespace fw::snow {

/// Source: Kimber et al. 2006, IEEE WCPEC-4. Rain above the threshold in a day cleans; equal does not; for
/// the grace days after that nothing gathers.
struct KimberSettings {
  double cleaning_rain_mm = 6;
  double loss_per_day = 0.0015;
  int grace_days = 14;
  double max_loss = 0.3;
};
struct KimberState {
  double loss = 0;
  int days_since_cleaning = 1000000;
};
KimberState kimber_next_day(KimberState state, double rain_mm, const KimberSettings& settings);

/// Output over clean output for a dust mass in g/m2, 0..50.
/// Source: Coello & Boyle 2019, IEEE J. Photovoltaics: 1 - 0.3437 erf(0.17 w^0.8473).
double soiling_ratio_hsu(double dust_gm2);

}  // namespace fw::snow
