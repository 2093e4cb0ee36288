#pragma once
// The truth beside a labelled practice feed. Test only.
#include <istream>
#include <map>
#include <string>
#include <vector>

#include "units/result.h"
#include "units/time.h"

namespace fw::score {

struct TruthRow {
  std::string cause;
  std::vector<std::string> also;
  double sun_el = 0, clear_w = 0, available_w = 0, actual_w = 0, snow_loss = 0, soiling = 0, frost = 0, shade = 1;
  bool live = true, curtailed = false;
  bool allows(const std::string& name) const;
  bool counted() const { return sun_el > 10 && clear_w > 50 && cause != "frost"; }
};

struct Event {
  Utc at{};
  std::string kind, string, detail;
};

struct Truth {
  std::map<std::pair<Utc, std::string>, TruthRow> rows;  ///< by start of 5 minutes and string
  std::vector<Event> events;
  const TruthRow* at(Utc t, const std::string& string) const;
};

Result<Truth> truth_of(const std::string& folder);
Truth truth_in(std::istream& rows, std::istream& events);

}  // namespace fw::score
