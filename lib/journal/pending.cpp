#include "journal/pending.h"

#include <algorithm>

namespace fw::journal {

std::int64_t minutes_moved(const ClockRow& clock) {
  const std::int64_t ms = clock.offset_change.count();
  return (ms + (ms < 0 ? -30'000 : 30'000)) / 60'000;
}

int moved_date(std::int64_t minute, int old_date, const ClockRow& clock, const Result<Words>& words) {
  if (words)
    if (const auto day = day_in(words->local_date(utc_of_minute(minute)))) return *day;
  return old_date + static_cast<int>(clock.offset_change / days{1});
}

bool Pending::take(Row row, Names& names, const std::string& zone) {
  bool now = false;
  if (const auto* s = std::get_if<StringRow>(&row)) {
    StringSample p = packed(*s);
    p.string = names.id(s->string);
    p.reason = names.id(s->verdict.reason);
    strings.push_back(p);
  } else if (const auto* b = std::get_if<BankRow>(&row)) {
    banks.push_back(packed(*b));
  } else if (const auto* c = std::get_if<VerdictChangeRow>(&row)) {
    names.id(c->string);
    names.id(c->reason);
    changes.push_back(std::move(row));
  } else if (auto* snapshot = std::get_if<SnapshotRow>(&row)) {
    std::string key = snapshot->key;
    snapshots[std::move(key)] = std::move(*snapshot);
  } else {
    if (const auto* clock = std::get_if<ClockRow>(&row)) redate(*clock, zone);
    urgent.push_back(std::move(row));
    now = true;
  }
  bound();
  return now;
}

void Pending::redate(const ClockRow& clock, const std::string& zone) {
  const auto words = Words::in_zone(zone, false);
  for (auto& s : strings)
    if (!s.trusted) {
      s.minute += minutes_moved(clock);
      s.date = moved_date(s.minute, s.date, clock, words);
      s.trusted = clock.trusted;
    }
  for (auto& b : banks)
    if (!b.trusted) b.minute += minutes_moved(clock), b.trusted = clock.trusted;
  for (auto* rows : {&changes, &urgent})
    for (Row& row : *rows)
      std::visit(
          [&](auto& r) {
            if (!r.when.trusted) r.when.utc += clock.offset_change, r.when.trusted = clock.trusted;
          },
          row);
}

void Pending::bound() {
  const auto trim = [&](auto& rows, std::size_t most) {
    while (rows.size() > most) rows.pop_front(), ++dropped;
  };
  trim(strings, most_samples);
  trim(banks, most_samples);
  trim(changes, most_rows);
  while (urgent.size() > most_rows) {
    auto least = std::find_if(urgent.begin(), urgent.end(), [](const Row& r) {
      return std::holds_alternative<EventRow>(r) || std::holds_alternative<AdviceRow>(r);
    });
    if (least == urgent.end()) least = urgent.begin();
    urgent.erase(least);
    ++dropped;
  }
}

void Pending::renumber(const std::map<int, int>& from_to) {
  const auto moved = [&](int id) {
    const auto it = from_to.find(id);
    return it == from_to.end() ? id : it->second;
  };
  for (auto& s : strings) s.string = moved(s.string), s.reason = moved(s.reason);
}

}  // namespace fw::journal
