#pragma once
// A journal and a period of it, as the reading commands are asked for them.
#include <optional>
#include <string>

#include "journal/reader.h"

namespace fw {

struct AskedJournal {
  journal::Reader reader;
  std::optional<Utc> from, to;   ///< in order
};

/// from, to: as written, local to the journal's rig (UTC, said on stderr, where its zone is not known here). Nothing, with a
/// word on stderr, when the journal or the period is unusable. A period outside what the journal holds gets a word, too.
std::optional<AskedJournal> asked_journal(const std::string& path, const std::optional<std::string>& from, const std::optional<std::string>& to);

}  // namespace fw
