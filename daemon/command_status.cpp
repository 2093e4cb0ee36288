// firnwatt status: how the rig stands, from the journal; works with the broker down.
#include <iostream>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "clocks.h"
#include "command.h"
#include "described.h"
#include "journal/reader.h"
#include "units/json.h"
#include "units/text.h"

namespace fw {
namespace {

/// Each sentence once, where it stands first.
class Said {
 public:
  /// What of a line has not been said yet.
  std::string rest_of(const std::string& line) {
    std::string rest;
    for (std::size_t from = 0; from < line.size();) {
      const auto stop = line.find(". ", from);
      const std::size_t end = stop == std::string::npos ? line.size() : stop + 1;
      std::string sentence = line.substr(from, end - from);
      if (said_.insert(sentence).second) rest += (rest.empty() ? "" : " ") + sentence;
      from = end + 1;
    }
    return rest;
  }
  void print(const std::string& heading, const nlohmann::json& list) {
    if (!list.is_array()) return;
    std::string text;
    for (const auto& line : list)
      if (line.is_string())
        if (const std::string rest = rest_of(line.get<std::string>()); !rest.empty()) text += "  " + rest + "\n";
    if (!text.empty()) std::cout << heading << "\n" << text;
  }

 private:
  std::set<std::string> said_;
};

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
  std::string summary;
  if (j.contains("summary") && j["summary"].is_string()) summary = j["summary"].get<std::string>();
  Said said;
  std::istringstream lines(summary);
  for (std::string line; std::getline(lines, line);)
    if (const std::string rest = said.rest_of(line); !rest.empty()) std::cout << rest << "\n";
  for (const auto& [heading, key] : {std::pair{"Alarms", "alarms"}, {"Charge guard", "guard"}, {"Ahead", "outlook"}, {"Learned", "learned"}})
    said.print(heading, j.value(key, nlohmann::json::array()));
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
