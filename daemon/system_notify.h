#pragma once
// The service manager's notify protocol: one datagram, no library (systemd, sd_notify(3)).
#include <optional>
#include <string>

#include "units/time.h"

namespace fw {

/// Sends "READY=1", "STATUS=...", "WATCHDOG=1", "STOPPING=1", "RELOADING=1"; silent where nobody listens. Never
/// waits: a manager that does not read loses a word, the guard loses no time.
void notify_system(const std::string& state);

/// Half of the watchdog's interval; nothing when there is no watchdog for this process.
std::optional<Span> watchdog_beat();

}  // namespace fw
