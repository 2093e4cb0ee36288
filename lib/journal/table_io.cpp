#include "journal/table_io.h"

#include <algorithm>

namespace fw::journal {

namespace {

constexpr std::string_view string_columns =
    "seq,minute,string,trusted,date,minutes,live,cause,stage,power_dw,voltage_cv,current_ca,confidence_pm,index_pm,expected_dw,"
    "measured_dw,sun_cdeg,made,cloud,snow,soiling,shade,curtailed,cold,outage,no_data,unexplained,reason,cover_pm,depth_mm,"
    "soiling_pm,soiling_low_pm,soiling_high_pm";
constexpr std::string_view bank_columns =
    "seq,minute,trusted,minutes,cell_min_cc,cell_max_cc,soc_bp,voltage_mv,current_ma,air_cc,cabin_cc,load_dw,permit,limit_da";
constexpr std::string_view parts = "made,cloud,snow,soiling,shade,curtailed,cold,outage,no_data,unexplained";

std::string insert_sql(std::string_view table, std::string_view columns) {
  std::string sql = "INSERT OR REPLACE INTO " + std::string(table) + '(' + std::string(columns) + ") VALUES(?";
  for (auto n = std::count(columns.begin(), columns.end(), ','); n > 0; --n) sql += ",?";
  return sql + ')';
}

std::string select_sql(std::string_view table, std::string_view columns, std::string_view rest) {
  return "SELECT " + std::string(columns) + " FROM " + std::string(table) + ' ' + std::string(rest);
}

}  // namespace

std::string insert_string_sql(std::string_view table) { return insert_sql(table, string_columns); }
std::string insert_bank_sql(std::string_view table) { return insert_sql(table, bank_columns); }
std::string select_string_sql(std::string_view table, std::string_view rest) { return select_sql(table, string_columns, rest); }
std::string select_bank_sql(std::string_view table, std::string_view rest) { return select_sql(table, bank_columns, rest); }

void bind(Statement& s, const StringSample& r) {
  int i = 0;
  const auto put = [&](auto v) { s.bind(++i, v); };
  const auto whole = [&](std::int64_t v) { s.bind(++i, v); };
  whole(r.seq), whole(r.minute), whole(r.string), whole(r.trusted), whole(r.date), whole(r.minutes), whole(r.live);
  whole(static_cast<int>(r.cause));
  put(r.stage ? std::optional<std::int64_t>{*r.stage} : std::nullopt);
  put(r.power_dw), put(r.voltage_cv), put(r.current_ca);
  whole(r.confidence_pm), put(r.index_pm), whole(r.expected_dw), put(r.measured_dw), whole(r.sun_cdeg);
  for (auto v : r.split) whole(v);
  whole(r.reason);
  put(r.cover_pm), put(r.depth_mm), put(r.soiling_pm), put(r.soiling_low_pm), put(r.soiling_high_pm);
}

StringSample string_sample(const Statement& s) {
  StringSample r;
  int i = 0;
  const auto whole = [&] { return s.integer(i++); };
  const auto maybe = [&] { return s.maybe_integer(i++); };
  r.seq = whole();
  r.minute = whole();
  r.string = static_cast<int>(whole());
  r.trusted = whole() != 0;
  r.date = static_cast<int>(whole());
  r.minutes = static_cast<int>(std::max<std::int64_t>(1, whole()));
  r.live = static_cast<int>(whole());
  r.cause = static_cast<Cause>(std::clamp<std::int64_t>(whole(), 0, cause_count - 1));
  if (const auto stage = maybe()) r.stage = static_cast<int>(*stage);
  r.power_dw = maybe();
  r.voltage_cv = maybe();
  r.current_ca = maybe();
  r.confidence_pm = whole();
  r.index_pm = maybe();
  r.expected_dw = whole();
  r.measured_dw = maybe();
  r.sun_cdeg = whole();
  for (auto& v : r.split) v = whole();
  r.reason = static_cast<int>(whole());
  r.cover_pm = maybe();
  r.depth_mm = maybe();
  r.soiling_pm = maybe();
  r.soiling_low_pm = maybe();
  r.soiling_high_pm = maybe();
  return r;
}

void bind(Statement& s, const BankSample& r) {
  int i = 0;
  const auto put = [&](std::optional<std::int64_t> v) { s.bind(++i, v); };
  put(r.seq), put(r.minute), put(r.trusted), put(r.minutes), put(r.cell_min_cc), put(r.cell_max_cc), put(r.soc_bp), put(r.voltage_mv);
  put(r.current_ma), put(r.air_cc), put(r.cabin_cc), put(r.load_dw), put(r.permit), put(r.limit_da);
}

BankSample bank_sample(const Statement& s) {
  BankSample r;
  int i = 0;
  const auto maybe = [&] { return s.maybe_integer(i++); };
  r.seq = s.integer(i++);
  r.minute = s.integer(i++);
  r.trusted = s.integer(i++) != 0;
  r.minutes = static_cast<int>(std::max<std::int64_t>(1, s.integer(i++)));
  r.cell_min_cc = maybe();
  r.cell_max_cc = maybe();
  r.soc_bp = maybe();
  r.voltage_mv = maybe();
  r.current_ma = maybe();
  r.air_cc = maybe();
  r.cabin_cc = maybe();
  r.load_dw = maybe();
  r.permit = maybe();
  r.limit_da = maybe();
  return r;
}

std::string add_day_sql() {
  std::string sql = "INSERT INTO string_day(date,string," + std::string(parts) +
                    ",minutes,light_minutes,light_live) VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?) ON CONFLICT(date,string) DO UPDATE SET ";
  std::string_view rest = parts;
  while (!rest.empty()) {
    const auto comma = rest.find(',');
    const std::string part(rest.substr(0, comma));
    sql += part + '=' + part + "+excluded." + part + ',';
    rest = comma == std::string_view::npos ? std::string_view{} : rest.substr(comma + 1);
  }
  return sql + "minutes=minutes+excluded.minutes,light_minutes=light_minutes+excluded.light_minutes,light_live=light_live+excluded.light_live";
}

void bind_day(Statement& s, const StringSample& m) {
  int i = 0;
  const auto whole = [&](std::int64_t v) { s.bind(++i, v); };
  const bool light = clear_sky(m.split) > 0;
  whole(m.date), whole(m.string);
  for (auto v : m.split) whole(v);
  whole(m.minutes), whole(light ? m.minutes : 0), whole(light ? m.live : 0);
}

}  // namespace fw::journal
