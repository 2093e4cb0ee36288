#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <set>

#include "review/account.h"
#include "review/findings.h"
#include "review/page_parts.h"
#include "units/text.h"
#include "words/words.h"

namespace fw::review {

using namespace journal;
using Json = nlohmann::ordered_json;

namespace {

constexpr Part all_parts[] = {made, cloud, journal::snow, soiling, shade, curtailed, cold, outage, no_data, unexplained};

std::string_view part_words(Part p) {
  switch (p) {
    case soiling: return "film";
    case curtailed: return "bank full or held back";
    case cold: return "bank cold";
    case no_data: return "no data";
    default: return name(p);
  }
}

/// A library's text without its last line, which points to a map file that is not there.
std::string_view without_map(std::string_view text) {
  const auto at = text.rfind("sourceMappingURL");
  return at == std::string_view::npos ? text : text.substr(0, at - 4);
}

std::string escaped(std::string_view text) {
  std::string out;
  for (char c : text) switch (c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      default: out += c;
    }
  return out;
}

/// A figure stays on the line of its unit.
std::string unbroken(std::string_view text) {
  const std::string whole = escaped(text);
  std::string out;
  for (std::size_t i = 0; i < whole.size(); ++i) {
    const std::string_view next = std::string_view(whole).substr(i + 1);
    const bool unit = whole[i] == ' ' && i > 0 && whole[i - 1] >= '0' && whole[i - 1] <= '9' &&
                      (next.starts_with("%") || next.starts_with("°") || next.starts_with("kWh") || next.starts_with("h ") || next.starts_with("h,") || next.starts_with("h;") || next.starts_with("W "));
    out += unit ? "&nbsp;" : std::string(1, whole[i]);
  }
  return out;
}

/// Minutes of the rig's wall clock since 1970, so that the page shows rig time wherever it is opened.
/// In the hour that a clock change doubles the later minutes lie over the earlier ones.
class WallClock {
 public:
  explicit WallClock(const Words& words) : words_(words) {}
  std::int64_t minute(Utc t) {
    if (t < from_ || t >= to_) {
      // Offsets change on whole quarters of an hour.
      from_ = floor_to(t, minutes{15});
      to_ = from_ + minutes{15};
      const std::string local = words_.date_clock(from_);
      const auto as_utc = utc_in(local + "Z");
      offset_ = as_utc ? *as_utc - from_ : Span{0};
    }
    return minute_of(t + offset_);
  }

 private:
  const Words& words_;
  Utc from_{}, to_{};
  Span offset_{};
};

/// Values on a fixed step from `start`, as pieces [index, [values]] without long gaps.
class Pieces {
 public:
  Pieces(std::int64_t start, int step) : start_(start), step_(step) {}
  void put(std::int64_t minute, std::optional<double> value) {
    const std::int64_t at = (minute - start_) / step_;
    if (at < 0 || !value) return;
    if (at == at_ && n_ > 0) {
      sum_ += *value;
      ++n_;
      return;
    }
    close();
    at_ = at;
    sum_ = *value;
    n_ = 1;
  }
  Json json() {
    close();
    return std::move(pieces_);
  }

 private:
  void close() {
    if (n_ == 0) return;
    const auto v = static_cast<std::int64_t>(std::llround(sum_ / n_));
    n_ = 0;
    if (!pieces_.empty() && at_ >= next_ && at_ - next_ < 4) {
      Json& values = pieces_.back()[1];
      for (; next_ < at_; ++next_) values.push_back(nullptr);
      values.push_back(v);
    } else {
      pieces_.push_back({at_, Json::array({v})});
      next_ = at_;
    }
    ++next_;
  }
  std::int64_t start_;
  int step_;
  std::int64_t at_ = -1, next_ = -1;
  double sum_ = 0;
  int n_ = 0;
  Json pieces_ = Json::array();
};

std::string mark_of(std::string_view alarm) {
  if (alarm == "snow" || alarm == "soiling" || alarm == "shade" || alarm == "outage") return std::string(alarm);
  if (alarm == "stale" || alarm == "journal" || alarm == "clock" || alarm == "link" || alarm == "client_id") return "no_data";
  if (alarm.starts_with("bank_cold") || alarm == "heater" || alarm == "cabin_cold") return "cold";
  if (alarm == "surplus") return "curtailed";
  return "outage";
}

/// What an alarm is about.
const char* lane_of(std::string_view alarm) {
  if (alarm == "snow" || alarm == "soiling" || alarm == "shade") return "glass";
  if (alarm == "outage" || alarm == "stale" || alarm == "controller" || alarm == "over_voltage") return "strings";
  if (alarm == "clock" || alarm == "journal" || alarm == "link" || alarm == "client_id") return "board";
  return "bank";
}

Json happenings(const Account& a, const Words& words, WallClock& clock, std::int64_t end) {
  Json list = Json::array();
  std::map<std::string, std::size_t> standing;
  for (const AlarmRow& r : a.alarms) {
    const std::string key = r.alarm + '-' + r.subject;
    const auto at = clock.minute(r.when.utc);
    if (r.event == "raised" || r.event == "re_raised") {
      if (standing.count(key)) continue;
      standing[key] = list.size();
      list.push_back({{"lane", lane_of(r.alarm)}, {"at", at}, {"end", end}, {"mark", mark_of(r.alarm)}, {"text", r.text}});
    } else if (r.event == "cleared") {
      if (const auto it = standing.find(key); it != standing.end()) {
        list[it->second]["end"] = at;
        standing.erase(it);
      }
    }
  }
  // Advice is renewed as the forecast moves: the first of a kind each day.
  std::set<std::pair<std::string, std::string>> said;
  for (const AdviceRow& r : a.advice)
    if (r.outcome.empty() && said.emplace(words.local_date(r.when.utc), r.kind).second)
      list.push_back({{"lane", "advice"}, {"at", clock.minute(r.when.utc)}, {"mark", "accent"}, {"text", r.text}});
  for (const NoteRow& r : a.notes) {
    std::string text = r.event == "text" ? "" : Words::named(r.event);
    if (!r.string.empty()) text += (text.empty() ? "" : " ") + r.string;
    if (!r.text.empty()) text += (text.empty() ? "" : ": ") + r.text;
    list.push_back({{"lane", "note"}, {"at", clock.minute(r.when.utc)}, {"mark", "made"}, {"text", text}});
  }
  return list;
}

Json chart_data(const Account& a, const Words& words) {
  WallClock clock(words);
  const auto start_of_day = [](int date) { return std::int64_t{date} * 1440; };
  const std::int64_t from = a.days.empty() ? 0 : start_of_day(a.days.front().date);
  const std::int64_t to = a.days.empty() ? 1440 : start_of_day(a.days.back().date + 1);
  Json j;
  j["from"] = from;
  j["to"] = to;
  j["fahrenheit"] = a.about.fahrenheit;
  const auto maybe = [](std::optional<double> v) { return v ? Json(*v) : Json(nullptr); };
  j["window"] = {{"lower", maybe(a.about.lower_limit_c)}, {"floor", maybe(a.about.preferred_floor_c)}, {"upper", maybe(a.about.upper_limit_c)}};
  j["reserve"] = maybe(a.about.reserve_soc);
  j["days"] = Json::array();
  for (const Day& d : a.days) {
    if (d.strings.empty()) continue;
    Json one = Json::array({start_of_day(d.date)});
    for (auto v : rounded_dwh(d.all.parts)) one.push_back(v);
    j["days"].push_back(one);
  }

  std::map<int, std::size_t> reason_at;
  Json reasons = Json::array({""});
  for (const auto& [id, text] : a.reasons) reason_at[id] = reasons.size(), reasons.push_back(text);
  j["reasons"] = reasons;
  j["strings"] = Json::array();
  for (const auto& [string, samples] : a.samples) {
    Pieces power(from, 5), clear(from, 5);
    Json runs = Json::array();
    std::int64_t run_from = 0, run_to = -1;
    Cause cause = Cause::dark;
    int reason = 0;
    float top = 0;
    const auto end_run = [&] {
      if (run_to > run_from && cause != Cause::dark) runs.push_back({run_from, run_to - run_from, static_cast<int>(cause), reason ? reason_at[reason] : 0});
    };
    for (const Sample& s : samples) {
      const auto at = clock.minute(s.utc);
      if (s.clear_sky_w >= 0.5f || s.power_w >= 0.5f) {
        clear.put(at, static_cast<double>(s.clear_sky_w));
        if (s.measured) power.put(at, static_cast<double>(s.power_w));
      }
      top = std::max({top, s.clear_sky_w, s.power_w});
      if (at != run_to || s.cause != cause || s.reason != reason) {
        end_run();
        run_from = at;
        cause = s.cause;
        reason = s.reason;
      }
      run_to = at + 5;
    }
    end_run();
    j["strings"].push_back({{"name", string}, {"top", std::lround(top)}, {"power", power.json()}, {"clear", clear.json()}, {"runs", runs}});
  }

  if (!a.bank_points.empty()) {
    // A quarter of an hour is finer than a bank's temperature moves.
    constexpr int step = 15;
    Pieces cell(from, step), air(from, step), soc(from, step);
    Json barred = Json::array();
    std::optional<std::int64_t> barred_from;
    std::int64_t last = 0;
    for (const BankPoint& p : a.bank_points) {
      const auto at = clock.minute(p.utc);
      const auto put = [&](Pieces& into, std::optional<float> v, double scale) {
        if (v) into.put(at, static_cast<double>(*v) * scale);
      };
      put(cell, p.cell_min_c, 10);
      put(air, p.air_c, 10);
      put(soc, p.soc, 100);
      const bool no = p.permit && !*p.permit;
      if (no && !barred_from) barred_from = at;
      if (!no && barred_from) barred.push_back({*barred_from, at - *barred_from}), barred_from.reset();
      last = at + 5;
    }
    if (barred_from) barred.push_back({*barred_from, last - *barred_from});
    j["bank"] = {{"step", step}, {"cell", cell.json()}, {"air", air.json()}, {"soc", soc.json()}, {"barred", barred}};
  } else {
    j["bank"] = nullptr;
  }
  j["happenings"] = happenings(a, words, clock, to);
  return j;
}

// -- the written part --

class Page {
 public:
  Page(const Account& a, const Words& words) : a_(a), words_(words) {}

  std::string all() {
    const std::string title = "Review" + (a_.about.rig.empty() ? std::string{} : " of " + escaped(a_.about.rig));
    out_ = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>" + title +
           "</title>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
           "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:\">\n"
           "<link rel=\"icon\" href=\"data:,\">\n<style>\n";
    out_ += without_map(page::dygraphs_css());
    out_ += page::page_css();
    out_ += "</style>\n</head>\n<body>\n<main>\n<h1>" + title + "</h1>\n";
    if (a_.days.empty()) {
      out_ += "<p>Nothing was recorded in this period.</p>\n</main>\n</body>\n</html>\n";
      return out_;
    }
    out_ += "<p class=\"soft\">" + iso_day(a_.days.front().date) + (a_.days.size() > 1 ? " to " + iso_day(a_.days.back().date) + ", " + std::to_string(a_.days.size()) + " days" : "") +
            (a_.widened ? ", taken whole" : "") + ", " + escaped(a_.zone_words()) + ".</p>\n";
    figures();
    findings();
    where_it_went();
    charts();
    string_table();
    alarm_table();
    stretch_table("Months", a_.months);
    stretch_table("Winters", a_.winters);
    day_table();
    bank_table();
    happened_table();
    Json data = chart_data(a_, words_);
    std::string text = data.dump(-1, ' ', false, Json::error_handler_t::replace);
    out_ += "</main>\n<script id=\"data\" type=\"application/json\">";
    for (char c : text) c == '<' ? out_ += "\\u003c" : out_ += c;
    out_ += "</script>\n<script>\n";
    out_ += without_map(page::dygraphs_js());
    out_ += "\n</script>\n<script>\n";
    out_ += page::page_js();
    out_ += "</script>\n</body>\n</html>\n";
    return out_;
  }

 private:
  static std::string percent(double part, double of) {
    if (of <= 0) return "";
    return part > 0 && part < 0.005 * of ? "under 1 %" : fixed(part / of * 100, 0) + " %";
  }

  void figure(const std::string& value, const std::string& of) { out_ += "<li><b>" + value + "</b><span>" + of + "</span></li>\n"; }

  void figures() {
    const double clear = a_.all.clear_sky_kwh();
    out_ += "<ul class=\"figures\">\n";
    figure(energy_words(a_.all.kwh(made)), "made, " + percent(a_.all.kwh(made), clear) + " of " + energy_words(clear) + " clear sky");
    if (const int n = a_.days_of_light()) figure(energy_words(a_.all.kwh(made) / n), "made a day");
    Part most = cloud;
    for (Part p : {journal::snow, soiling, shade, curtailed, cold, outage})
      if (a_.all.kwh(p) > a_.all.kwh(most)) most = p;
    figure(energy_words(a_.all.kwh(most)), "lost to " + std::string(part_words(most)) + ", the largest loss");
    if (a_.bank.cell_min_c) figure(words_.temperature(*a_.bank.cell_min_c), "coldest cell");
    if (a_.bank.soc_low) figure(Words::percent(*a_.bank.soc_low), "lowest charge");
    if (const auto data = a_.all.data_availability()) figure(fixed(*data * 100, 1) + " %", "of the daylight recorded");
    out_ += "</ul>\n";
  }

  void findings() {
    if (a_.findings.empty()) return;
    static const std::map<std::string, std::string> marks{
        {"snow", "snow"}, {"clearings", "made"}, {"curtailed", "curtailed"}, {"held_back", "curtailed"}, {"cold", "cold"}, {"bank_cold", "cold"}, {"reserve", "soc"}, {"film", "soiling"},
        {"shade", "shade"}, {"outage", "outage"}, {"no_data", "no_data"}, {"unexplained", "unexplained"}};
    out_ += "<h2>What mattered most</h2>\n<ul class=\"findings\">\n";
    for (const Finding& f : a_.findings) {
      const auto mark = marks.find(f.kind);
      out_ += "<li" + (mark == marks.end() ? "" : " style=\"--mark:var(--" + mark->second + ")\"") + ">" + unbroken(f.text) + "</li>\n";
    }
    out_ += "</ul>\n";
  }

  void where_it_went() {
    const double clear = a_.all.clear_sky_kwh();
    if (clear <= 0) return;
    out_ += "<h2>Where the sun went</h2>\n<div class=\"bar\" aria-hidden=\"true\">";
    for (Part p : all_parts)
      if (a_.all.kwh(p) > 0)
        out_ += "<i style=\"flex:" + fixed(a_.all.kwh(p) / clear, 4) + ";background:var(--" + std::string(name(p)) + ")\"></i>";
    out_ += "</div>\n<ul class=\"key\">\n";
    for (Part p : all_parts)
      if (std::fabs(a_.all.kwh(p)) >= 0.005)
        out_ += "<li><i style=\"background:var(--" + std::string(name(p)) + ")\"></i>" + std::string(part_words(p)) + " " + energy_words(a_.all.kwh(p)) + ", " +
                percent(a_.all.kwh(p), clear) + "</li>\n";
    out_ += "</ul>\n";
  }

  void chart(const std::string& id, const std::string& title, const std::string& readout, const std::string& what, bool low = false) {
    out_ += "<figure>\n<h3>" + escaped(title) + "</h3>\n<div id=\"" + id + "-readout\" class=\"readout\" aria-hidden=\"true\">" + unbroken(readout) +
            "</div>\n<div id=\"" + id + "\" class=\"chart" + (low ? " low" : "") + "\" role=\"img\" aria-label=\"" + escaped(what) + "\"></div>\n</figure>\n";
  }

  std::string temperature_words() const {
    std::string text = "coldest cell (blue), air (grey)";
    if (a_.about.lower_limit_c) text += "; no charging at or under " + words_.temperature(*a_.about.lower_limit_c);
    if (a_.about.upper_limit_c) text += (a_.about.lower_limit_c ? " or at or over " : "; no charging at or over ") + words_.temperature(*a_.about.upper_limit_c);
    if (a_.about.lower_limit_c || a_.about.upper_limit_c) text += " (line, tinted beyond)";
    if (a_.about.preferred_floor_c) text += "; dotted: preferred floor, " + words_.temperature(*a_.about.preferred_floor_c);
    const bool barred = std::any_of(a_.bank_points.begin(), a_.bank_points.end(), [](const BankPoint& p) { return p.permit && !*p.permit; });
    return text + (barred ? "; bands: charging held off" : "");
  }

  void cause_key() {
    out_ += "<ul class=\"key\">\n";
    for (const auto& [style, word] : {std::pair{"made", "clear"}, {"cloud", "cloud"}, {"snow", "snow"}, {"soiling", "film on the glass"}, {"shade", "shade"},
                                      {"curtailed", "bank full or held back"}, {"outage", "out"}, {"no_data", "no telemetry"}, {"unexplained", "unsure"}})
      out_ += std::string("<li><i style=\"background:var(--") + style + ")\"></i>" + word + "</li>\n";
    out_ += "</ul>\n";
  }

  void charts() {
    out_ += "<h2>Day by day</h2>\n<noscript><p>The charts need scripting; the tables below hold the same figures.</p></noscript>\n"
            "<div class=\"steps\" role=\"group\" aria-label=\"Time shown\">"
            "<button data-span=\"whole\">Whole period</button><button data-span=\"month\">Month</button><button data-span=\"week\">Week</button>"
            "<button data-span=\"day\">Day</button><button data-go=\"-0.5\">Earlier</button><button data-go=\"0.5\">Later</button>"
            "<output id=\"range\"></output></div>\n"
            "<p class=\"soft hint\"><span class=\"mouse\">Drag across a chart to look closer, double-click to see all. Point at a chart to read it.</span>"
            "<span class=\"fingers\">Tap a chart to read it, twice to see all. Swipe it sideways to move, spread two fingers to look closer.</span></p>\n";
    chart("energy", "Energy a day, kWh", "made, and what was lost to what", "Stacked bars of energy a day. The table Energy by day holds the figures.");
    std::size_t n = 0;
    for (const auto& [string, samples] : a_.samples)
      chart("string-" + std::to_string(n++), Words::capital(Words::named(string)) + " string", "W made (filled), clear sky (line); bands: the cause",
            "Power of " + Words::named(string) + " string against its clear-sky curve, with the causes as bands.");
    if (!a_.samples.empty()) cause_key();
    if (!a_.bank_points.empty()) {
      chart("temperature", a_.about.fahrenheit ? "Bank and air, °F" : "Bank and air, °C", temperature_words(),
            "Temperature of the coldest cell and of the air with the charge window. The table Bank by day holds the figures.");
      chart("charge", "Charge of the bank, %", a_.about.reserve_soc ? "dotted: the reserve, " + Words::percent(*a_.about.reserve_soc) : std::string{}, "State of charge. The table Bank by day holds the figures.", true);
    }
    out_ += "<figure>\n<h3>What happened</h3>\n<div id=\"lane-readout\" class=\"readout\" aria-hidden=\"true\"></div>\n<svg id=\"lane\" class=\"lane\" role=\"group\" aria-label=\"Alarms, advice and notes. The table What happened holds the texts.\"></svg>\n</figure>\n";
  }

  // -- tables --

  void open_table(std::initializer_list<std::string> heads, std::string_view caption) {
    out_ += "<div class=\"scroll\"><table><caption class=\"soft\"><span>" + std::string(caption) + "</span></caption>\n<thead><tr>";
    for (const auto& h : heads) head(h);
  }
  void head(std::string_view h, bool words = false) {
    out_ += std::string("<th scope=\"col\"") + (words ? " class=\"words\"" : "") + ">" + escaped(h) + "</th>";
  }
  void cell(std::string_view text, bool words = false) {
    out_ += std::string("<td") + (words ? " class=\"words\"" : "") + ">" + escaped(text) + "</td>";
  }
  void row(bool sum = false) { out_ += sum ? "<tr class=\"sum\">" : "<tr>"; }
  void end_row() { out_ += "</tr>\n"; }
  void body() { out_ += "</tr></thead>\n<tbody>\n"; }
  void end_table() { out_ += "</tbody></table></div>\n"; }

  void energy_heads() {
    head("made");
    head("clear sky");
    for (Part p : all_parts)
      if (p != made) head(p == curtailed ? "held back" : part_words(p));   // narrow
  }
  void energy_cells(const Energies& e) {
    const Split s = rounded_dwh(e.parts);
    const auto kwh = [](std::int64_t dwh) { return fixed(static_cast<double>(dwh) / 1e4, 2); };
    cell(kwh(s[made]));
    cell(kwh(clear_sky(s)));
    for (Part p : all_parts)
      if (p != made) cell(std::abs(s[p]) < 50 ? "" : kwh(s[p]));
  }

  void string_table() {
    const auto each = [&](auto&& line) {
      double rated = 0;
      bool all_rated = true;
      for (const auto& [string, e] : a_.strings) {
        line(string, e, a_.rated_w(string), false);
        rated += a_.rated_w(string);
        all_rated = all_rated && a_.rated_w(string) > 0;
      }
      if (a_.strings.size() > 1) line(std::string("all"), a_.all, all_rated ? rated : 0, true);
    };
    out_ += "<h2>Strings</h2>\n";
    open_table({"string"}, "Energies in kWh");
    energy_heads();
    body();
    each([&](const std::string& string, const Energies& e, double, bool sum) {
      row(sum);
      cell(string);
      energy_cells(e);
      end_row();
    });
    end_table();
    open_table({"string", "rated W", "reference yield", "final yield", "performance ratio", "performance index", "data"},
               "Yields in hours at rated power (IEC 61724-1). The reference yield is the clear-sky model's; the ratio is final over reference yield, "
               "the index what was made over what sky, bank and telemetry left possible; data: share of the daylight recorded.");
    body();
    each([&](const std::string& string, const Energies& e, double rated, bool sum) {
      row(sum);
      cell(string);
      const Yields y = yields(e, rated);
      cell(rated > 0 ? fixed(rated, 0) : "");
      cell(rated > 0 ? fixed(y.reference_h, 1) : "");
      cell(rated > 0 ? fixed(y.final_h, 1) : "");
      cell(fixed(y.performance_ratio(), 2));
      cell(fixed(e.performance_index(), 2));
      cell(e.data_availability() ? fixed(*e.data_availability() * 100, 1) + " %" : "");
      end_row();
    });
    end_table();
  }

  void alarm_table() {
    if (a_.alarm_sums.empty()) return;
    out_ += "<h2>Alarms</h2>\n";
    open_table({"alarm", "raised", "hours any stood", "messages"}, "Each with its times stands in the table What happened");
    body();
    for (const auto& [alarm, sum] : a_.alarm_sums) {
      row();
      cell(Words::named(alarm));
      cell(sum.raised ? std::to_string(sum.raised) : "");
      cell(sum.stood_h >= 0.05 ? fixed(sum.stood_h, 1) : "");
      cell(sum.messages ? std::to_string(sum.messages) : "");
      end_row();
    }
    end_table();
  }

  /// Months or winters beside each other: bars of a day's mean to one scale, and the figures.
  void stretch_table(const std::string& title, const std::vector<Stretch>& stretches) {
    if (stretches.size() < 2) return;
    double most = 0.01;
    for (const Stretch& s : stretches) most = std::max(most, s.a_day(s.all.clear_sky_kwh()));
    out_ += "<h2>" + title + "</h2>\n<p class=\"soft\">The mean day of each: made, and what was lost to what</p>\n<div class=\"rows\" aria-hidden=\"true\">\n";
    for (const Stretch& s : stretches) {
      out_ += "<span>" + escaped(s.label) + "</span><div class=\"bar\">";
      for (Part p : all_parts)
        if (const double share = s.a_day(s.all.kwh(p)) / most; share > 0.001)
          out_ += "<i style=\"width:" + fixed(share * 100, 2) + "%;background:var(--" + std::string(name(p)) + ")\"></i>";
      out_ += "</div><span>" + energy_words(s.a_day(s.all.kwh(made))) + "</span>\n";
    }
    out_ += "</div>\n";
    open_table({"", "days"}, "Energies in kWh");
    head("made a day");
    energy_heads();
    body();
    for (const Stretch& s : stretches) {
      row();
      cell(s.label);
      cell(std::to_string(s.days));
      cell(fixed(s.a_day(s.all.kwh(made)), 2));
      energy_cells(s.all);
      end_row();
    }
    end_table();
  }

  void day_table() {
    out_ += "<h2>Tables</h2>\n<details><summary>Energy by day</summary>\n";
    open_table({"day"}, "Energies of all strings in kWh; made and lost together are the clear-sky energy");
    energy_heads();
    body();
    for (const Day& d : a_.days) {
      row();
      cell(iso_day(d.date));
      energy_cells(d.all);
      end_row();
    }
    row(true);
    cell("all");
    energy_cells(a_.all);
    end_row();
    end_table();
    out_ += "</details>\n";
  }

  void bank_table() {
    if (a_.bank_points.empty()) return;
    out_ += "<details><summary>Bank by day</summary>\n";
    open_table({"day", "coldest cell", "warmest cell", "coldest air", "lowest charge", "highest charge", "hours without permit", "loads kWh"}, "");
    body();
    for (const Day& d : a_.days) {
      const BankDay& b = d.bank;
      if (b.hours <= 0) continue;
      const auto degrees = [&](std::optional<double> c) { return c ? words_.temperature(*c) : std::string{}; };
      row();
      cell(iso_day(d.date));
      cell(degrees(b.cell_min_c));
      cell(degrees(b.cell_max_c));
      cell(degrees(b.air_min_c));
      cell(b.soc_low ? Words::percent(*b.soc_low) : "");
      cell(b.soc_high ? Words::percent(*b.soc_high) : "");
      cell(b.no_permit_h > 0 ? fixed(b.no_permit_h, 1) : "");
      cell(b.load_kwh > 0 ? fixed(b.load_kwh, 2) : "");
      end_row();
    }
    end_table();
    out_ += "</details>\n";
  }

  void happened_table() {
    struct Line {
      Utc at;
      std::string what, text;
      bool often = false;                    ///< left out on paper
    };
    std::vector<Line> lines;
    for (const AlarmRow& r : a_.alarms) lines.push_back({r.when.utc, "alarm " + r.event, r.text.empty() ? r.alarm + " " + r.subject : r.text});
    for (const AdviceRow& r : a_.advice) lines.push_back({r.when.utc, "advice", r.text + (r.outcome.empty() ? "" : " (" + r.outcome + ")"), true});
    for (const NoteRow& r : a_.notes) lines.push_back({r.when.utc, "note", r.event + (r.string.empty() ? "" : " " + r.string) + (r.text.empty() ? "" : ": " + r.text)});
    for (const EventRow& r : a_.events) lines.push_back({r.when.utc, r.kind, r.text});
    for (const Day& d : a_.days)
      for (const Clearing& c : d.clearings)
        if (c.gain_kwh) lines.push_back({c.at, "clearing", "brought about " + energy_words(*c.gain_kwh) + " that day"});
    if (lines.empty()) return;
    std::stable_sort(lines.begin(), lines.end(), [](const Line& x, const Line& y) { return x.at < y.at; });
    // Enough for a winter; a chattering rule must not swell the page.
    constexpr std::size_t most = 3000;
    const std::size_t left_out = lines.size() > most ? lines.size() - most : 0;
    out_ += "<details><summary>What happened</summary>\n";
    open_table({"when"}, "Every alarm, advice and note" + (left_out ? ", the latest " + std::to_string(most) + "; " + std::to_string(left_out) + " earlier ones are in the journal" : std::string{}) +
                             "<span class=\"paper\">; advice is left out on paper</span>");
    head("what", true);
    head("text", true);
    body();
    for (std::size_t i = left_out; i < lines.size(); ++i) {
      out_ += lines[i].often ? "<tr class=\"often\">" : "<tr>";
      cell(words_.date_clock(lines[i].at));
      cell(Words::named(lines[i].what), true);
      cell(lines[i].text, true);
      end_row();
    }
    end_table();
    out_ += "</details>\n";
  }

  const Account& a_;
  const Words& words_;
  std::string out_;
};

}  // namespace

std::string html(const Account& a) {
  const auto words = Words::in_zone(a.zone, a.about.fahrenheit);
  return words ? Page(a, *words).all() : std::string{};
}

}  // namespace fw::review
