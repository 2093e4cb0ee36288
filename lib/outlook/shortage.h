#pragma once
// What becomes of the loads when the bank runs low: inverters and batteries switch off, at a charge that each rig has to itself.
#include <array>
#include <string>
#include <string_view>

namespace fw::outlook {

/// Share of the usual loads that is still served, by whole per cent of charge.
using ServedShare = std::array<double, 20>;
inline constexpr ServedShare all_served{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1};
double served_at(const ServedShare& share, double soc);

class Shortage {
 public:
  /// One minute at a state of charge, loads cut off or not (see LoadModel::cut_off).
  void on_minute(double soc, bool cut_off, double load_w, double usual_w);
  ServedShare served() const;

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  struct Level { double cut = 0, minutes = 0; };  ///< chance that loads are cut off there
  std::array<Level, 20> levels_{};
  double left_wh_ = 0, usual_wh_ = 0;             ///< of minutes with loads cut off
};

}  // namespace fw::outlook
