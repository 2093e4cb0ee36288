#pragma once
// The bank of the generated world and what it lets the controllers do. Test only.
#include "score/generated/dice.h"
#include "score/generated/scene.h"
#include "score/generated/world.h"

namespace fw::score {

class Bank {
 public:
  explicit Bank(const Scene& scene);
  /// One minute on, with what the strings could give at the bank's side. Returns the power taken, W.
  double step(double offered_w, double air_c, double local_hour);
  const BankTruth& now() const { return now_; }
  RealStage stage() const { return stage_; }

 private:
  const Scene& scene_;
  Dice d_;
  BankTruth now_;
  RealStage stage_ = RealStage::bulk;
  double kettle_min_ = 0, flicker_ = 0;
};

}  // namespace fw::score
