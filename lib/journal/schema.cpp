#include "journal/schema.h"

namespace fw::journal {

// Times: `minute` counts UTC minutes, `utc` UTC milliseconds since 1970; `date` is the rig's local day
// as days since 1970. `trusted` 0: made before the clock was set. `seq` is the journal's order, which
// stays when the clock steps back; a five-minute row has the seq of its first minute, so the two
// tables are one sequence. Units: _dw 0.1 W, _cv 0.01 V, _ca 0.01 A, _mv mV, _ma mA, _da 0.1 A,
// _cc 0.01 degC, _pm 0.001, _bp 0.0001, _mm mm, _cdeg 0.01 degree. The ten parts made ... unexplained
// are sums of 0.1 W times minutes and add up to the clear-sky energy.
const std::vector<std::string>& schema_steps() {
  static const std::string sample_columns = R"(
      string INTEGER NOT NULL, trusted INTEGER NOT NULL, date INTEGER NOT NULL, minutes INTEGER NOT NULL, live INTEGER NOT NULL,
      cause INTEGER NOT NULL, stage INTEGER, power_dw INTEGER, voltage_cv INTEGER, current_ca INTEGER,
      confidence_pm INTEGER NOT NULL, index_pm INTEGER, expected_dw INTEGER NOT NULL, measured_dw INTEGER, sun_cdeg INTEGER NOT NULL,
      made INTEGER NOT NULL, cloud INTEGER NOT NULL, snow INTEGER NOT NULL, soiling INTEGER NOT NULL, shade INTEGER NOT NULL,
      curtailed INTEGER NOT NULL, cold INTEGER NOT NULL, outage INTEGER NOT NULL, no_data INTEGER NOT NULL,
      unexplained INTEGER NOT NULL, reason INTEGER NOT NULL,
      cover_pm INTEGER, depth_mm INTEGER, soiling_pm INTEGER, soiling_low_pm INTEGER, soiling_high_pm INTEGER);)";
  static const std::string bank_columns = R"(
      trusted INTEGER NOT NULL, minutes INTEGER NOT NULL, cell_min_cc INTEGER, cell_max_cc INTEGER, soc_bp INTEGER,
      voltage_mv INTEGER, current_ma INTEGER, air_cc INTEGER, cabin_cc INTEGER, load_dw INTEGER, permit INTEGER, limit_da INTEGER);)";
  static const std::vector<std::string> steps{
      "CREATE TABLE name(id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);"
      "CREATE TABLE string_minute(seq INTEGER PRIMARY KEY, minute INTEGER NOT NULL," + sample_columns +
      "CREATE TABLE string_five(seq INTEGER PRIMARY KEY, minute INTEGER NOT NULL," + sample_columns +
      "CREATE TABLE bank_minute(seq INTEGER PRIMARY KEY, minute INTEGER NOT NULL," + bank_columns +
      "CREATE TABLE bank_five(seq INTEGER PRIMARY KEY, minute INTEGER NOT NULL," + bank_columns + R"(
      CREATE TABLE string_day(date INTEGER, string INTEGER,
        made INTEGER NOT NULL, cloud INTEGER NOT NULL, snow INTEGER NOT NULL, soiling INTEGER NOT NULL, shade INTEGER NOT NULL,
        curtailed INTEGER NOT NULL, cold INTEGER NOT NULL, outage INTEGER NOT NULL, no_data INTEGER NOT NULL,
        unexplained INTEGER NOT NULL, minutes INTEGER NOT NULL, light_minutes INTEGER NOT NULL, light_live INTEGER NOT NULL,
        PRIMARY KEY(date, string)) WITHOUT ROWID;
      CREATE TABLE change(seq INTEGER PRIMARY KEY, utc INTEGER NOT NULL, trusted INTEGER NOT NULL, string INTEGER NOT NULL,
        cause INTEGER NOT NULL, confidence_pm INTEGER NOT NULL, reason INTEGER NOT NULL, evidence TEXT NOT NULL);
      CREATE TABLE alarm(seq INTEGER PRIMARY KEY, utc INTEGER NOT NULL, trusted INTEGER NOT NULL, alarm TEXT NOT NULL,
        subject TEXT NOT NULL, event TEXT NOT NULL, priority TEXT NOT NULL, text TEXT NOT NULL);
      CREATE TABLE command(seq INTEGER PRIMARY KEY, utc INTEGER NOT NULL, trusted INTEGER NOT NULL, id TEXT NOT NULL UNIQUE,
        charger TEXT NOT NULL, permit INTEGER NOT NULL, current_limit_a REAL, reason TEXT NOT NULL, confirmed INTEGER);
      CREATE TABLE advice(seq INTEGER PRIMARY KEY, utc INTEGER NOT NULL, trusted INTEGER NOT NULL, kind TEXT NOT NULL,
        text TEXT NOT NULL, gain_kwh REAL, best_from INTEGER, best_to INTEGER, outcome TEXT NOT NULL);
      CREATE TABLE note(seq INTEGER PRIMARY KEY, utc INTEGER NOT NULL, trusted INTEGER NOT NULL, event TEXT NOT NULL,
        string TEXT NOT NULL, text TEXT NOT NULL);
      CREATE TABLE notice(seq INTEGER PRIMARY KEY, utc INTEGER NOT NULL, trusted INTEGER NOT NULL, id TEXT NOT NULL UNIQUE,
        priority TEXT NOT NULL, alarm TEXT NOT NULL, subject TEXT NOT NULL, text TEXT NOT NULL, state TEXT NOT NULL,
        state_utc INTEGER, detail TEXT NOT NULL);
      CREATE TABLE event(seq INTEGER PRIMARY KEY, utc INTEGER NOT NULL, trusted INTEGER NOT NULL, kind TEXT NOT NULL,
        text TEXT NOT NULL);
      CREATE TABLE snapshot(key TEXT PRIMARY KEY, utc INTEGER NOT NULL, data TEXT NOT NULL) WITHOUT ROWID;
      CREATE TABLE clock(seq INTEGER PRIMARY KEY, utc INTEGER NOT NULL, trusted INTEGER NOT NULL, change_ms INTEGER NOT NULL);)"};
  return steps;
}

Origin origin_of(Database& db, std::int64_t present_version) {
  const auto tables = db.integer("SELECT count(*) FROM sqlite_master");
  if (!tables) return Origin::unreadable;
  const auto id = db.integer("PRAGMA application_id");
  const auto version = db.integer("PRAGMA user_version");
  if (!id || !version) return Origin::unreadable;
  if (*tables == 0 && *id == 0 && *version == 0) return Origin::empty;
  if (*id != application_id) return Origin::foreign;
  return *version > present_version ? Origin::newer : Origin::ours;
}

bool migrate(Database& db, const std::vector<std::string>& steps) {
  const auto from = db.integer("PRAGMA user_version");
  if (!from) return false;
  if (*from >= static_cast<std::int64_t>(steps.size())) return true;
  if (!db.begin()) return false;
  for (auto n = static_cast<std::size_t>(*from); n < steps.size(); ++n)
    if (!db.exec(steps[n])) {
      db.rollback();
      return false;
    }
  if (db.exec("PRAGMA application_id=" + std::to_string(application_id)) &&
      db.exec("PRAGMA user_version=" + std::to_string(steps.size())) && db.commit())
    return true;
  db.rollback();
  return false;
}

}  // namespace fw::journal
