#pragma once
// The advice that stands, one of a kind: told anew when it changed, withdrawn when done or no longer true.
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "records/effect.h"
#include "words/words.h"

namespace fw::outlook {

struct Advice {
  std::string text;
  std::optional<double> gain_kwh;
  std::optional<Utc> best_from, best_to;
  std::string sort;                   ///< advice of another sort is news, the same sort only when its figures moved
  Utc said{};                         ///< when its words were made
};

class StandingAdvice {
 public:
  StandingAdvice(std::string rig_name, const Words& words) : rig_name_(std::move(rig_name)), words_(words) {}

  void put(const std::string& kind, const Advice& advice, const Stamp& when);
  void withdraw(const std::string& kind, const std::string& why, const Stamp& when);
  /// Only when no plan of the last hour gave it: what a passing load or cloud takes away comes back.
  void withdraw_if_lasting(const std::string& kind, const std::string& why, const Stamp& when);

  const std::map<std::string, Advice>& all() const { return advice_; }
  bool has(const std::string& kind) const { return advice_.contains(kind); }
  /// To store and publish (retained on firnwatt/<rig>/advice/<kind>, emptied when withdrawn).
  std::vector<Effect> take_effects();

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  Publish published(const std::string& kind) const;

  std::string rig_name_;
  Words words_;
  std::map<std::string, Advice> advice_;
  std::map<std::string, Elapsed> gone_since_;    ///< advice that the last plans no longer give
  std::vector<Effect> effects_;
};

}  // namespace fw::outlook
