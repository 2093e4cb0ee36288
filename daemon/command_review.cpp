// firnwatt review: the account of a period from a journal.
#include <filesystem>
#include <fstream>
#include <iostream>

#include "asked_journal.h"
#include "command.h"
#include "review/account.h"

namespace fw {
namespace {

struct ReviewAsked { std::string journal, format, output; std::optional<std::string> from, to; };

/// As asked, else as the file's name says.
std::string format_of(const ReviewAsked& a) {
  if (!a.format.empty()) return a.format;
  const std::string ending = std::filesystem::path(a.output).extension().string();
  return ending == ".html" || ending == ".htm" ? "html" : ending == ".json" ? "json" : "text";
}

int review_journal(const ReviewAsked& a) {
  std::error_code none;
  if (!a.output.empty() && std::filesystem::equivalent(a.journal, a.output, none)) {
    std::cerr << a.output << ": this is the journal itself; name another file\n";
    return unusable;
  }
  const auto asked = asked_journal(a.journal, a.from, a.to);
  if (!asked) return unusable;
  auto account = review::account(asked->reader, {asked->from, asked->to});
  if (!account) {
    std::cerr << account.fault().text() << "\n";
    return unusable;
  }
  const std::string format = format_of(a);
  const std::string text = format == "html" ? review::html(*account) : format == "json" ? review::json(*account) : review::text(*account);
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
  c->add_option("--format", a->format, "text, html or json; without it as the output's name ends, else text")->check(CLI::IsMember({"text", "html", "json"}));
  c->add_option("--output", a->output, "A file instead of standard output");
  c->callback([a, &todo] { todo = [a] { return review_journal(*a); }; });
}

}  // namespace fw
