// firnwatt export: one table of a journal as CSV.
#include <iostream>

#include "command.h"
#include "described.h"
#include "journal/reader.h"

namespace fw {
namespace {

struct Asked { std::string journal, table; std::optional<std::string> from, to; };

int export_table(const Asked& a) {
  auto journal = journal::Reader::open(a.journal);
  if (!journal) {
    std::cerr << journal.fault().text() << "\n";
    return unusable;
  }
  const auto words = Words::in_zone(journal->about().timezone, false);
  if (!words) {
    std::cerr << words.fault().text() << "\n";
    return unusable;
  }
  const auto instant = [&](const std::optional<std::string>& text, const char* option, std::optional<Utc>& into) {
    if (!text) return true;
    into = instant_in(*text, *words);
    if (!into) std::cerr << option << ": '" << *text << "' is no time; write 2026-01-12 or 2026-01-12T08:00 (local to the rig) or with a zone\n";
    return into.has_value();
  };
  std::optional<Utc> from, to;
  if (!instant(a.from, "--from", from) || !instant(a.to, "--to", to)) return unusable;
  if (auto done = journal->export_table(a.table, from, to, std::cout); !done) {
    std::cerr << done.fault().text() << "\n";
    return unusable;
  }
  return fine;
}

}  // namespace

void add_export(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("export", "A table of a journal as CSV on standard output");
  auto a = std::make_shared<Asked>();
  c->add_option("JOURNAL", a->journal, "The journal file")->required();
  c->add_option("TABLE", a->table, "verdicts, alarms, commands, bank, advice or energy; also notes, notices, events")->required();
  c->add_option("--from", a->from, "First instant (inclusive)");
  c->add_option("--to", a->to, "Last instant (exclusive)");
  c->callback([a, &todo] { todo = [a] { return export_table(*a); }; });
}

}  // namespace fw
