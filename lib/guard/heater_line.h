#pragma once
// One heater: asked for heat in the cold, never past its reserve, never on a doubtful temperature.
#include <optional>
#include <string>
#include <vector>

#include "records/effect.h"
#include "rig/rig.h"
#include "units/time.h"

namespace fw::guard {

enum class Heat { off, on, reserve, unknown };  ///< reserve: wanted, but the bank is at its heating reserve; unknown: no temperature or charge known

class HeaterLine {
 public:
  explicit HeaterLine(const rig::Heater& h) : heater_(h) {}

  void want(std::optional<double> cell_min_c, std::optional<double> soc, Now now, std::vector<Effect>& out);
  void advance(Now now, std::vector<Effect>& out);
  std::optional<Elapsed> next_deadline() const;
  void on_readback(bool on, Now now);
  void farewell(std::vector<Effect>& out);

  Heat heat() const { return heat_; }
  bool on() const { return heat_ == Heat::on; }
  /// Told to heat and says it does not, or the other way round, for two minutes.
  bool unconfirmed(Elapsed now) const { return contrary_since_ && now - *contrary_since_ >= minutes{2}; }
  std::optional<bool> readback() const { return readback_; }

 private:
  void say(Now now, std::vector<Effect>& out);
  const rig::Heater& heater_;
  Heat heat_ = Heat::unknown;
  bool told_ = false;
  Elapsed said_{};
  std::optional<bool> readback_;
  std::optional<Elapsed> contrary_since_;
};

}  // namespace fw::guard
