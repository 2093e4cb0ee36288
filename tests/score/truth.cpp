#include "score/truth.h"

#include <algorithm>
#include <fstream>

#include "units/text.h"

namespace fw::score {

namespace {

std::vector<std::string> fields(const std::string& line, char by) {
  std::vector<std::string> out{""};
  bool quoted = false;
  for (char c : line) {
    if (c == '"') quoted = !quoted;
    else if (c == by && !quoted) out.emplace_back();
    else if (c != '\r') out.back() += c;
  }
  return out;
}

double number(const std::string& s) { return number_in(s).value_or(0); }

}  // namespace

bool TruthRow::allows(const std::string& name) const {
  return cause == name || std::find(also.begin(), also.end(), name) != also.end();
}

const TruthRow* Truth::at(Utc t, const std::string& string) const {
  const auto found = rows.find({floor_to(t, minutes{5}), string});
  return found == rows.end() ? nullptr : &found->second;
}

Result<Truth> truth_of(const std::string& folder) {
  std::ifstream rows(folder + "/truth.csv"), events(folder + "/truth_events.csv");
  if (!rows) return Fault{folder, "truth.csv cannot be read"};
  return truth_in(rows, events);
}

Truth truth_in(std::istream& rows, std::istream& events) {
  Truth truth;
  std::string line;
  std::getline(rows, line);
  while (std::getline(rows, line)) {
    const auto f = fields(line, ',');
    if (f.size() < 16) continue;
    const auto t = utc_in(f[0]);
    if (!t) continue;
    TruthRow r;
    r.cause = f[2];
    if (!f[3].empty()) r.also = fields(f[3], '|');
    r.sun_el = number(f[4]);
    r.clear_w = number(f[5]);
    r.available_w = number(f[6]);
    r.actual_w = number(f[7]);
    r.snow_loss = number(f[10]);
    r.soiling = number(f[11]);
    r.frost = number(f[12]);
    r.shade = number(f[13]);
    r.curtailed = f[14] == "1";
    r.live = f[15] == "1";
    truth.rows[{*t, f[1]}] = std::move(r);
  }
  std::getline(events, line);
  while (std::getline(events, line)) {
    const auto f = fields(line, ',');
    if (f.size() < 3) continue;
    if (const auto t = utc_in(f[0])) truth.events.push_back({*t, f[1], f[2], f.size() > 3 ? f[3] : ""});
  }
  return truth;
}

}  // namespace fw::score
