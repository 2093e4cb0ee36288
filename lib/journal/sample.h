#pragma once
// Samples as they lie in the file: scaled integers, so that sums are exact and small. The same
// structs hold a minute and a five-minute row.
#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include "records/rows.h"

namespace fw::journal {

/// Order of the parts of a split, in tables, columns and prints.
enum Part { made, cloud, snow, soiling, shade, curtailed, cold, outage, no_data, unexplained };
inline constexpr int part_count = 10;
using Split = std::array<std::int64_t, part_count>;  ///< 0.1 W times minutes; the sum is clear sky
std::int64_t clear_sky(const Split& s);
/// Name of a part as a word of the tables: "made", "cloud", ..., "no_data", "unexplained".
std::string_view name(Part p);

/// One string over one minute, or five.
struct StringSample {
  std::int64_t seq = 0;                      ///< journal order
  std::int64_t minute = 0;                   ///< of UTC since 1970; start of the interval
  int string = 0;                            ///< id in the name table
  bool trusted = true;
  int date = 0;                              ///< local day, days since 1970
  int minutes = 1;                           ///< minute rows it holds
  int live = 0;                              ///< of these, with a measured power
  Cause cause = Cause::dark;
  std::optional<int> stage;
  std::optional<std::int64_t> power_dw, voltage_cv, current_ca;  ///< 0.1 W, 0.01 V, 0.01 A; means
  std::int64_t confidence_pm = 0;            ///< per mille
  std::optional<std::int64_t> index_pm;      ///< performance index, per mille
  std::int64_t expected_dw = 0;              ///< mean
  std::optional<std::int64_t> measured_dw;   ///< mean
  std::int64_t sun_cdeg = 0;                 ///< elevation, 0.01 degree; mean
  Split split{};                             ///< sums over its minutes
  int reason = 0;                            ///< id in the name table, 0: none
  std::optional<std::int64_t> cover_pm, depth_mm, soiling_pm, soiling_low_pm, soiling_high_pm;

  double clear_sky_w() const { return static_cast<double>(clear_sky(split)) / (10.0 * minutes); }
};

/// Bank and site over one minute, or five.
struct BankSample {
  std::int64_t seq = 0;
  std::int64_t minute = 0;
  bool trusted = true;
  int minutes = 1;
  std::optional<std::int64_t> cell_min_cc, cell_max_cc;  ///< 0.01 degC; lowest, highest
  std::optional<std::int64_t> soc_bp;                    ///< 0.0001
  std::optional<std::int64_t> voltage_mv, current_ma;
  std::optional<std::int64_t> air_cc, cabin_cc;          ///< 0.01 degC
  std::optional<std::int64_t> load_dw;                   ///< 0.1 W
  std::optional<std::int64_t> permit;                    ///< 0 or 1; five minutes: 0 when any minute had none
  std::optional<std::int64_t> limit_da;                  ///< 0.1 A; lowest
};

/// A row as it will be stored; string and reason ids are filled in by the caller.
StringSample packed(const StringRow& r);
BankSample packed(const BankRow& r);

inline Utc utc_of_minute(std::int64_t minute) { return utc_ms(minute * 60'000); }
/// The minute that holds t (also before 1970).
std::int64_t minute_of(Utc t);
/// "YYYY-MM-DD" as days since 1970; nothing for any other text.
std::optional<int> day_in(std::string_view iso_date);
std::string iso_day(int day);

}  // namespace fw::journal
