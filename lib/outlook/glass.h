#pragma once
// What lies on each string's glass, followed minute by minute from verdicts and weather, and the clearings seen on it.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "outlook/clearing_accounts.h"
#include "records/minute.h"
#include "records/verdict.h"
#include "rig/rig.h"
#include "snow/layer.h"

namespace fw::outlook {

/// One string's glass as it is.
struct OnGlass {
  snow::Layer layer;
  bool under_snow = false;       ///< enough of it that clearing would help
  double thick_pass = 1;         ///< see StringNow
  double standing_share = 1;     ///< of its power that dirt or an outage leaves
  double soiling_loss = 0;
  std::optional<Utc> snow_seen;  ///< last minute with snow on it
};

class Glass {
 public:
  explicit Glass(const rig::Rig& rig) : rig_(rig), strings_(rig.strings.size()) {}

  /// promised_kwh: what clearing is said to be worth just now. True: something changed that a new plan should know.
  bool on_minute(const RigMinute& minute, const std::vector<Verdict>& verdicts, const ForecastHour* said, std::optional<double> air_c,
                 std::optional<double> wind_ms, std::optional<double> promised_kwh);
  /// Somebody says that he cleared it (none: all of it).
  void cleared(std::optional<int> string, Utc at, std::optional<double> promised_kwh);

  const OnGlass& operator[](std::size_t string) const { return strings_[string].on_glass; }
  std::size_t size() const { return strings_.size(); }
  bool snowing() const { return snowing_; }  ///< by the forecast
  ClearingAccounts& accounts() { return accounts_; }
  const ClearingAccounts& accounts() const { return accounts_; }

  std::string snapshot() const;
  void restore(std::string_view text);

 private:
  struct String {
    OnGlass on_glass;
    double minutes_under = 0;              ///< of light in which it was seen
    std::optional<Utc> dim_at;             ///< last minute under snow with next to no light coming through
    double cover_before = 0;               ///< before it came free
    double shown_under_snow = 0;           ///< of the cloudless watts, over the last quarter of an hour under snow
  };
  struct Minute;
  bool under_snow(int string, const Minute& now);
  bool free_of_snow(int string, const Minute& now);
  void what_stands(int string, const Minute& now);
  bool may_be_cleared(int string, const Minute& now) const;

  const rig::Rig& rig_;
  std::vector<String> strings_;
  ClearingAccounts accounts_;
  std::optional<Utc> snow_fell_at_;
  bool snowing_ = false;
};

}  // namespace fw::outlook
