// firnwatt review: the account of a period from a journal.
#include <fstream>
#include <iostream>

#include "command.h"
#include "described.h"
#include "journal/reader.h"
#include "review/account.h"

namespace fw {
namespace {

struct ReviewAsked { std::string journal, format = "text", output; std::optional<std::string> from, to; };

int review_journal(const ReviewAsked& a) {
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
  review::Options options;
  if (!take_instant(a.from, "--from", *words, options.from) || !take_instant(a.to, "--to", *words, options.to)) return unusable;
  auto account = review::account(*journal, options);
  if (!account) {
    std::cerr << account.fault().text() << "\n";
    return unusable;
  }
  const std::string text = a.format == "html" ? review::html(*account) : a.format == "json" ? review::json(*account) : review::text(*account);
  if (a.output.empty()) {
    std::cout << text;
    if (!text.empty() && text.back() != '\n') std::cout << "\n";
    return fine;
  }
  std::ofstream out(a.output, std::ios::binary);
  out << text;
  out.close();
  if (!out) {
    std::cerr << a.output << ": cannot be written\n";
    return unusable;
  }
  return fine;
}

}  // namespace

void add_review(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("review", "The account of a period: where the energy went, what mattered most");
  auto a = std::make_shared<ReviewAsked>();
  c->add_option("JOURNAL", a->journal, "The journal file")->required();
  c->add_option("--from", a->from, "First instant (inclusive)");
  c->add_option("--to", a->to, "Last instant (exclusive)");
  c->add_option("--format", a->format, "text, html or json")->check(CLI::IsMember({"text", "html", "json"}))->capture_default_str();
  c->add_option("--output", a->output, "A file instead of standard output");
  c->callback([a, &todo] { todo = [a] { return review_journal(*a); }; });
}

}  // namespace fw
