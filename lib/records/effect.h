#pragma once
// What the core wants done. The shell performs a turn's effects in this order: publishes without a
// notice id first (a permit's withdrawal never waits for a disk), then all rows in one transaction,
// then the notices.
#include <optional>
#include <string>
#include <variant>

#include "records/rows.h"

namespace fw {

struct Publish {
  std::string connection;            ///< empty: the rig's own; else the charger or heater whose will it shares
  std::string topic, payload;
  int qos = 0;
  bool retain = false;
  std::optional<int> expires_s;      ///< MQTT 5 message expiry
  std::string notice_id;             ///< not empty: delivery is reported back by this id
};

struct Store { Row row; };

enum class Level { debug, info, warn, error };
struct LogLine { Level level = Level::info; std::string text; };

using Effect = std::variant<Publish, Store, LogLine>;

}  // namespace fw
