#pragma once
// How firnwatt puts figures, times and certainty into words for its owner: local time, the owner's
// units, two significant digits. Everything a person reads goes through here, so that the same thing
// is always said the same way.
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "units/result.h"
#include "units/time.h"

namespace date { class time_zone; }

namespace fw {

class Words {
 public:
  /// zone: an IANA name. An unknown name is a Fault that names it.
  static Result<Words> in_zone(const std::string& zone, bool fahrenheit);

  // -- time --
  std::string clock(Utc t) const;             ///< "08:40", to five minutes
  std::string clock_exact(Utc t) const;       ///< "08:41"
  std::string day(Utc t) const;               ///< "Thursday"
  std::string local_date(Utc t) const;        ///< "2026-01-15"
  std::string date_clock(Utc t) const;        ///< "2026-01-15 08:41"
  /// "08:40" on the local day of `now`, "yesterday 08:40", "tomorrow 08:40", "Thursday 08:40" within six days, else with the date.
  std::string when(Utc t, Utc now) const;
  std::string range(Utc from, Utc to) const;  ///< "10:30 to 11:30"
  int minute_of_day(Utc t) const;             ///< local, 0..1439
  Utc local_midnight(Utc t) const;            ///< start of the local day that holds t
  Utc next_local_midnight(Utc t) const;
  /// The first instant after `t` at which the local clock shows this minute of the day.
  Utc next_at(int minute_of_day, Utc t) const;
  /// A local date and time without zone: the instant; in the doubled hour the one nearer `near`; in the missing hour nothing.
  std::optional<Utc> from_local(std::string_view iso_local, Utc near) const;
  const date::time_zone& zone() const { return *zone_; }
  bool fahrenheit() const { return fahrenheit_; }

  // -- figures --
  std::string temperature(double c) const;              ///< "-6 °C" or "21 °F", whole degrees; "0 °C" never "-0 °C"
  std::string temperature_difference(double k) const;   ///< "2 °C" or "4 °F"
  static std::string watts(double w);                   ///< "62 W", two digits: "840 W", "1200 W"
  static std::string watts_of(double w, double of_w);   ///< "62 of 840 W"
  static std::string energy(double kwh);                ///< "3.1 kWh", "0.05 kWh", two digits
  static std::string percent(double fraction);          ///< "71 %", whole
  static std::string amps(double a);                    ///< "14 A", "1.5 A"
  static std::string volts(double v);                   ///< "13.2 V", "46 V" above 20
  static std::string span(Span s);                      ///< "20 min", "3 h", "1 h 20 min", "2 days"
  static std::string depth(double cm);                  ///< "4 cm"

  // -- certainty --
  /// 0.9 and more "very probably", 0.7 "probably", 0.5 "perhaps", below "".
  static std::string_view certainty(double confidence);
  static std::string capital(std::string text);         ///< first letter upper case (ASCII)
  static std::string named(std::string name);           ///< a name out of a config as people say it: "west_row" is the "west row"

 private:
  const date::time_zone* zone_ = nullptr;
  bool fahrenheit_ = false;
};

}  // namespace fw
