#pragma once
// Short ways to say what journal tests say often.
#include <algorithm>
#include <sstream>
#include <string>
#include <vector>

#include "journal/journal.h"
#include "journal/reader.h"
#include "journal/winter.h"
#include "units/text.h"

namespace fw::testing {

inline const Utc start = *utc_in("2026-01-15T00:00:00Z");
inline Now at(Utc t, bool trusted = true) { return {Elapsed{t.time_since_epoch()}, t, trusted}; }
inline Stamp stamp(Utc t, bool trusted = true) { return {t, Elapsed{t.time_since_epoch()}, trusted}; }

inline std::unique_ptr<journal::Journal> opened(const std::string& path, journal::Options o = {}, Now now = at(start)) {
  auto j = journal::Journal::open(path, o, now);
  return j ? std::move(j).value() : nullptr;
}

inline std::string csv(const std::string& path, std::string_view table, std::optional<Utc> from = {}, std::optional<Utc> to = {}) {
  auto reader = journal::Reader::open(path);
  if (!reader) return reader.fault().text();
  std::ostringstream out;
  const auto r = reader->export_table(table, from, to, out);
  return r ? out.str() : r.fault().text();
}

inline std::size_t lines(const std::string& text) { return static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n')); }

/// Plays minutes of the made-up winter.
inline void play(journal::Journal& j, Winter& winter, int minutes) {
  for (int m = 0; m < minutes; ++m) {
    auto rows = winter.minute();
    (void)j.write(std::move(rows), winter.turn());
    j.maintain(winter.turn());
  }
}

inline AlarmRow alarm(Utc t, std::string event, std::string text = "Fore string probably under snow.") {
  return {stamp(t), "snow", "fore", std::move(event), "low", std::move(text)};
}

inline NoticeRow notice(Utc t, std::string id, std::string state = "waiting") {
  return {stamp(t), std::move(id), "low", "snow", "fore", "Fore string probably under snow.", std::move(state), std::nullopt, ""};
}

inline StringRow sample(Utc t, double clear_w, double made_w, Cause cause = Cause::clear, bool trusted = true) {
  StringRow r;
  r.when = stamp(t, trusted);
  r.local_date = iso_utc(t).substr(0, 10);
  r.string = "fore";
  r.power_w = r.verdict.measured_w = made_w;
  r.verdict.cause = cause;
  r.verdict.confidence = 0.9;
  r.verdict.clear_sky_w = clear_w;
  r.verdict.expected_w = clear_w;
  if (clear_w > 0) r.verdict.performance_index = made_w / clear_w;
  r.verdict.split.made_w = made_w;
  r.verdict.split.cloud_w = clear_w - made_w;
  return r;
}

}  // namespace fw::testing
