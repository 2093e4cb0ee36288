// firnwatt export: one table of a journal as CSV.
#include <iostream>

#include "asked_journal.h"
#include "command.h"

namespace fw {
namespace {

struct ExportAsked { std::string journal, table; std::optional<std::string> from, to; };

int export_table(const ExportAsked& a) {
  const auto asked = asked_journal(a.journal, a.from, a.to);
  if (!asked) return unusable;
  if (auto done = asked->reader.export_table(a.table, asked->from, asked->to, std::cout); !done) {
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
  c->add_option("--from", a->from, "First day or instant, local to the rig: 2026-01-12, 2026-01-12T08:00");
  c->add_option("--to", a->to, "The day or instant before which the period ends");
  c->callback([a, &todo] { todo = [a] { return export_table(*a); }; });
}

}  // namespace fw
