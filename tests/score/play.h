#pragma once
// Plays a feed through intake, window and diagnosis, minute by minute. Test only.
#include <functional>
#include <memory>
#include <nlohmann/json.hpp>

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

/// What the owner says of a string on the rig's own topic for notes.
inline std::optional<Note> note_in(const Message& m, const rig::Rig& rig) {
  if (m.topic != "firnwatt/" + rig.name + "/notes" || m.retain) return {};
  const auto j = nlohmann::json::parse(m.payload, nullptr, false);
  if (!j.is_object() || !j.contains("event")) return {};
  const auto event = note_event_in(j["event"].get<std::string>());
  if (!event) return {};
  Note n;
  n.at = m.at;
  n.utc = utc_at(m.at, Span{0});
  n.event = *event;
  for (std::size_t i = 0; i < rig.strings.size(); ++i)
    if (j.value("string", "") == rig.strings[i].name) n.string = static_cast<int>(i);
  return n;
}

/// Calls `each` after every closed minute, `amend` before it is judged. Returns the number of messages.
inline long play(feed::Reader& reader, const rig::Rig& rig, diagnosis::Diagnosis& diagnosis, const std::function<void(const Played&)>& each,
                 const std::function<void(RigMinute&)>& amend = {}) {
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
      if (amend) amend(minute);
      const auto verdicts = diagnosis.on_minute(minute);
      each({minute, verdicts, diagnosis});
      *next += minutes{1};
    }
    if (const auto note = note_in(*m, rig)) diagnosis.on_note(*note);
    const auto taken = intake.take(*m, {m->at, utc_at(m->at, Span{0}), true});
    for (const Reading& r : taken.readings) window.on_reading(r);
    if (taken.forecast) forecast = taken.forecast;
  }
  return messages;
}

}  // namespace fw::score
