#pragma once
// From a config file to what the commands need: the rig, its words, its journal, its broker.
#include <optional>
#include <string>

#include "mqtt/client.h"
#include "rig/rig.h"
#include "units/result.h"
#include "words/words.h"

namespace fw {

struct Described {
  rig::Rig rig;
  Words words;
};

/// Loads a config; every fault and warning goes to stderr. Nothing: unusable.
std::optional<Described> described(const std::string& config_path, bool say_warnings = true);
/// The same for a running daemon: faults as one text, a line each.
Result<Described> described_quietly(const std::string& config_path);

/// The journal's path: as configured, else in the state folder given by the system (STATE_DIRECTORY), else in
/// the service's own for a config in /etc/firnwatt, else in the user's.
std::string journal_path(const rig::Rig& rig, const std::string& config_path);

/// Connection settings without will and filters; the password is read from its file
/// (a name without a slash: from CREDENTIALS_DIRECTORY first). id_suffix keeps several connections apart.
Result<mqtt::Settings> broker_settings(const rig::Rig& rig, const std::string& id_suffix = "");

std::string root_of(const rig::Rig& rig);  ///< "firnwatt/<rig>/"

/// "90s", "5min", "2 h", "1d"; a bare number is seconds. Above zero.
std::optional<Span> span_in(const std::string& text);

/// An instant: with zone, or local to the rig ("2026-01-12", "2026-01-12T08:00").
std::optional<Utc> instant_in(const std::string& text, const Words& words);

}  // namespace fw
