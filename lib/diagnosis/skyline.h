#pragma once
// The horizon in common for all strings, learned from when the sun has been seen and when not. For every direction a
// belief about how high what stands there reaches. A day without sun in a direction says little (it may have been
// cloud); a rise out of steady dim light into full sun says much; the sun seen low says nearly all.
#include <array>
#include <cstdint>
#include <nlohmann/json_fwd.hpp>
#include <vector>

namespace fw::diagnosis {

class Skyline {
 public:
  static constexpr int directions = 90;     ///< 4 degrees each, from north over east
  static constexpr int heights = 24;        ///< 1.5 degrees each from the flat horizon; the last stands for more

  Skyline() { forget(); }

  /// Chance that what stands in a direction hides the sun at an elevation; 0..1.
  double hidden(double elevation_deg, double azimuth_deg) const;

  /// A minute of daylight. beam: share of the clear beam that was seen; level_ln: ln of the brightest string's share of clear
  /// power, with its noise. Gathered until close_day().
  void keep(std::int32_t day, double elevation_deg, double azimuth_deg, double beam, double level_ln, double noise);
  std::int32_t day() const { return kept_.empty() ? 0 : kept_.back().day; }
  /// Takes in what the day has shown.
  void close_day();

  /// Another place or heading: nothing is known again.
  void forget();

  /// What differs from the belief before anything was seen, in ten-thousandths by direction; for a snapshot.
  nlohmann::json kept() const;
  /// Takes back what kept() gave; what cannot be read is left as it was.
  void take(const nlohmann::json& kept);

  /// The belief before anything was seen: most horizons are low.
  static double usual(int height);
  static double above_flat() { return 1 - usual(0); }

 private:
  struct Minute {
    std::int32_t day;
    double elevation_deg, azimuth_deg, beam, level_ln, noise;
  };
  template <class F>
  void weigh(double azimuth_deg, F&& factor);

  std::array<std::array<float, heights>, directions> table_{};
  std::vector<Minute> kept_;
};

}  // namespace fw::diagnosis
