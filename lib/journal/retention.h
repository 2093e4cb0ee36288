#pragma once
// How the journal ages: minutes into five-minute rows and sums by day; under a size limit the finest
// and oldest goes first. Each call does one bounded piece in one transaction.
#include "journal/database.h"

namespace fw::journal {

enum class Aged { nothing, piece, failed };

/// Takes up to a day of minutes that lie before the UTC day of `before_minute`, or more than a day after
/// `now_minute` (a clock that was wrong), into five-minute rows and day sums.
Aged age_minutes(Database& db, std::int64_t before_minute, std::int64_t now_minute);

/// Gives up the oldest piece of the finest rows there are: minutes older than two days age early, then
/// five-minute rows go (day sums stay), then verdict changes.
Aged make_room(Database& db, std::int64_t now_minute);

/// Bytes of the file that hold something.
std::int64_t used_bytes(Database& db);

}  // namespace fw::journal
