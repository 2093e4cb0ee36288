#pragma once
// Plays a feed through intake, window and diagnosis, minute by minute. Test only.
#include <functional>
#include <memory>

#include "diagnosis/diagnosis.h"
#include "feed/reader.h"
#include "intake/intake.h"
#include "rig/rig.h"
#include "window/window.h"
#include "words/words.h"

namespace fw::score {

struct Played {
  const RigMinute& minute;
  const std::vector<Verdict>& verdicts;
  diagnosis::Diagnosis& diagnosis;
};

/// Calls `each` after every closed minute. Returns the number of messages.
inline long play(feed::Reader& reader, const rig::Rig& rig, diagnosis::Diagnosis& diagnosis,
                 const std::function<void(const Played&)>& each) {
  intake::Intake intake(rig);
  window::Window window(rig);
  std::optional<Forecast> forecast;
  std::optional<Elapsed> next;
  long messages = 0;
  while (const auto m = reader.next()) {
    ++messages;
    if (!next) next = floor_to(m->at, minutes{1}) + minutes{1};
    while (*next <= m->at) {
      RigMinute minute = window.close_minute({*next, utc_at(*next, Span{0}), true});
      minute.forecast = forecast ? &*forecast : nullptr;
      const auto verdicts = diagnosis.on_minute(minute);
      each({minute, verdicts, diagnosis});
      *next += minutes{1};
    }
    const auto taken = intake.take(*m, {m->at, utc_at(m->at, Span{0}), true});
    for (const Reading& r : taken.readings) window.on_reading(r);
    if (taken.forecast) forecast = taken.forecast;
  }
  return messages;
}

}  // namespace fw::score
