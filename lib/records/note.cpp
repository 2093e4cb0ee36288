#include "records/note.h"

#include <array>

namespace fw {

namespace {
constexpr std::array<std::string_view, 10> event_names{"text",       "panels_cleared", "string_off", "string_on", "rig_moved",
                                                       "rig_turned", "away",           "back",       "shore_on",  "shore_off"};
}

std::string_view name(NoteEvent e) { return event_names[static_cast<std::size_t>(e)]; }

std::optional<NoteEvent> note_event_in(std::string_view text) {
  for (std::size_t i = 0; i < event_names.size(); ++i)
    if (event_names[i] == text) return static_cast<NoteEvent>(i);
  return std::nullopt;
}

}  // namespace fw
