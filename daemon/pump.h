#pragma once
// Performs what the core wants, in the order that keeps its promises: a permit's withdrawal never waits
// for a disk, a notice never goes before it is stored. Live and replay share this and differ only in the
// three hands they lend.
#include <functional>
#include <vector>

#include "records/effect.h"

namespace fw {

struct Hands {
  std::function<void(const Publish&)> publish;
  std::function<void(std::vector<Row>)> store;   ///< one transaction
  std::function<void(const LogLine&)> log;
};

/// Publishes without a notice id, then the rows, then the notices; log lines last.
void perform(std::vector<Effect> effects, const Hands& hands);

}  // namespace fw
