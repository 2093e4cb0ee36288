// firnwatt review: the account of a period from a journal.
#include <fstream>
#include <iostream>

#include "asked_journal.h"
#include "command.h"
#include "review/account.h"

namespace fw {
namespace {

struct ReviewAsked { std::string journal, format = "text", output; std::optional<std::string> from, to; };

int review_journal(const ReviewAsked& a) {
  const auto asked = asked_journal(a.journal, a.from, a.to);
  if (!asked) return unusable;
  auto account = review::account(asked->reader, {asked->from, asked->to});
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
  c->add_option("--from", a->from, "First day or instant, local to the rig: 2026-01-12, 2026-01-12T08:00");
  c->add_option("--to", a->to, "The day or instant before which the period ends");
  c->add_option("--format", a->format, "text, html or json")->check(CLI::IsMember({"text", "html", "json"}))->capture_default_str();
  c->add_option("--output", a->output, "A file instead of standard output");
  c->callback([a, &todo] { todo = [a] { return review_journal(*a); }; });
}

}  // namespace fw
