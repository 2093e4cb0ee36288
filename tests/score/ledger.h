#pragma once
// Holds the energy account of a labelled feed against its truth, by rig-local day and loss. Test only.
#include <array>
#include <map>
#include <string>

#include "diagnosis/diagnosis.h"
#include "score/truth.h"
#include "words/words.h"

namespace fw::score {

enum class Loss { made, cloud, snow, soiling, shade, curtailed, outage, no_data, unexplained };
inline constexpr std::size_t loss_count = 9;
inline constexpr std::array<const char*, loss_count> loss_names{"made",      "cloud",  "snow",    "soiling",    "shade",
                                                                "curtailed", "outage", "no data", "unexplained"};
using LossKwh = std::array<double, loss_count>;

struct LedgerDay {
  LossKwh ours{}, truth{};
};

class Ledger {
 public:
  Ledger(const Truth& truth, std::vector<std::string> strings, const Words& words)
      : truth_(truth), strings_(std::move(strings)), words_(words) {}
  void on_minute(Utc minute, const std::vector<Verdict>& verdicts);
  const std::map<std::string, LedgerDay>& days() const { return days_; }
  LedgerDay whole() const;
  /// The minutes in which the cause given is the true one: what is off here is the account's own.
  const LedgerDay& told_right() const { return told_right_; }
  /// Days on which a loss is off by more than 0.1 kWh and more than 15 %.
  int days_off(Loss loss) const;
  void print() const;

 private:
  const Truth& truth_;
  std::vector<std::string> strings_;
  const Words& words_;
  std::map<std::string, LedgerDay> days_;
  LedgerDay told_right_;
};

/// Where the watts of a labelled five minutes went, from the sky down: cloud, then shade, then what lies on the
/// glass (snow and rime, film), then what the controller or a fault kept back.
LossKwh true_split_w(const TruthRow& row);

}  // namespace fw::score
