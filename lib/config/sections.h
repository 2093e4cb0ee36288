#pragma once
// One function per section of the file; each fills its part of the draft and reports what is wrong.
#include <map>
#include <optional>
#include <string>

#include "config/tree.h"
#include "rig/rig.h"

namespace fw::config {

/// A rig in the making, and where its parts stand in the file.
struct Draft {
  Draft(Report& r, std::string file_name) : report(r), file(std::move(file_name)) {}
  Report& report;
  std::string file;
  rig::Rig rig;
  std::map<std::string, Place> places;      ///< by path, for faults found when all is read
  struct Written { Place place; std::string path; };
  std::map<Channel, Written> written;       ///< every source that stands in the file, faulty ones included

  Place place(const std::string& path) const {
    const auto found = places.find(path);
    return found == places.end() ? Place{} : found->second;
  }
};

template <class T, class Read>
void put(T& into, const std::optional<Field>& field, Read read) {
  if (!field) return;
  if (auto v = read(*field)) into = *v;
}

void read_site(Block& top, Draft& draft);
void read_strings(Block& top, Draft& draft);
void read_bank(Block& top, Draft& draft);
void read_chargers(Block& top, Draft& draft);
void read_heaters(Block& top, Draft& draft);
void read_loads(Block& top, Draft& draft);
void read_forecast(Block& top, Draft& draft);
void read_broker(Block& top, Draft& draft);
void read_phone(Block& top, Draft& draft);
void read_alarms(Block& top, Draft& draft);
void read_rules(Block& top, Draft& draft);       ///< after everything a signal can name
void read_advice(Block& top, Draft& draft);
void read_journal(Block& top, Draft& draft);

/// A source for one channel. Adds it to the rig.
void read_source(const Field& field, Channel channel, Draft& draft);
/// The same for a key that may be missing.
void read_source(Block& block, const std::string& key, Channel channel, Draft& draft);

/// `form` of a sender's time: epoch_s, epoch_ms, iso, local.
std::optional<rig::TimeForm> time_form(const Field& field);

/// What only shows when all is read: strings without a source, doubled fields, the simulation beside real commands ...
void cross_check(Draft& draft);

}  // namespace fw::config
