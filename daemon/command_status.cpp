// firnwatt status: how the rig stands, from the journal; works with the broker down.
#include <iostream>
#include <nlohmann/json.hpp>

#include "clocks.h"
#include "command.h"
#include "described.h"
#include "journal/reader.h"
#include "units/json.h"
#include "units/text.h"

namespace fw {
namespace {

void print(const std::string& heading, const nlohmann::json& list) {
  if (!list.is_array() || list.empty()) return;
  std::cout << heading << "\n";
  for (const auto& line : list)
    if (line.is_string()) std::cout << "  " << line.get<std::string>() << "\n";
}

int status(const std::string& config) {
  const auto d = described(config, false);
  if (!d) return unusable;
  const std::string path = journal_path(d->rig, config);
  auto journal = journal::Reader::open(path);
  if (!journal) {
    std::cerr << journal.fault().text() << "\n";
    return unusable;
  }
  const auto snapshot = journal->snapshot("status");
  const auto j = json_in(snapshot.value_or(""));
  if (!j.is_object() || !j.contains("utc") || !j["utc"].is_string()) {
    std::cerr << path << ": nothing has been judged yet; the first status comes some minutes after the start\n";
    return found_wrong;
  }
  const auto at = utc_in(j["utc"].get<std::string>());
  const Utc now = wall_time();
  std::cout << d->rig.name << ", as of " << (at ? d->words.when(*at, now) : j["utc"].get<std::string>());
  // The daemon renews it every five minutes and writes it with the batch.
  const Span age = at ? now - *at : Span{};
  if (age > 1min) std::cout << " (" << Words::span(age) << " ago)";
  std::cout << "\n";
  if (j.contains("summary") && j["summary"].is_string()) std::cout << j["summary"].get<std::string>() << "\n";
  print("Alarms", j.value("alarms", nlohmann::json::array()));
  print("Charge guard", j.value("guard", nlohmann::json::array()));
  print("Ahead", j.value("outlook", nlohmann::json::array()));
  print("Learned", j.value("learned", nlohmann::json::array()));
  if (age > d->rig.journal.batch + 10min) {
    std::cerr << "This is old: is firnwatt running for this rig?\n";
    return found_wrong;
  }
  return fine;
}

}  // namespace

void add_status(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("status", "How the rig stands, from the journal; says its age");
  auto config = std::make_shared<std::string>();
  c->add_option("CONFIG", *config, "The rig")->required();
  c->callback([config, &todo] { todo = [config] { return status(*config); }; });
}

}  // namespace fw
