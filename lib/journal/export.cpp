#include <algorithm>
#include <array>

#include "journal/reader.h"
#include "units/text.h"

namespace fw::journal {

namespace {

constexpr std::array<std::string_view, 9> table_names{"verdicts", "alarms", "commands", "bank", "advice", "energy", "notes", "notices", "events"};

/// One line of CSV after RFC 4180: fields with a comma, quote or line break are quoted.
class Line {
 public:
  Line& put(std::string_view text) {
    if (!line_.empty() || started_) line_ += ',';
    started_ = true;
    if (text.find_first_of(",\"\r\n") == std::string_view::npos) {
      line_ += text;
      return *this;
    }
    line_ += '"';
    for (char c : text) {
      if (c == '"') line_ += '"';
      line_ += c;
    }
    line_ += '"';
    return *this;
  }
  Line& put(Utc t) { return put(iso_utc(t)); }
  Line& put(std::optional<Utc> t) { return put(t ? iso_utc(*t) : std::string{}); }
  Line& flag(bool b) { return put(b ? "1" : "0"); }
  /// A scaled integer with its exact decimals.
  Line& scaled(std::int64_t v, int decimals) {
    std::string digits = std::to_string(v < 0 ? -v : v);
    const auto d = static_cast<std::size_t>(decimals);
    if (digits.size() <= d) digits.insert(0, d + 1 - digits.size(), '0');
    if (d > 0) digits.insert(digits.size() - d, 1, '.');
    if (v < 0) digits.insert(0, 1, '-');
    return put(digits);
  }
  Line& scaled(std::optional<std::int64_t> v, int decimals) { return v ? scaled(*v, decimals) : put(std::string_view{}); }
  void end(std::ostream& out) {
    line_ += "\r\n";
    out.write(line_.data(), static_cast<std::streamsize>(line_.size()));
    line_.clear();
    started_ = false;
  }

 private:
  std::string line_;
  bool started_ = false;
};

template <class Rows, class Print>
Result<void> print_all(const Rows& rows, std::ostream& out, Print print) {
  if (!rows) return rows.fault();
  Line line;
  for (const auto& r : *rows) {
    print(line, r);
    line.end(out);
  }
  return {};
}

}  // namespace

std::vector<std::string_view> Reader::tables() { return {table_names.begin(), table_names.end()}; }

Result<void> Reader::export_table(std::string_view table, std::optional<Utc> from, std::optional<Utc> to, std::ostream& out) const {
  if (std::find(table_names.begin(), table_names.end(), table) == table_names.end()) {
    std::string list;
    for (auto t : table_names) list += (list.empty() ? "" : ", ") + std::string(t);
    return Fault{std::string(table), "there is no such table; the tables are " + list};
  }
  if (from && to && *from >= *to) return Fault{"", "the period is empty: from " + iso_utc(*from) + " is not before to " + iso_utc(*to)};
  const Period p{from, to};
  Line line;
  const auto header = [&](std::string_view columns) { out << columns << "\r\n"; };

  if (table == "verdicts") {
    header("utc,string,cause,confidence,performance_index,clear_sky_w,expected_w,measured_w,sun_elevation_deg,reason,clock_trusted");
    return each_five(p, [&](const StringSample& r) {
      const auto clear = clear_sky(r.split);
      line.put(utc_of_minute(r.minute)).put(name(r.string)).put(fw::name(r.cause)).scaled(r.confidence_pm, 3).scaled(r.index_pm, 3);
      line.scaled((2 * clear + (clear < 0 ? -r.minutes : r.minutes)) / (2 * r.minutes), 1).scaled(r.expected_dw, 1).scaled(r.measured_dw, 1);
      line.scaled(r.sun_cdeg, 2).put(name(r.reason)).flag(r.trusted).end(out);
    });
  }
  if (table == "bank") {
    header("utc,cell_min_c,cell_max_c,soc,voltage_v,current_a,permit,current_limit_a,air_c,cabin_c,load_w,minutes,clock_trusted");
    return each_bank(p, 1, [&](const BankSample& r) {
      line.put(utc_of_minute(r.minute)).scaled(r.cell_min_cc, 2).scaled(r.cell_max_cc, 2).scaled(r.soc_bp, 4).scaled(r.voltage_mv, 3);
      line.scaled(r.current_ma, 3).scaled(r.permit, 0).scaled(r.limit_da, 1).scaled(r.air_cc, 2).scaled(r.cabin_cc, 2).scaled(r.load_dw, 1);
      line.scaled(std::int64_t{r.minutes}, 0).flag(r.trusted).end(out);
    });
  }
  if (table == "energy") {
    header(
        "local_date,string,made_kwh,clear_sky_kwh,lost_cloud_kwh,lost_snow_kwh,lost_soiling_kwh,lost_shade_kwh,lost_curtailed_kwh,"
        "lost_cold_kwh,lost_outage_kwh,no_data_kwh,unexplained_kwh,data_availability");
    return print_all(energy(p), out, [&](Line& l, const DayEnergy& e) {
      const Split s = rounded_dwh(e.split);
      l.put(iso_day(e.date)).put(name(e.string)).scaled(s[made], 4).scaled(clear_sky(s), 4);
      for (Part part : {cloud, snow, soiling, shade, curtailed, cold, outage, no_data, unexplained})
        l.scaled(s[static_cast<std::size_t>(part)], 4);
      l.put(e.light_minutes ? fixed(static_cast<double>(e.light_live) / static_cast<double>(e.light_minutes), 3) : "");
    });
  }
  if (table == "alarms") {
    header("utc,alarm,subject,event,priority,text,clock_trusted");
    return print_all(alarms(p), out, [](Line& l, const AlarmRow& r) {
      l.put(r.when.utc).put(r.alarm).put(r.subject).put(r.event).put(r.priority).put(r.text).flag(r.when.trusted);
    });
  }
  if (table == "commands") {
    header("utc,charger,permit,current_limit_a,reason,confirmed_utc,clock_trusted");
    return print_all(commands(p), out, [](Line& l, const CommandRow& r) {
      l.put(r.when.utc).put(r.charger).flag(r.permit).put(fixed(r.current_limit_a, 1)).put(r.reason).put(r.confirmed).flag(r.when.trusted);
    });
  }
  if (table == "advice") {
    header("utc,kind,text,gain_kwh,best_from_utc,best_to_utc,outcome");
    return print_all(advice(p), out, [](Line& l, const AdviceRow& r) {
      l.put(r.when.utc).put(r.kind).put(r.text).put(fixed(r.gain_kwh, 2)).put(r.best_from).put(r.best_to).put(r.outcome);
    });
  }
  if (table == "notes") {
    header("utc,event,string,text");
    return print_all(notes(p), out, [](Line& l, const NoteRow& r) { l.put(r.when.utc).put(r.event).put(r.string).put(r.text); });
  }
  if (table == "notices") {
    header("utc,id,priority,alarm,subject,text,state,state_utc,detail");
    return print_all(notices(p), out, [](Line& l, const NoticeRow& r) {
      l.put(r.when.utc).put(r.id).put(r.priority).put(r.alarm).put(r.subject).put(r.text).put(r.state).put(r.state_utc).put(r.detail);
    });
  }
  header("utc,kind,text");
  return print_all(events(p), out, [](Line& l, const EventRow& r) { l.put(r.when.utc).put(r.kind).put(r.text); });
}

}  // namespace fw::journal
