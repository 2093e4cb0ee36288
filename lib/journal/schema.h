#pragma once
// The tables of a journal file, and how an older file becomes a present one.
#include <string>
#include <string_view>
#include <vector>

#include "journal/database.h"

namespace fw::journal {

/// Marks the file as firnwatt's: PRAGMA application_id.
inline constexpr std::int64_t application_id = 0x46574a31;

/// Step n takes a file of version n to version n+1. Version 0 is an empty file.
const std::vector<std::string>& schema_steps();

/// PRAGMA user_version of a file that all steps have made.
inline std::int64_t schema_version() { return static_cast<std::int64_t>(schema_steps().size()); }

enum class Origin { empty, ours, newer, foreign, unreadable };

/// What the open file is. `unreadable`: the database's trouble() says why.
Origin origin_of(Database& db, std::int64_t present_version = schema_version());

/// Takes the file forward, all in one transaction: a step that fails leaves the file as it was.
bool migrate(Database& db, const std::vector<std::string>& steps = schema_steps());

}  // namespace fw::journal
