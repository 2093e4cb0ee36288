#pragma once
// Hours ahead: when the cells reach the owner's floor and the charge limit, how sure, what heat would hold them.
// Learns the bank (bank/thermal.h), and the daily course of air and cabin, from the minutes.
#include <array>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "bank/thermal.h"
#include "records/fact.h"
#include "records/minute.h"
#include "rig/rig.h"
#include "units/time.h"
#include "words/words.h"

namespace fw::guard {

/// A daily course in half hours of local time, each a slow mean.
class DayCourse {
 public:
  void learn(int minute_of_day, double value);
  /// Between the half hours linear; none where nothing was learned.
  std::optional<double> at(int minute_of_day) const;
  const std::array<std::optional<double>, 48>& means() const { return mean_; }
  void recall(const std::array<std::optional<double>, 48>& m) { mean_ = m; }

 private:
  std::array<std::optional<double>, 48> mean_;
};

class Foresight {
 public:
  Foresight(const rig::Rig& rig, const Words& words);

  /// cell_c: coldest believed cell; none: nothing is learned and nothing foreseen this minute.
  /// heater_w: of the heaters switched by us that are on.
  void on_minute(const RigMinute& m, std::optional<double> cell_c, double heater_w);

  void facts(Now now, Facts& out) const;
  std::vector<std::string> sentences(Now now) const;

  /// K/h at a cell temperature under the present surroundings; none while too little is learned to judge a sensor by.
  std::optional<double> rate_k_per_h(double cell_c) const;
  /// When the cells will have warmed to a level, on the middle course.
  std::optional<Utc> warm_at(double level_c) const;
  const bank::ThermalModel& model() const { return model_; }

  /// A warning as it stands, for tests and figures.
  struct Warning {
    std::string subject;                 ///< "bank": the charge limit, "floor": the owner's floor
    double level_c = 0;
    bool lasting = false;
    bool active = false, reached = false;
    std::optional<Utc> at, early, late;  ///< expected crossing
    double probability = 0;
    std::optional<Elapsed> likely_since, unlikely_since, at_level_since, below_since, above_since, short_dip_at;
    double heat_w = 0, heat_kwh = 0;
    std::optional<Utc> heat_from;
  };
  const std::vector<Warning>& warnings() const { return warnings_; }

  nlohmann::json memory() const;
  void recall(const nlohmann::json& j);

 private:
  void foresee(const RigMinute& m, double cell_c);
  void look_ahead(const RigMinute& m);
  double habit_at(Utc t) const;
  bank::Surroundings ahead(Span at) const;
  std::vector<bank::Thermostat> thermostats() const;
  bool returns_below(double level_c) const;
  void judge(Warning& w, const RigMinute& m, double cell_c);

  const rig::Rig& rig_;
  const Words& words_;
  bank::ThermalModel model_;
  DayCourse air_day_, cabin_day_;
  std::array<double, 48> habit_{};              ///< K/h by half hour of local time that nothing measured explains
  long balances_seen_ = 0;
  std::vector<Warning> warnings_;

  Utc utc_{};
  std::optional<double> cell_c_, soc_;
  bank::Surroundings now_;
  std::vector<std::optional<double>> air_ahead_, cabin_ahead_;  ///< every five minutes from now
  bank::Course course_;
  bool falling_ = false, commanded_on_ = false;
  double air_sigma_k_ = 1.5;

  // the cabin's own heating
  std::vector<std::pair<Elapsed, double>> cabin_recent_;
  bool cabin_failed_ = false;
  double cabin_tau_h_ = 4;
  // the bank's own heater, where it is reported
  bool own_known_ = false, own_on_ = false, own_trusted_ = true;
  std::optional<double> own_on_c_, own_off_c_;
  std::optional<Elapsed> own_overdue_since_;
  double own_w_ = 0;
  std::optional<Utc> heating_since_;
  bool cannot_hold_ = false;
};

}  // namespace fw::guard
