#pragma once
// The bank's energy through the coming days: what it takes, what it gives, when it is full, when it
// reaches its reserve, and how sure that is.
#include <optional>
#include <vector>

#include "bank/charge_window.h"
#include "outlook/shortage.h"
#include "rig/rig.h"
#include "units/time.h"

namespace fw::outlook {

/// In and out again, with what the wiring costs; common practice for iron phosphate, no source.
inline constexpr double charge_efficiency = 0.95;

/// Share of its rated capacity that an iron phosphate bank gives at a cell temperature, 0.6..1: whole at 10 degC
/// and above, 0.95 at 0, 0.83 at -5, 0.68 at -10 (common practice, no source).
double usable_share(double cell_c);

struct BankStep {
  double hours = 0.25;
  double available_w = 0;        ///< behind the controllers, if all of it is taken
  double available_error = 0.3;  ///< relative standard error
  double load_w = 0, load_error_w = 0;
  std::optional<double> cell_c;
  double may_charge = 1;         ///< chance that the cells let it, 0..1; see judge_charging()
};

/// Fills in may_charge: of five courses of the cells across the likely range beside cell_c (sigma_k a step, empty: none),
/// the share that charges then. A night that ends near the limit is neither all sun lost nor none.
void judge_charging(const rig::Rig& rig, bool allowed_now, const std::vector<double>& sigma_k, std::vector<BankStep>& steps);

struct BankNow {
  double soc = 0.5;
  double soc_error = 0.01;       ///< standard error
  bool charging_allowed = true;  ///< permit and the bank's own leave
  double widen = 1;              ///< learned: how much wider than planned the errors have been, 0.5..3
  double unexplained_w = 0;      ///< learned: what goes besides the known loads (negative: comes)
  double full_draw_w = 0;        ///< learned: taken beyond the loads while full
  ServedShare served = all_served;  ///< learned: of the loads, when the bank is low
  double held_feeds = 0;         ///< learned: share of the loads that the sun feeds while charging is held off
};

struct BankPath {
  std::vector<double> soc;           ///< at the END of each step, 0..1
  std::vector<double> accepted_w;    ///< taken from the strings, by loads and bank
  std::vector<double> served_w;      ///< of the loads wanted, what the bank does not cut off
  std::vector<double> curtailed_w;   ///< could have been made, but the bank is full or takes no faster
  std::vector<double> held_off_w;    ///< could have been made, but the cells are too cold or hot to charge
  std::vector<bool> chargeable;
  std::optional<double> reserve_h, departure_h;  ///< hours from now until these are reached, cold counted
};

/// The balance of one step after another; what run_bank() is made of, for whoever needs no more than that.
class BankModel {
 public:
  BankModel(const rig::Rig& rig, const BankNow& now);
  struct State { double soc = 0, hours = 0; };
  struct Flow {
    double take_w = 0, load_w = 0;
    double fed_w = 0;         ///< of take_w, past a bank that may not charge
    double served_share = 1;  ///< of the loads, what a low bank leaves on
  };
  Flow flow(const State& at, const BankStep& step) const;
  void step(State& at, const BankStep& step, const Flow& flow, double shift_wh = 0) const;
  double capacity_wh() const { return capacity_wh_; }

 private:
  const rig::Rig& rig_;
  BankNow now_;
  double capacity_wh_;
  bool limits_current_ = false;
  double just_allowed_c_ = 0;
  std::vector<bank::Band> bands_;
};

/// offset_sd: runs that many standard errors beside the middle (-1.28 and 1.28 bound 80 %).
BankPath run_bank(const rig::Rig& rig, const BankNow& now, const std::vector<BankStep>& steps, double offset_sd);

/// Hours until a state of charge is reached on such a path, with that share of the loads; none: not within the steps.
std::optional<double> reached_after_h(const rig::Rig& rig, const BankNow& now, const std::vector<BankStep>& steps, double soc_level,
                                      double offset_sd, double load_share = 1);

/// Energy accepted from the strings over steps [from, to), kWh.
double accepted_kwh(const BankPath& path, const std::vector<BankStep>& steps, std::size_t from, std::size_t to);

/// State of charge when nothing but a bank voltage is known: a span, never a figure in between.
struct SocSpan { double low = 0.20, high = 0.90; };
SocSpan soc_from_voltage(double bank_v, double nominal_v, std::optional<double> current_a, double capacity_ah);

}  // namespace fw::outlook
