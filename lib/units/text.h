#pragma once
// Numbers and instants as text, without locale, the same bytes everywhere.
#include <optional>
#include <string>
#include <string_view>

#include "units/time.h"

namespace fw {

/// value with exactly `decimals` digits after the point (0..9); "-0.00" prints as "0.00".
/// NaN and infinity give "".
std::string fixed(double value, int decimals);

/// Like fixed(), an absent value gives "".
std::string fixed(std::optional<double> value, int decimals);

/// value to `digits` significant digits in plain notation ("0.31", "3.1", "310"); for people.
std::string significant(double value, int digits = 2);

/// A whole text as a finite number ("12", "-0.5", "1e3", leading '+' and outer blanks allowed);
/// anything else, NaN and infinity included, gives nothing.
std::optional<double> number_in(std::string_view text);

/// ISO 8601 UTC: "2026-01-12T15:04:05Z", with ".123" when milliseconds are not zero.
std::string iso_utc(Utc t);

/// Reads ISO 8601 with 'T' or blank, seconds and fraction optional, zone "Z" or "+hh:mm" / "-hhmm" required.
std::optional<Utc> utc_in(std::string_view text);

/// True when every byte sequence is well-formed UTF-8 (RFC 3629).
bool is_utf8(std::string_view text);

/// The text with every malformed byte replaced by '?', cut to `limit` bytes at a character border.
std::string printable(std::string_view text, std::size_t limit = 200);

}  // namespace fw
