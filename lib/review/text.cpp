#include <algorithm>
#include <cmath>
#include <vector>

#include "review/account.h"
#include "review/findings.h"
#include "units/text.h"
#include "words/words.h"

namespace fw::review {

using namespace journal;

namespace {

std::string right(std::string s, std::size_t width) {
  if (s.size() < width) s.insert(0, width - s.size(), ' ');
  return s;
}
std::string left(std::string s, std::size_t width) {
  if (s.size() < width) s.append(width - s.size(), ' ');
  return s;
}

struct Column {
  Part part;
  const char *head, *says;                   ///< says: what the word leaves open
};
constexpr Column all_columns[] = {{cloud, "cloud", ""}, {journal::snow, "snow", ""}, {soiling, "film", "film: dirt on the glass"}, {shade, "shade", ""},
                                  {curtailed, "held", "held: not taken, the bank full or charging held back"}, {cold, "cold", "cold: not taken, the bank too cold"},
                                  {outage, "outage", ""}, {no_data, "no data", ""}, {unexplained, "unexpl.", ""}};
constexpr std::size_t width = 8;

/// Nothing is a point, so that the eye finds what matters.
std::string cell(double kwh) {
  const std::string s = fixed(kwh, 2);
  return right(s == "0.00" || s == "-0.00" ? "." : s, width);
}

/// The losses that there are, and names as wide as the longest.
class Table {
 public:
  explicit Table(const Account& a) {
    for (const Column& c : all_columns)
      if (std::any_of(a.days.begin(), a.days.end(), [&](const Day& d) { return std::fabs(d.all.kwh(c.part)) >= 0.005; })) columns_.push_back(c);
    for (const auto& [string, e] : a.strings) first_ = std::max(first_, string.size() + 2);
    any_ = !a.strings.empty();
  }
  std::string first(const std::string& text) const { return left(text, first_); }
  std::string heading() const {
    if (!any_) return {};
    std::string line = right("made", width) + right("clear", width);
    for (const Column& c : columns_) line += right(c.head, width);
    return line;
  }
  std::string row(const std::string& name, const Energies& e) const { return first(name) + energies(e); }
  static std::string day(const std::string& text) { return left(text, day_); }
  std::string energies(const Energies& e) const {
    if (!any_) return {};
    std::string line = right(fixed(e.kwh(made), 2), width) + right(fixed(e.clear_sky_kwh(), 2), width);
    for (const Column& c : columns_) line += cell(e.kwh(c.part));
    return line;
  }
  std::string key() const {
    std::string line;
    for (const Column& c : columns_)
      if (*c.says) line += std::string("; ") + c.says;
    return line;
  }

 private:
  std::vector<Column> columns_;
  static constexpr std::size_t day_ = 12;
  std::size_t first_ = day_;
  bool any_ = false;
};

/// Lines of a width that a terminal has, under the first word.
std::string wrapped(const std::string& s) {
  constexpr std::size_t most = 110;
  std::string out;
  std::size_t from = 0;
  while (s.size() - from > most) {
    auto at = s.rfind(' ', from + most);
    // a figure stays with its unit
    if (at != std::string::npos && at > 0 && s[at - 1] >= '0' && s[at - 1] <= '9') at = s.rfind(' ', at - 1);
    if (at == std::string::npos || at <= from + 2) break;
    out += s.substr(from, at - from) + "\n  ";
    from = at + 1;
  }
  return out + s.substr(from);
}

/// Months, winters, strings and the whole: energies, then yields.
std::string totals(const Account& a, const Table& table) {
  std::string out;
  const auto line = [&](std::string s) {
    s.erase(s.find_last_not_of(' ') + 1);
    out += s + '\n';
  };
  line("");
  line(table.first("total") + table.heading());
  if (a.months.size() > 1)
    for (const Stretch& m : a.months) line(table.row(m.label, m.all));
  if (a.winters.size() > 1)
    for (const Stretch& w : a.winters) line(table.row(w.label, w.all));
  for (const auto& [string, e] : a.strings) line(table.row(string, e));
  line(table.row("all", a.all));

  line("");
  line("Yields (IEC 61724-1), reference from the clear-sky model");
  line(table.first("string") + right("rated W", 9) + right("reference h", 13) + right("final h", 9) + right("ratio", 8) + right("index", 8) +
       right("data", 8));
  const auto yield_line = [&](const std::string& name, const Energies& e, double rated) {
    const Yields y = yields(e, rated);
    line(table.first(name) + right(rated > 0 ? fixed(rated, 0) : "", 9) + right(rated > 0 ? fixed(y.reference_h, 1) : "", 13) +
         right(rated > 0 ? fixed(y.final_h, 1) : "", 9) + right(fixed(y.performance_ratio(), 2), 8) + right(fixed(e.performance_index(), 2), 8) +
         right(e.data_availability() ? fixed(*e.data_availability() * 100, 1) + " %" : "", 8));
  };
  double rated_all = 0;
  bool all_rated = true;
  for (const auto& [string, e] : a.strings) {
    yield_line(string, e, a.rated_w(string));
    rated_all += a.rated_w(string);
    all_rated = all_rated && a.rated_w(string) > 0;
  }
  if (a.strings.size() > 1) yield_line("all", a.all, all_rated ? rated_all : 0);
  line("ratio: final over reference; index: made over what sky, bank and telemetry left possible");
  return out;
}

}  // namespace

std::string text(const Account& a) {
  const auto words = Words::in_zone(a.zone, a.about.fahrenheit);
  std::string out;
  const auto line = [&](std::string s) {
    s.erase(s.find_last_not_of(' ') + 1);
    out += s + '\n';
  };
  line("Review" + (a.about.rig.empty() ? std::string{} : " of " + a.about.rig));
  if (a.days.empty()) {
    line("Nothing was recorded in this period.");
    return out;
  }
  const Table table(a);
  line(iso_day(a.days.front().date) + (a.days.size() > 1 ? " to " + iso_day(a.days.back().date) : "") + (a.widened ? ", whole days" : "") + ", " + a.zone_words() +
       ". All energies in kWh.");
  line("");
  line(table.day("day") + table.heading() + right("cells", 9) + right("charge", 10) + right("alarms", 8));
  std::string month;
  for (const Day& d : a.days) {
    const std::string date = iso_day(d.date);
    if (!month.empty() && date.substr(0, 7) != month) line("");
    month = date.substr(0, 7);
    std::string s = table.day(date) + table.energies(d.all);
    s += right(d.bank.cell_min_c && words ? words->temperature(*d.bank.cell_min_c) : "", d.bank.cell_min_c ? 10 : 9);
    s += right(d.bank.soc_low ? Words::percent(*d.bank.soc_low).substr(0, Words::percent(*d.bank.soc_low).size() - 2) + "-" +
                                    Words::percent(*d.bank.soc_high)
                              : "",
               10);
    s += right(d.alarms ? std::to_string(d.alarms) : "", 8);
    line(s);
    for (const Clearing& c : d.clearings)
      line(table.day("") + (c.seen_only ? "glass came free" : "cleared") + (c.string.empty() ? std::string{} : " " + c.string) + (words ? " at " + words->clock(c.at) : std::string{}) +
           (c.gain_kwh ? ": about " + energy_words(*c.gain_kwh) + " more" : std::string{}));
  }
  line("");
  line("cells: the coldest; charge: lowest to highest" + table.key());

  if (!a.strings.empty()) out += totals(a, table);

  if (!a.alarm_sums.empty()) {
    line("");
    line(left("alarms", 20) + right("raised", 8) + right("stood", 9) + right("messages", 10));
    for (const auto& [alarm, sum] : a.alarm_sums)
      line(left(Words::named(alarm), 20) + right(sum.raised ? std::to_string(sum.raised) : "", 8) + right(sum.stood_h >= 0.05 ? fixed(sum.stood_h, 1) + " h" : "", 9) + right(sum.messages ? std::to_string(sum.messages) : "", 10));
  }

  if (!a.findings.empty()) {
    line("");
    line("What mattered most");
    for (const Finding& f : a.findings) line(wrapped("- " + f.text));
  }
  return out;
}

}  // namespace fw::review
