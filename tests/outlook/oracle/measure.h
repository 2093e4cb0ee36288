#pragma once
// Holds what the outlook said against what came. Test only.
#include <map>
#include <vector>

#include "outlook/oracle/oracle.h"
#include "outlook/outlook.h"

namespace fw::oracle {

struct Marks {
  int mornings = 0, agreed = 0, oracle_clear = 0, product_clear = 0;
  double stake_kwh = 0, won_kwh = 0;
  double at_once_kwh = 0;                 ///< the stake of an oracle that does not wait for the ice to let go
  std::vector<double> gain_error;         ///< relative, where the oracle saw 0.2 kWh or more
  std::vector<double> soc_error;          ///< absolute, 24 h ahead
  std::vector<double> soc_bias, taken_bias, load_bias, rest_bias;  ///< signed, shares of the capacity
  int soc_inside = 0;
  std::vector<double> curtailed_error;    ///< relative, days with 0.3 kWh or more
  double curtailed_said = 0, curtailed_true = 0;
  void add(const Marks& o);
  void print(const char* title) const;
};

/// Watches an outlook minute by minute beside a world.
class Watcher {
 public:
  Watcher(const World& world, const Words& words, double threshold_kwh, bool chatty = false)
      : w_(world), words_(words), threshold_(threshold_kwh), chatty_(chatty) {}
  void on_minute(Utc start, const outlook::Outlook& product);
  Marks finish();

 private:
  struct Said { Utc due{}; double low, mid, high, taken_kwh, load_kwh, load_now_w; };
  const World& w_;
  const Words& words_;
  double threshold_;
  bool chatty_;
  Marks m_;
  Utc day_{};
  bool judged_ = false;
  std::vector<Said> said_;
};

}  // namespace fw::oracle
