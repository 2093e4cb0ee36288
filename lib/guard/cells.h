#pragma once
// The bank's cell temperatures as the guard believes them: several sensors, each with its history, and what
// follows for the coldest and the hottest cell.
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bank/belief.h"
#include "guard/decisions.h"
#include "rig/rig.h"
#include "units/channel.h"
#include "units/time.h"

namespace fw::guard {

class Cells {
 public:
  Cells(const rig::Rig& rig, const Decisions& decisions);

  enum class Taken { ignored, believed, doubted };
  /// A reading of a cell temperature. Retained, valueless, repeated, overtaken and belated ones are ignored: what
  /// waited in a sender's or a link's buffer is old, however it arrives.
  Taken on_reading(const Reading& r, Now now);

  /// What the temperatures come to at an instant. min and max include a doubted value on the forbidden side that may be true.
  struct View {
    std::optional<double> min_c, max_c;       ///< none: nothing fresh that is believed
    std::optional<double> forbidden_c;        ///< a doubted value at or past a limit that may be true
    std::optional<double> perhaps_min_c, perhaps_max_c;  ///< with doubted values that may be true; for the current limit
  };
  View at(Elapsed now) const;
  std::optional<double> cell_c(int sensor, Elapsed now) const;
  /// When the next sensor's word runs out.
  std::optional<Elapsed> next_expiry(Elapsed now) const;

  /// Looks for a sensor that stands still while the others, or the thermal model's cells, moved on.
  /// model_rate: K/h at a temperature in the present surroundings; none while too little is learned.
  void watch_frozen(Elapsed now, const std::function<std::optional<double>(double cell_c)>& model_rate);

  int count() const { return static_cast<int>(sensors_.size()); }
  const std::string& name(int sensor) const { return sensors_[sensor].name; }
  bank::Doubt doubt(int sensor) const { return sensors_[sensor].belief.doubt(); }
  double doubted_c(int sensor) const { return sensors_[sensor].belief.last_doubted_c(); }
  bool usable(int sensor, Elapsed now) const;
  /// Last believed instant, or since when nothing has come at all.
  std::optional<Elapsed> last_word(int sensor) const { return sensors_[sensor].belief.believed_at(); }
  std::optional<Elapsed> doubted_since(int sensor) const { return sensors_[sensor].belief.doubted_since(); }
  std::optional<double> last_c(int sensor) const { return sensors_[sensor].belief.value_c(); }
  /// The sensors lie further apart than a bank's cells do, since.
  std::optional<Elapsed> apart_since() const { return apart_since_; }

  struct Memory { std::string name; std::optional<double> value_c; Elapsed at{}; Span longest_still{}; };
  std::vector<Memory> memory() const;
  void recall(const std::vector<Memory>& m, bool fresh);

 private:
  struct Sensor {
    std::string name;
    bank::SensorBelief belief;
    Span max_age{};
    std::optional<Utc> stamped;
    std::optional<Span> lag;                ///< arrival less stamp, as this sender's clock has it
    Span other_lag{};                       ///< a lag that would be a new one
    int other_count = 0;
    std::optional<double> below_others_k;   ///< how far it was colder than the others when last compared
    std::optional<double> pending_c;        ///< came, but whether it is fresh is not known yet
    Elapsed pending_at{};
    // what the rest did since this sensor last moved
    std::optional<Elapsed> still_from;
    std::vector<std::optional<double>> others_then;
    double model_c = 0;
    Elapsed model_at{};
  };
  void note_spread(Elapsed now);
  /// By its stamp: neither said before nor late.
  static bool timely(Sensor& s, const Reading& r, Now now);

  const rig::Rig& rig_;
  const Decisions& decide_;
  std::vector<Sensor> sensors_;
  std::optional<Elapsed> apart_since_;
  mutable std::vector<double> usable_c_;    ///< of at(), kept for its memory
};

}  // namespace fw::guard
