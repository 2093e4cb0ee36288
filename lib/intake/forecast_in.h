#pragma once
// A forecast out of a payload, in either layout, as hourly rows.
#include <optional>
#include <string>

#include "intake/flat_json.h"
#include "rig/rig.h"
#include "units/forecast.h"
#include "words/words.h"

namespace fw::intake {

class ForecastReader {
 public:
  explicit ForecastReader(const rig::ForecastSource& source);

  /// The forecast as hourly rows in ascending time, or nothing with the reason in `why`. Steps longer than an hour are
  /// repeated (a fall of snow shared out), shorter ones gathered. Values that cannot be are left out. At most 400 hours.
  std::optional<Forecast> read(const FlatJson& json, const Words& zone, Now now, std::string& why) const;

 private:
  struct Field {
    JsonPointer pointer;
    double scale = 1, shift = 0, from = 0, to = 0;
    std::optional<double> ForecastHour::*into = nullptr;
  };
  struct Point {
    Utc from{};
    ForecastHour values;
  };
  void add(const std::optional<rig::ForecastSource::Column>& column, std::optional<double> ForecastHour::*into, double channel_scale,
           double from, double to);
  static void put(const Field& field, const JsonNode* node, ForecastHour& into);
  static std::vector<ForecastHour> hourly(std::vector<Point> points, Span step);

  rig::ForecastLayout layout_;
  JsonPointer rows_, time_, step_pointer_;
  bool has_step_pointer_ = false;
  rig::TimeForm form_;
  Span step_;
  std::vector<Field> fields_;
};

}  // namespace fw::intake
