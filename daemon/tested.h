#pragma once
// When chargers were last put to the test with `try`: written as a note, found again in the journal.
#include <map>
#include <string>
#include <vector>

#include "records/rows.h"

namespace fw {

/// "charger roof-fore tested: reacted"
std::string test_note(const std::string& charger, const std::string& outcome);
/// Charger name to the time of its last test.
std::map<std::string, Utc> tests_in(const std::vector<NoteRow>& notes);

}  // namespace fw
