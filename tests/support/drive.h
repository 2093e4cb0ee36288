#pragma once
// Drives a core over a feed as the shell does: deadlines fire at their time, effects are performed after each
// turn, and a broker confirms at once what carries a notice's id.
#include <algorithm>
#include <memory>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "core/core.h"
#include "feed/reader.h"

namespace fw::testing {

struct Drive {
  const rig::Rig& rig;
  const Words& words;
  std::unique_ptr<core::Core> core = nullptr;  ///< from the first message on

  /// began(): when the core stands. perform(effects): what one turn brought.
  template <class Began, class Perform>
  void over(feed::Reader& reader, Began&& began, Perform&& perform) {
    const std::string root = "firnwatt/" + rig.name + "/";
    const auto settle = [&] {
      for (std::vector<Effect> effects = core->take_effects(); !effects.empty(); effects = core->take_effects()) {
        std::vector<std::string> sent;
        for (const Effect& e : effects)
          if (const auto* p = std::get_if<Publish>(&e); p && !p->notice_id.empty()) sent.push_back(p->notice_id);
        perform(effects);
        for (const std::string& id : sent) core->on_message({core->now().at, root + "sent", nlohmann::json{{"id", id}}.dump(), false});
      }
    };
    while (const auto m = reader.next()) {
      if (!core) {
        core = std::make_unique<core::Core>(rig, words, Now{m->at, utc_at(m->at, {}), true});
        core->restore({});
        core->on_message({m->at, root + "broker", R"({"connected":true,"why":""})", false});
        began();
      }
      while (core->now().at < m->at) {
        const auto due = core->next_deadline();
        if (!due || *due >= m->at) break;
        core->advance_to(std::max(*due, core->now().at + Span{1}));
        settle();
      }
      core->on_message(*m);
      settle();
    }
  }
};

}  // namespace fw::testing
