// firnwatt note, acknowledge, shelve: what the owner says, from the command line. It travels over the
// broker like the phone's words do, so that it is recorded and judged in one place.
#include <unistd.h>

#include <iostream>
#include <map>
#include <nlohmann/json.hpp>

#include "command.h"
#include "conversation.h"
#include "described.h"
#include "records/note.h"
#include "units/json.h"

namespace fw {
namespace {

using nlohmann::json;

struct OwnerWordsAsked {
  std::string config;
  std::vector<std::string> words;        // note
  std::string string, text;
  std::string key, by = "command line";  // acknowledge, shelve
  std::string span;                      // shelve
};

/// What stands at the broker for this rig, and the daemon's word.
class Desk {
 public:
  Desk(const rig::Rig& rig, mqtt::Settings settings) : root_(root_of(rig)) {
    settings.filters = {root_ + "alive", root_ + "alarms/+"};
    broker_ = std::make_unique<Conversation>(std::move(settings));
  }

  bool open() {
    if (!broker_->up(patience)) {
      std::cerr << broker_->why() << "\n";
      return false;
    }
    // Kept messages come at once; the daemon's sign of life is the last word wanted.
    broker_->listen(1s, [this](const Message& m) {
      take(m);
      return true;
    });
    return true;
  }

  void take(const Message& m) {
    if (m.topic == root_ + "alive") {
      const json j = json_in(m.payload);
      online_ = j.is_object() && j.contains("state") && j["state"] == "online";
    } else if (m.topic.starts_with(root_ + "alarms/")) {
      const std::string key = m.topic.substr(root_.size() + 7);
      if (m.payload.empty()) standing_.erase(key);
      else standing_[key] = json_in(m.payload);
    }
  }

  /// 0 when it is with the broker and a daemon is there to take it.
  int say(const std::string& below_root, const std::string& payload) {
    if (!broker_->delivered({.topic = root_ + below_root, .payload = payload}, patience)) {
      std::cerr << "the broker did not confirm it\n";
      return found_wrong;
    }
    if (!online_) {
      std::cerr << "said, but no firnwatt is running for this rig: nobody took it\n";
      return found_wrong;
    }
    std::cerr << "said to the running firnwatt\n";
    return fine;
  }

  bool urgent(const std::string& key) const {
    const auto it = standing_.find(key);
    return it != standing_.end() && word(it->second, "priority") == "urgent";
  }

  bool stands(const std::string& key) const {
    if (standing_.contains(key)) return true;
    std::cerr << "'" << key << "' is no alarm that stands now";
    if (standing_.empty()) std::cerr << "; none does\n";
    else {
      std::cerr << "; these do:\n";
      for (const auto& [k, j] : standing_) std::cerr << "  " << k << ": " << word(j, "text") << "\n";
    }
    return false;
  }

 private:
  static std::string word(const json& j, const char* name) {
    return j.is_object() && j.contains(name) && j[name].is_string() ? j[name].get<std::string>() : "";
  }

  std::string root_;
  std::unique_ptr<Conversation> broker_;
  bool online_ = false;
  std::map<std::string, json> standing_;
};

int with_desk(const std::string& config, const std::function<int(const Described&, Desk&)>& act) {
  const auto d = described(config, false);
  if (!d) return unusable;
  auto settings = broker_settings(d->rig, "owner-" + std::to_string(getpid()));
  if (!settings) {
    std::cerr << settings.fault().text() << "\n";
    return unusable;
  }
  mqtt::Library library;
  stop_on_signals();
  Desk desk(d->rig, std::move(*settings));
  if (!desk.open()) return signal_seen() ? 128 + signal_seen() : unusable;
  return act(*d, desk);
}

/// "panels_cleared [STRING] [TEXT...]" or free text.
int note(const OwnerWordsAsked& a) {
  return with_desk(a.config, [&](const Described& d, Desk& desk) -> int {
    std::vector<std::string> words = a.words;
    json j = json::object();
    if (const auto event = note_event_in(words.front()); event && *event != NoteEvent::text) {
      j["event"] = words.front();
      words.erase(words.begin());
      if (!words.empty())
        for (const rig::PvString& s : d.rig.strings)
          if (s.name == words.front()) j["string"] = s.name;
      if (j.contains("string")) words.erase(words.begin());
      if ((*event == NoteEvent::string_off || *event == NoteEvent::string_on) && !j.contains("string") && d.rig.strings.size() > 1) {
        std::cerr << a.words.front() << " wants the string's name:";
        for (const rig::PvString& s : d.rig.strings) std::cerr << " " << s.name;
        std::cerr << "\n";
        return unusable;
      }
    }
    std::string text;
    for (const std::string& w : words) text += (text.empty() ? "" : " ") + w;
    if (!text.empty()) j["text"] = text;
    return desk.say("notes", json_text(j));
  });
}

int acknowledge(const OwnerWordsAsked& a) {
  return with_desk(a.config, [&](const Described&, Desk& desk) -> int {
    if (!desk.stands(a.key)) return found_wrong;
    return desk.say("alarms/" + a.key + "/acknowledge", json_text(json{{"by", a.by}}));
  });
}

/// "8" are hours; "30 min", "2h" and "3d" say their unit.
std::optional<double> hours_in(const std::string& text) {
  const bool bare = text.find_first_not_of("0123456789.") == std::string::npos;
  const auto span = span_in(bare ? text + "h" : text);
  return span ? std::optional{hours_of(*span)} : std::nullopt;
}

int shelve(const OwnerWordsAsked& a) {
  const auto hours = hours_in(a.span);
  if (!hours || *hours < 0.01 || *hours > 168) {
    std::cerr << "'" << a.span << "' is not a time to shelve an alarm for: hours up to 168, or for example 30min, 2h, 3d\n";
    return unusable;
  }
  return with_desk(a.config, [&](const Described&, Desk& desk) -> int {
    if (!desk.stands(a.key)) return found_wrong;
    if (desk.urgent(a.key) && *hours > 24) {
      std::cerr << "an urgent alarm is shelved for 24 hours at most\n";
      return unusable;
    }
    return desk.say("alarms/" + a.key + "/shelve", json_text(json{{"hours", *hours}}));
  });
}

}  // namespace

void add_owner_words(CLI::App& app, Todo& todo) {
  auto a = std::make_shared<OwnerWordsAsked>();
  auto* n = app.add_subcommand("note", "Tell firnwatt what you did or saw");
  n->add_option("CONFIG", a->config, "The rig")->required();
  n->add_option("WORDS", a->words,
                "An event (panels_cleared, string_off, string_on, rig_moved, rig_turned, away, back, shore_on, shore_off), then the "
                "string's name where it concerns one, then free text; or free text only")
      ->required();
  n->callback([a, &todo] { todo = [a] { return note(*a); }; });

  auto* k = app.add_subcommand("acknowledge", "Say 'seen' to an alarm; not a claim that it is repaired");
  k->add_option("CONFIG", a->config, "The rig")->required();
  k->add_option("ALARM", a->key, "The alarm's key, as on its topic: snow-fore")->required();
  k->add_option("--by", a->by, "Who says so")->capture_default_str();
  k->callback([a, &todo] { todo = [a] { return acknowledge(*a); }; });

  auto* s = app.add_subcommand("shelve", "Hide an alarm for some hours; it is still judged and journalled");
  s->add_option("CONFIG", a->config, "The rig")->required();
  s->add_option("ALARM", a->key, "The alarm's key, as on its topic: snow-fore")->required();
  s->add_option("HOURS", a->span, "For how long: hours, or 30min, 2h, 3d; up to 7 days, an urgent one 24 hours")->required();
  s->callback([a, &todo] { todo = [a] { return shelve(*a); }; });
}

}  // namespace fw
