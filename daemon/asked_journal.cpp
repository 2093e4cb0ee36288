#include "asked_journal.h"

#include <iostream>

#include "described.h"
#include "units/text.h"

namespace fw {

std::optional<AskedJournal> asked_journal(const std::string& path, const std::optional<std::string>& from, const std::optional<std::string>& to) {
  auto reader = journal::Reader::open_whole(path);
  if (!reader) {
    std::cerr << reader.fault().text() << "\n";
    return std::nullopt;
  }
  if (!reader->remark().empty()) std::cerr << path << ": " << reader->remark() << "\n";
  const std::string zone = reader->about().timezone;
  auto words = Words::in_zone(zone, false);
  if (!words) {
    std::cerr << path << ": its time zone '" << zone << "' is not known here; days and times are UTC\n";
    words = Words::in_zone("UTC", false);
  }
  AskedJournal asked{std::move(reader).value(), std::nullopt, std::nullopt};
  const auto take = [&](const std::optional<std::string>& text, const char* option, std::optional<Utc>& into) {
    if (!text) return true;
    into = words ? instant_in(*text, *words) : utc_in(*text);
    if (!into) std::cerr << option << ": '" << *text << "' is no time; write 2026-01-12 or 2026-01-12T08:00 (local to the rig) or with a zone\n";
    return into.has_value();
  };
  if (!take(from, "--from", asked.from) || !take(to, "--to", asked.to)) return std::nullopt;
  if (asked.from && asked.to && *asked.from >= *asked.to) {
    std::cerr << "the period is empty: --from " << *from << " is not before --to " << *to << "\n";
    return std::nullopt;
  }
  if (asked.from || asked.to) {
    const auto held = asked.reader.span();
    if (!held) std::cerr << path << ": the journal holds no samples yet\n";
    else if (words && ((asked.from && *asked.from >= held->second) || (asked.to && *asked.to <= held->first)))
      std::cerr << "nothing was recorded in this period; the journal holds " << words->local_date(held->first) << " to "
                << words->local_date(held->second - Span{1}) << "\n";
  }
  return asked;
}

}  // namespace fw
