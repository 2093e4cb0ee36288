#pragma once
// One line of a feed file <-> one message.
//   {"t":"2026-01-12T15:04:05Z","topic":"roof/front","payload":{"w":61.2},"retain":false}
// t is the arrival time (ISO 8601 with zone) and becomes the run's elapsed time. A payload that is a
// JSON string is the message's text as it came; any other payload is its JSON text as written.
// Bytes that are not UTF-8 cannot stand in JSON: such a payload is written with every malformed byte
// replaced, and whole beside it as "base64"; a reader that knows the key gets the bytes back.
#include <string>
#include <string_view>

#include "units/message.h"
#include "units/result.h"

namespace fw::feed {

/// Reads one line (without its newline). The Fault's `what` says what is wrong; `where` is empty.
Result<Message> line_in(std::string_view line);

/// The line for a message, without newline. `utc` stands for the arrival: m.at on the run's elapsed line.
std::string line_of(const Message& m);

}  // namespace fw::feed
