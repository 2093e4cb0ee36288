#pragma once
// The bank as a warm body: how fast it follows cabin and air, what its own current and heaters do to it, learned
// while it runs; and from that, when the cells reach a temperature.
//
//   dT/dt = a_air (air - T) + a_cabin (cabin - T) + heat_per_w P + loss c^2 + rest       [K/h]
//
// First order in T, linear in its coefficients, which a Kalman filter on one-hour balances follows (random walk,
// bounded, outliers weighed down after Huber 1964). `rest` is the steady part of what the rest of the world does.
// Deterministic; no clock.
#include <array>
#include <functional>
#include <optional>
#include <vector>

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

  /// K/h at a temperature in surroundings, with everything learned.
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
  double carry_uncertainty(std::array<double, 5>& sensitivity, double cell_c, const Surroundings& s, double dt_h) const;
  /// How far the last balance was off what was foreseen, and how many there were; for whoever learns habits.
  double last_miss_k_per_h() const { return miss_; }
  long balances() const { return balances_; }
  /// The cells between the sensor's digits: last reading and model together. None before the first.
  std::optional<double> cell_c() const { return observed_; }

  /// A heater nobody reports: level at which the cells turned upward again and again (once where the rise is too
  /// strong for anything else), and how strong it is: the cooling before a turn and the rise after it. None: not seen.
  struct Hold { double turn_c = 0, off_c = 0, strength_k_per_h = 0; };
  std::optional<Hold> hold() const;

  /// Everything learned, as plain figures, for whoever keeps it over a restart.
  struct Turn { Elapsed at{}; double low_c = 0, amplitude_k = 0, strength_k_per_h = 0; };
  struct Memory {
    std::array<double, 5> x{};
    std::array<std::array<double, 5>, 5> p{};
    double error = 0.3, hours = 0;
    std::vector<Turn> turns;
  };
  Memory memory() const;
  void recall(const Memory& m);

 private:
  void forget();
  void observe(Elapsed at, double cell_c, const Surroundings& s);
  void balance(double minutes_long);
  void watch_turns(Elapsed at, double cell_c, const Surroundings& s);

  std::array<double, 5> x_{};                     ///< a_air, a_cabin, heat_per_w, loss, rest
  std::array<std::array<double, 5>, 5> p_{};
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

  struct Sample { Elapsed at; double cell_c; Surroundings s; };
  std::vector<Sample> window_;                    ///< the hour under way

  std::vector<Turn> turns_;                       ///< newest last, at most eight
  std::optional<double> high_, low_;              ///< of the swing under way
  Elapsed high_at_{}, low_at_{};
  double cooling_ = 0;                            ///< seen, on the way down to low_
  bool falling_ = true;
  double last_c_ = 1e9;
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
