#pragma once
// The guard's few decisions, each on its own and pure, so that a test can break one and see it caught.
#include <optional>
#include <vector>

#include "bank/charge_window.h"
#include "rig/rig.h"
#include "units/time.h"

namespace fw::guard {

/// The owner's bands, or the cautious default.
std::vector<bank::Band> bands_of(const rig::ChargeWindow& w);

class Decisions {
 public:
  virtual ~Decisions() = default;
  /// At or below the lower limit.
  virtual bool too_cold(double cell_min_c, const rig::ChargeWindow& w) const;
  /// At or above the upper limit.
  virtual bool too_hot(double cell_max_c, const rig::ChargeWindow& w) const;
  /// Warm enough (and not too hot) to count toward the dwell.
  virtual bool may_resume(double cell_min_c, double cell_max_c, const rig::ChargeWindow& w) const;
  /// Whether a dwell begun at `since` is over.
  virtual bool dwell_over(Span since, const rig::ChargeWindow& w) const;
  /// Whether a cell temperature of this age still carries a permit. `doubted_for`: readings came and were not believed.
  virtual bool carries(Span age, std::optional<Span> doubted_for, Span max_age, Span grace) const;
  /// Which of several believed sensors rules at the bottom.
  virtual double coldest(const std::vector<double>& cells_c) const;
  /// Bank's charge current at these temperatures, A.
  virtual double bank_limit_a(double cell_min_c, double cell_max_c, const rig::Bank& b) const;
  /// Whether a permit may be given, after so many changes within the last hour.
  virtual bool may_change_again(int changes_in_last_hour) const;
};

}  // namespace fw::guard
