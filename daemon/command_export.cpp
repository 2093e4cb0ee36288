// firnwatt export: one table of a journal as CSV.
#include <iostream>

#include "command.h"
#include "described.h"
#include "journal/reader.h"

namespace fw {
namespace {

struct ExportAsked { std::string journal, table; std::optional<std::string> from, to; };

int export_table(const ExportAsked& a) {
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
  std::optional<Utc> from, to;
  if (!take_instant(a.from, "--from", *words, from) || !take_instant(a.to, "--to", *words, to)) return unusable;
  if (auto done = journal->export_table(a.table, from, to, std::cout); !done) {
    std::cerr << done.fault().text() << "\n";
    return unusable;
  }
  return fine;
}

}  // namespace

void add_export(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("export", "A table of a journal as CSV on standard output");
  auto a = std::make_shared<ExportAsked>();
  c->add_option("JOURNAL", a->journal, "The journal file")->required();
  c->add_option("TABLE", a->table, "verdicts, alarms, commands, bank, advice or energy; also notes, notices, events")->required();
  c->add_option("--from", a->from, "First instant (inclusive)");
  c->add_option("--to", a->to, "Last instant (exclusive)");
  c->callback([a, &todo] { todo = [a] { return export_table(*a); }; });
}

}  // namespace fw
