#include <algorithm>

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

constexpr Part columns[] = {cloud, journal::snow, soiling, shade, curtailed, cold, outage, no_data, unexplained};
constexpr const char* heads[] = {"cloud", "snow", "film", "shade", "held", "cold", "outage", "no data", "unexpl."};
constexpr std::size_t width = 8;

/// Nothing is a point, so that the eye finds what matters.
std::string cell(double kwh) {
  const std::string s = fixed(kwh, 2);
  return right(s == "0.00" ? "." : s, width);
}

std::string energy_columns(const Energies& e) {
  std::string line = right(fixed(e.kwh(made), 2), width) + right(fixed(e.clear_sky_kwh(), 2), width);
  for (Part p : columns) line += cell(e.kwh(p));
  return line;
}

std::string heading(const std::string& first) {
  std::string line = left(first, 12) + right("made", width) + right("clear", width);
  for (const char* h : heads) line += right(h, width);
  return line;
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
  line(iso_day(a.days.front().date) + " to " + iso_day(a.days.back().date) + ", local time " + a.zone + ". All energies in kWh.");
  line("");
  line(heading("day") + right("cells", 9) + right("charge", 10) + right("alarms", 8));
  std::string month;
  for (const Day& d : a.days) {
    const std::string date = iso_day(d.date);
    if (!month.empty() && date.substr(0, 7) != month) line("");
    month = date.substr(0, 7);
    std::string s = left(date, 12) + energy_columns(d.all);
    s += right(d.bank.cell_min_c && words ? words->temperature(*d.bank.cell_min_c) : "", d.bank.cell_min_c ? 10 : 9);
    s += right(d.bank.soc_low ? Words::percent(*d.bank.soc_low).substr(0, Words::percent(*d.bank.soc_low).size() - 2) + "-" +
                                    Words::percent(*d.bank.soc_high)
                              : "",
               10);
    s += right(d.alarms ? std::to_string(d.alarms) : "", 8);
    line(s);
    for (const Clearing& c : d.clearings)
      line(std::string("            ") + (c.seen_only ? "glass came free" : "cleared") + (c.string.empty() ? std::string{} : " " + c.string) + (words ? " at " + words->clock(c.at) : std::string{}) +
           (c.gain_kwh ? ": about " + energy_words(*c.gain_kwh) + " more" : std::string{}));
  }
  line("");
  line("cells: the coldest; charge: lowest to highest; film: dirt on the glass; held: not taken, the bank full or charging held back");

  line("");
  line(heading("total"));
  if (a.months.size() > 1)
    for (const Stretch& m : a.months) line(left(m.label, 12) + energy_columns(m.all));
  if (a.winters.size() > 1)
    for (const Stretch& w : a.winters) line(left(w.label, 12) + energy_columns(w.all));
  for (const auto& [string, e] : a.strings) line(left(string, 12) + energy_columns(e));
  line(left("all", 12) + energy_columns(a.all));

  line("");
  line("Yields (IEC 61724-1), reference from the clear-sky model");
  line(left("string", 12) + right("rated W", 9) + right("reference h", 13) + right("final h", 9) + right("ratio", 8) + right("index", 8) +
       right("data", 8));
  const auto yield_line = [&](const std::string& name, const Energies& e, double rated) {
    const Yields y = yields(e, rated);
    line(left(name, 12) + right(rated > 0 ? fixed(rated, 0) : "", 9) + right(rated > 0 ? fixed(y.reference_h, 1) : "", 13) +
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

  if (!a.findings.empty()) {
    line("");
    line("What mattered most");
    for (const Finding& f : a.findings) line("- " + f.text);
  }
  return out;
}

}  // namespace fw::review
