#pragma once
// The account of a period: what the roof made and what was lost to what, from the journal's rows.
// Everything is summed in whole 0.1 W minutes, so made + losses = clear sky to the last digit.
//
//   auto reader = journal::Reader::open(path);
//   auto account = review::account(*reader, {});
//   std::cout << review::text(*account);
#include <array>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "journal/reader.h"
#include "units/result.h"
#include "units/time.h"

namespace fw::review {

/// The local days that hold any of it are taken whole, for energy is kept by the day.
struct Options {
  std::optional<Utc> from, to;               ///< half open; absent: all there is
};

/// Energies of a day, a string or the whole, and the yields that follow.
struct Energies {
  journal::Split parts{};                    ///< 0.1 W times minutes
  std::int64_t minutes = 0, light_minutes = 0, light_live = 0;

  void add(const Energies& o);
  double kwh(journal::Part p) const;
  double clear_sky_kwh() const;
  /// Share of the light minutes with a measured power (IEC 61724-1 data availability); none without light.
  std::optional<double> data_availability() const;
  /// Made over what could have been made but for the weather and a full bank: (clear sky - cloud -
  /// curtailed - no data); the energy performance index. None below 0.01 kWh.
  std::optional<double> performance_index() const;
};

/// Yields after IEC 61724-1, in hours at rated power. The reference yield is the clear-sky one: no
/// irradiance is measured in the plane of the array, so clear-sky energy over rated power stands for
/// it; heat and the controller's limit are already in it.
struct Yields {
  double reference_h = 0;                    ///< clear-sky energy / rated power
  double final_h = 0;                        ///< energy made / rated power
  std::optional<double> performance_ratio() const;
};
Yields yields(const Energies& e, double rated_w);

/// What the owner chose, or the usual where the journal does not say: the reserve as a share of the bank, the
/// preferred floor of the cells, and the gain from which clearing is worth the ladder.
inline double reserve_of(const journal::About& about) { return about.reserve_soc.value_or(0.2); }
inline double floor_of(const journal::About& about) { return about.preferred_floor_c.value_or(5); }
inline double worth_of(const journal::About& about) { return about.min_gain_kwh.value_or(0.5); }

/// A bank's day, from five-minute rows.
struct BankDay {
  std::optional<double> cell_min_c, cell_max_c, air_min_c, air_max_c, soc_low, soc_high;
  double below_freezing_h = 0, below_floor_h = 0;  ///< cells under 0 degC; under the owner's preferred floor (5 degC without)
  double under_reserve_h = 0;                ///< state of charge under the reserve
  double no_permit_h = 0;                    ///< charging not allowed
  /// Charged at over 0.5 A with cells under the lower charge limit by more than a sensor's step and five minutes'
  /// blur can feign, and at the limit or less than that under it.
  double charged_below_limit_h = 0, charged_at_limit_h = 0;
  double load_kwh = 0;
  double hours = 0;                          ///< with any bank row
  double unknown_cell_h = 0;                 ///< of these, without a believed cell temperature
  double untrusted_h = 0;                    ///< of these, under a clock that was not to be believed
};

struct Clearing {
  Utc at{};
  std::string string;                        ///< empty: all
  std::string text;
  std::optional<double> gain_kwh;            ///< made after, until the next one or the day's end, beyond the rate before
  bool seen_only = false;                    ///< nobody said so: the output showed it, swept or slid
};

/// Of all alarms of a name.
struct AlarmSum {
  int raised = 0, messages = 0;
  double stood_h = 0;                        ///< with any of them standing, and shown
};

struct Day {
  int date = 0;                              ///< days since 1970, rig-local
  Energies all;
  std::map<std::string, Energies> strings;
  BankDay bank;
  int alarms = 0;                            ///< raised
  bool clearing_advised = false;             ///< as worth the ladder, for this day
  std::vector<Clearing> clearings;
  std::map<std::string, double> held_kwh;    ///< curtailed, by the verdict's reason

  /// Charge was held back with room in the bank; without a state of charge the bank is taken for full.
  bool room() const { return bank.soc_high && *bank.soc_high < 0.95; }
};

/// A string's daylight without what a part or all of it should have made.
struct Outage {
  double dead_h = 0, half_h = 0;             ///< half: a parallel branch lost
  int first = 0, last = 0;                   ///< days
};

/// A string's clear-sky minutes of a month: what it made against clean glass under that sky, but for what
/// shade, snow and a bank that took no more left of it.
struct ClearShare {
  double measured_wh = 0, possible_wh = 0, hours = 0;
};

struct Finding {
  std::string kind;                          ///< stable word: "snow", "film", "cold", ...
  std::string text;                          ///< one or two plain sentences with a figure
};

/// A calendar month at the rig, or a winter.
struct Stretch {
  std::string label;                         ///< "2026-01", "2025/26"
  int days = 0;                              ///< with any light recorded
  Energies all;
  double a_day(double kwh) const { return kwh / (days > 0 ? days : 1); }  ///< of the mean day
};

/// Five-minute means for the charts and tables.
struct Sample {
  Utc utc{};
  float power_w = 0, clear_sky_w = 0, expected_w = 0;
  bool measured = false;
  Cause cause = Cause::dark;
  int reason = 0;
};
struct BankPoint {
  Utc utc{};
  std::optional<float> cell_min_c, cell_max_c, air_c, soc;
  std::optional<bool> permit;
};

struct Account {
  journal::About about;
  std::string zone = "UTC";                  ///< the one used; UTC when the rig's is not known here
  std::optional<Utc> from, to;               ///< of the samples that were found
  bool widened = false;                      ///< to whole days
  std::vector<Day> days;                     ///< ascending
  Energies all;
  std::map<std::string, Energies> strings;
  BankDay bank;                              ///< extremes and sums over the days
  std::vector<Stretch> months, winters;
  std::map<std::string, std::map<std::string, ClearShare>> clear_shares;  ///< by string, then by month
  std::map<std::string, std::array<std::int64_t, 48>> shade_by_half_hour;   ///< lost to shade, by string; local time
  std::map<std::string, Outage> outages;     ///< by string
  std::vector<Finding> findings;

  std::vector<AlarmRow> alarms;
  std::map<std::string, AlarmSum> alarm_sums;  ///< by alarm
  std::vector<NoticeRow> notices;
  std::vector<AdviceRow> advice;
  std::vector<NoteRow> notes;
  std::vector<EventRow> events;
  std::map<std::string, std::vector<Sample>> samples;  ///< by string
  std::map<int, std::string> reasons;        ///< texts of Sample::reason
  std::vector<BankPoint> bank_points;
  double rated_w(const std::string& string) const;  ///< 0: not known
  int days_of_light() const;                 ///< recorded; a mean day is one of these
  std::string zone_words() const;            ///< the zone of all times, and why it is not the rig's
};

/// A Fault: the period is empty or upside down, or the journal cannot be read.
Result<Account> account(const journal::Reader& journal, const Options& options);

/// For the terminal: a day a line, totals, yields, findings.
std::string text(const Account& a);
/// One JSON object; keys carry their units.
std::string json(const Account& a);
/// One HTML file that needs nothing else.
std::string html(const Account& a);

}  // namespace fw::review
