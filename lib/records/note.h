#pragma once
// What the owner says, from the phone or the command line.
#include <optional>
#include <string>
#include <string_view>

#include "units/time.h"

namespace fw {

enum class NoteEvent { text, panels_cleared, string_off, string_on, rig_moved, rig_turned, away, back, shore_on, shore_off };
std::string_view name(NoteEvent e);
std::optional<NoteEvent> note_event_in(std::string_view text);

struct Note {
  Elapsed at{};
  Utc utc{};
  NoteEvent event = NoteEvent::text;
  std::optional<int> string;  ///< index; none: all
  std::string text;
};

}  // namespace fw
