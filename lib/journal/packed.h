#pragma once
// Long snapshots are kept packed, as text that any tool can still read out of the file: they are written every
// hour, and a card counts its writes.
#include <optional>
#include <string>
#include <string_view>

namespace fw::journal {

/// "packed:", the length, a colon, and the deflated text (RFC 1950) in base64 (RFC 4648); a short text, or one that gains nothing, as it is.
std::string packed(std::string_view text);
/// What packed() was given. Nothing when it is damaged or would come to over 16 MB; other text as it is.
std::optional<std::string> unpacked(std::string_view text);

}  // namespace fw::journal
