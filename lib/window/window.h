#pragma once
// Readings in, a RigMinute out. Minutes are aligned on the elapsed line; a minute is stamped with the
// Utc minute that holds its start. Retained readings and readings without a value change nothing here.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "records/minute.h"
#include "rig/rig.h"
#include "units/channel.h"
#include "window/track.h"

namespace fw::window {

class Window {
 public:
  explicit Window(const rig::Rig& rig);

  void on_reading(const Reading& reading);

  /// The minute that ends at `end`. Cell temperatures are as received; the guard decides which to believe.
  RigMinute close_minute(Now end);

  /// Latest value of a channel if fresh.
  std::optional<double> value(Channel channel, Elapsed now) const;
  const Track* track(Channel channel) const;

  /// Learned intervals, so that freshness survives a restart.
  std::string snapshot() const;
  void restore(std::string_view data);

 private:
  std::size_t slot(Channel channel) const;
  Track& at(Quantity q, int thing) { return tracks_[slot({q, thing})]; }
  void derive_power(int string, Elapsed now);
  StringMinute close_string(int string, Elapsed end);

  const rig::Rig& rig_;
  std::vector<std::size_t> first_slot_;  ///< by quantity
  std::vector<int> things_;              ///< by quantity
  std::vector<Track> tracks_;
  enum class PowerFrom { measured, array_volts_amps, output_power, output_volts_amps, none };
  std::vector<PowerFrom> power_from_;    ///< by string
  std::vector<Track> derived_power_;     ///< by string, where power is not measured itself
};

}  // namespace fw::window
