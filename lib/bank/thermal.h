#pragma once
// The bank as a warm body: how fast it follows cabin and air, what its own current and heaters do to it, learned
// while it runs; and from that, when the cells reach a temperature.
//
//   dT/dt = a_air (air - T) + a_cabin (cabin - T) + heat_per_w P + loss c^2 + rest + hidden u       [K/h]
//
// P of heaters that are told of; u: the chance that one nobody reports is on (hidden_heater.h). First order in T, linear in its coefficients, which a Kalman filter on one-hour balances follows (random walk,
// bounded, outliers weighed down after Huber 1964). `rest` is the steady part of what the rest of the world does.
// Deterministic; no clock.
#include <array>
#include <functional>
#include <optional>
#include <vector>

#include "bank/hidden_heater.h"
#include "units/time.h"

namespace fw::bank {

/// What acts on the bank at one moment.
struct Surroundings {
  std::optional<double> air_c, cabin_c;
  double heater_w = 0;   ///< of all heaters known to be on
  double c_rate = 0;     ///< |current| over capacity
  double habit_k_per_h = 0;  ///< what this hour of the day brings beyond all that, as far as it is known
};

class ThermalModel {
 public:
  explicit ThermalModel(double capacity_wh);

  /// One believed cell temperature with its surroundings; call about once a minute, in time order. A pause of
  /// more than 20 minutes starts a new balance.
  void learn(Elapsed at, double cell_c, const Surroundings& s);

  static constexpr std::size_t coefficients = 6;
  using Coefficients = std::array<double, coefficients>;

  /// K/h at a temperature in surroundings, with everything learned but a hidden heater.
  double rate_k_per_h(double cell_c, const Surroundings& s) const;

  double time_constant_h() const;                 ///< 1 / (a_air + a_cabin), 1..500 h
  double cabin_share() const;                     ///< 0 follows the air .. 1 follows the cabin
  double k_per_w() const;                         ///< steady warming per heater watt, K/W
  double heat_per_w() const { return x_[2]; }     ///< K/h per heater watt
  double rest_k_per_h() const { return x_[4]; }
  double recent_k_per_h() const { return recent_; }  ///< what the last two hours did beyond all that
  double rate_error_k_per_h() const { return error_; }  ///< typical error of the rate, one hour balances
  double hours_learned() const { return hours_; }
  /// Standard deviation, K, that the coefficients' own uncertainty makes of a temperature dt_h further on. `sensitivity`:
  /// how that temperature depends on each coefficient; begins at nought and is carried along.
  /// hidden_on: the hidden heater is at work then.
  double carry_uncertainty(Coefficients& sensitivity, double cell_c, const Surroundings& s, bool hidden_on, double dt_h) const;
  /// How far the last balance was off what was foreseen, and how many there were; for whoever learns habits.
  double last_miss_k_per_h() const { return miss_; }
  long balances() const { return balances_; }
  /// The cells between the sensor's digits: last reading and model together. None before the first.
  std::optional<double> cell_c() const { return observed_; }

  /// A heater nobody reports, as far as it was seen at work.
  using Hold = HiddenHeater::Hold;
  std::optional<Hold> hold() const { return hidden_.hold(); }
  double hidden_on() const { return hidden_.on(); }          ///< chance that it is on now
  double hidden_k_per_h() const { return x_[5]; }            ///< what it does while on

  /// Everything learned, as plain figures, for whoever keeps it over a restart.
  using Turn = HiddenHeater::Turn;
  struct Memory {
    Coefficients x{};
    std::array<Coefficients, coefficients> p{};
    double error = 0.3, hours = 0;
    std::vector<Turn> turns;
  };
  Memory memory() const;
  void recall(const Memory& m);

 private:
  void forget();
  void observe(Elapsed at, double cell_c, const Surroundings& s);
  void balance(double minutes_long);

  Coefficients x_{};                              ///< a_air, a_cabin, heat_per_w, loss, rest, hidden
  std::array<Coefficients, coefficients> p_{};
  double error_ = 0.3;
  double recent_ = 0;
  double miss_ = 0;
  long balances_ = 0;
  double hours_ = 0;

  double capacity_wh_;
  std::optional<double> last_raw_, observed_;
  Elapsed observed_at_{};
  double step_k_ = 1;                             ///< the sensor's smallest step seen
  bool knew_hold_ = false;

  struct Sample { Elapsed at; double cell_c; Surroundings s; double hidden_on; };
  std::vector<Sample> window_;                    ///< the hour under way

  HiddenHeater hidden_;
};

/// A course ahead, one point every five minutes from now: the middle and how far off it may be.
struct CoursePoint { Span ahead{}; double cell_c = 0; double sigma_k = 0; bool held = false; };  ///< held: a heater is at work then
using Course = std::vector<CoursePoint>;

/// What the surroundings will be at a time ahead; heater_w of what no Thermostat stands for, which may depend on the cells.
using Ahead = std::function<Surroundings(Span ahead, double cell_c)>;

/// A heater that comes on at one cell temperature and goes off at another.
struct Thermostat { double on_c = 0, off_c = 0, watts = 0; bool on_now = false; };

/// Course of the cells for `length` from cell_c, heaters coming and going, the one nobody reports (hold()) included.
/// air_sigma_k: how far off the air may be once the forecast is hours old.
Course course_of(const ThermalModel& m, double cell_c, const Ahead& ahead, Span length, double air_sigma_k = 1.5,
                 std::vector<Thermostat> heaters = {});

/// When a course goes to or below a level and what it comes to.
struct Crossing {
  double probability = 0;             ///< that the cells get there, within the course
  std::optional<Span> at, early, late;  ///< middle, and the ends of the likely range; none: not on that course
  double deepest_c = 0;               ///< of the middle course
  Span below{};                       ///< how long the middle course stays there
};
/// lasting: only a stay of an hour, or a degree below the level, counts as getting there.
Crossing crossing_of(const Course& c, double level_c, bool lasting = false);

/// Steady heat, W, that keeps the cells at level_c through the course's surroundings, and its energy, kWh, from `from` on.
struct HeatNeed { double watts = 0; double kwh = 0; };
HeatNeed heat_to_hold(const ThermalModel& m, double level_c, const Ahead& ahead, Span from, Span until);

}  // namespace fw::bank
