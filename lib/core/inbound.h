#pragma once
// What comes in on our own topics, below firnwatt/<rig>/: the owner's words from the phone or the
// command line, and what the shell reports. Everything is checked for size, form and rate here;
// nothing of it can widen a charge permit.
//
// From the owner:  alarms/<key>/acknowledge {"by"}, alarms/<key>/shelve {"hours"}, notices/seen {"id"},
//                  ask, notes (text, or {"event","string","text"})
// From the bridge: link ("1" or "0")
// From the shell:  clock {"offset_ms","trusted"}, broker {"connected","why","id_taken"}, sent {"id"},
//                  journal {"trouble": text or null}
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "records/note.h"
#include "units/message.h"
#include "units/result.h"
#include "units/time.h"

namespace fw::core {

struct ClockSet { Span offset{}; bool trusted = true; };
struct BrokerState { bool connected = false; bool id_taken = false; std::string why; };
struct LinkState { bool up = false; };
struct NoticeSent { std::string id; };
struct NoticeSeen { std::string id; };
struct JournalState { std::optional<std::string> trouble; };
struct Acknowledge { std::string key, by; };
struct Shelve { std::string key; double hours = 0; };
struct Ask {};
struct Said { NoteEvent event = NoteEvent::text; std::optional<std::string> string; std::string text; };
struct Ours {};  ///< our own publication coming back, nothing to do

using Inbox = std::variant<ClockSet, BrokerState, LinkState, NoticeSent, NoticeSeen, JournalState, Acknowledge, Shelve, Ask, Said, Ours>;

inline constexpr std::size_t inbound_limit_bytes = 4096;
inline constexpr int inbound_per_minute = 60;  ///< of the owner's; the shell's own are not counted

class Inbound {
 public:
  /// `topic` is below the root. Retained messages of the owner's are refused (the bridge's link is kept by design).
  Result<Inbox> read(std::string_view topic, const Message& message);

  /// Topic filters below the root that a client has to subscribe to.
  static std::vector<std::string> filters();

 private:
  Elapsed minute_{};
  int in_minute_ = 0;
};

}  // namespace fw::core
