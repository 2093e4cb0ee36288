#pragma once
// Bytes with topic and arrival: what the broker hands over, what a feed line records.
#include <string>

#include "units/time.h"

namespace fw {

struct Message {
  Elapsed at{};
  std::string topic;
  std::string payload;
  bool retain = false;
};

}  // namespace fw
