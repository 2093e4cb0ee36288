// firnwatt check: the rig as understood, what is missing for which ability, and what today looks like.
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>

#include "alarms/builtin.h"
#include "alarms/rules.h"
#include "clear_day.h"
#include "clocks.h"
#include "command.h"
#include "config/understood.h"
#include "guard/wire.h"
#include "journal/reader.h"
#include "units/json.h"
#include "tested.h"

namespace fw {
namespace {

constexpr double air_assumed_c = 0;

int check(const std::string& config) {
  const auto d = described(config);
  if (!d) return unusable;
  const rig::Rig& rig = d->rig;
  for (const std::string& line : config::understood(rig)) std::cout << line << "\n";

  std::cout << "\nBuilt-in alarms\n";
  for (const alarms::BuiltIn& b : alarms::built_in_alarms()) std::cout << "  " << alarms::alarm_sentence(b, rig, d->words) << "\n";
  if (!rig.rules.empty()) {
    std::cout << "\nOwner's alarms\n";
    for (const rig::Rule& r : rig.rules) std::cout << "  " << alarms::rule_sentence(r, d->words) << "\n";
  }

  if (!rig.chargers.empty()) {
    // The journal knows when `try` was last run; without one nothing was.
    std::map<std::string, Utc> tested;
    if (auto journal = journal::Reader::open(journal_path(rig, config)))
      if (auto notes = journal->notes({})) tested = tests_in(*notes);
    std::cout << "\nChargers put to the test\n";
    for (const rig::Charger& c : rig.chargers) {
      const auto when = tested.find(c.name);
      std::cout << "  " << c.name << ": "
                << (!guard::may_obey(c) ? std::string("nothing to test, it cannot be stopped")
                    : when == tested.end() ? "never; firnwatt try " + config + " charger " + c.name : d->words.date_clock(when->second)) << "\n";
    }
  }

  const ClearDay today = clear_day(*d, wall_time(), 5min, air_assumed_c);
  std::cout << "\nToday, " << d->words.local_date(today.from) << "\n  " << sun_sentence(today, d->words) << ".\n";
  for (std::size_t i = 0; i < rig.strings.size(); ++i)
    std::cout << "  " << rig.strings[i].name << ": " << Words::energy(today.strings[i].energy_wh / 1000) << " under a clear sky at "
              << d->words.temperature(air_assumed_c) << ".\n";
  if (auto journal = journal::Reader::open(journal_path(rig, config))) {
    const auto status = json_in(journal->snapshot("status").value_or(""));
    if (status.is_object() && status.contains("learned") && status["learned"].is_array() && !status["learned"].empty()) {
      std::cout << "\nLearned so far\n";
      for (const auto& line : status["learned"])
        if (line.is_string()) std::cout << "  " << line.get<std::string>() << "\n";
    }
  }
  return fine;
}

}  // namespace

void add_check(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("check", "Validate a config; print the rig as understood, and what is missing for which ability");
  auto config = std::make_shared<std::string>();
  c->add_option("CONFIG", *config, "The rig")->required();
  c->footer("Every mistake is reported at once, each as file:line:column: path: what is wrong and what would be right.");
  c->callback([config, &todo] { todo = [config] { return check(*config); }; });
}

}  // namespace fw
