#include "guard/decisions.h"

#include <algorithm>

namespace fw::guard {

std::vector<bank::Band> bands_of(const rig::ChargeWindow& w) {
  if (w.bands.empty()) return bank::default_bands();
  std::vector<bank::Band> out;
  for (const auto& b : w.bands) out.push_back({b.from_c, b.to_c, b.c_rate});
  return out;
}

bool Decisions::too_cold(double c, const rig::ChargeWindow& w) const { return c <= w.lower_limit_c; }

bool Decisions::too_hot(double c, const rig::ChargeWindow& w) const { return c >= w.upper_limit_c; }

bool Decisions::may_resume(double cell_min_c, double cell_max_c, const rig::ChargeWindow& w) const {
  return cell_min_c >= w.resume_c && cell_max_c <= w.upper_resume_c;
}

bool Decisions::dwell_over(Span since, const rig::ChargeWindow& w) const { return since >= w.resume_dwell; }

bool Decisions::carries(Span age, std::optional<Span> doubted_for, Span max_age, Span grace) const {
  return age <= max_age + grace && (!doubted_for || *doubted_for <= grace);
}

double Decisions::coldest(const std::vector<double>& cells_c) const { return *std::min_element(cells_c.begin(), cells_c.end()); }

double Decisions::bank_limit_a(double cell_min_c, double cell_max_c, const rig::Bank& b) const {
  static const auto usual = bank::default_bands();
  const auto rate = [&](const std::vector<bank::Band>& bands) { return bank::c_rate_for(bands, cell_min_c, cell_max_c, b.window.interpolate); };
  return (b.window.bands.empty() ? rate(usual) : rate(bands_of(b.window))) * b.capacity_ah;
}

bool Decisions::may_change_again(int changes_in_last_hour) const { return changes_in_last_hour <= 2; }

}  // namespace fw::guard
