// firnwatt try: the proof that the phone, a charger or a heater really reacts.
#include <unistd.h>

#include <algorithm>
#include <iostream>
#include <nlohmann/json.hpp>
#include <set>

#include "command.h"
#include "conversation.h"
#include "described.h"
#include "guard/wire.h"
#include "intake/intake.h"
#include "tested.h"
#include "units/json.h"
#include "units/text.h"

namespace fw {
namespace {

using nlohmann::json;

struct TryAsked { std::string config, what, name; bool yes = false; };

constexpr Span test_lasts = 30s;
constexpr Span repeat = 5s;           // a running daemon would renew a permit in between
constexpr Span restored_within = 60s;

/// A question on the terminal; without one only --yes counts.
bool agreed(const std::string& question, bool yes) {
  if (yes) return true;
  if (!isatty(0)) {
    std::cerr << question << "\nNobody is there to ask; say --yes to agree.\n";
    return false;
  }
  std::cerr << question << " [y/N] " << std::flush;
  std::string answer;
  std::getline(std::cin, answer);
  return answer == "y" || answer == "Y" || answer == "yes";
}

int try_notice(const Described& d, Conversation& broker) {
  const std::string root = root_of(d.rig);
  const Utc now = wall_time();
  const std::string id = "try-" + std::to_string(ms_of(now));
  const std::string text = "Test message from firnwatt, rig " + d.rig.name + ", sent at " + d.words.clock_exact(now) + ". Nothing to do.";
  const json j = {{"id", id}, {"utc", iso_utc(now)}, {"priority", "high"}, {"alarm", "test"}, {"subject", "rig"}, {"text", text}};
  if (!broker.delivered({.topic = root + "notices", .payload = json_text(j)}, patience) ||
      !broker.delivered({.topic = root + "notices/text", .payload = text}, patience)) {
    std::cerr << "the broker did not confirm the message\n";
    return found_wrong;
  }
  std::cout << "The rig's broker has the message: " << text << "\n";
  bool seen = false, link_known = false, link_up = true;
  const Span wait = d.rig.phone.seen_required ? 30s : d.rig.phone.bridge_link ? 2s : 0s;
  if (d.rig.phone.seen_required) std::cerr << "waiting for the phone side to confirm it ...\n";
  broker.listen(wait, [&](const Message& m) {
    if (m.topic == root + "link") {
      link_known = true;
      link_up = m.payload == "1";
    }
    if (m.topic == root + "notices/seen" && !m.retain) {
      const json s = json_in(m.payload);
      seen = seen || (s.is_object() && s.contains("id") && s["id"] == id);
    }
    return !seen;
  });
  if (d.rig.phone.seen_required) {
    std::cout << (seen ? "The phone side has confirmed it.\n" : "The phone side did not confirm it within 30 s.\n");
    return seen ? fine : found_wrong;
  }
  if (d.rig.phone.bridge_link && (!link_known || !link_up)) {
    std::cout << (link_known ? "The bridge is down: it goes out when the link is back.\n" : "The bridge has not reported on its link.\n");
    return found_wrong;
  }
  std::cout << "Look at the phone.\n";
  return fine;
}

/// What a charger or heater says of itself during a test, as it changes.
class Readback {
 public:
  Readback(const Described& d, std::vector<Channel> wanted) : d_(d), intake_(d.rig), wanted_(wanted.begin(), wanted.end()) {}

  void take(const Message& m) {
    const Now now{m.at, utc_at(m.at, {}), true};
    for (const Reading& r : intake_.take(m, now).readings) {
      if (!wanted_.contains(r.channel) || !r.value || r.retained) continue;
      auto& last = last_[r.channel];
      if (last && std::abs(*last - *r.value) < 0.05) continue;
      if (!first_.contains(r.channel)) first_[r.channel] = *r.value;
      last = r.value;
      std::cout << "  " << d_.words.clock_exact(now.utc) << "  " << name(r.channel.quantity) << " " << fixed(*r.value, 1) << "\n" << std::flush;
    }
  }

  bool any() const { return !last_.empty(); }
  std::optional<double> last(Channel c) const {
    const auto it = last_.find(c);
    return it == last_.end() ? std::nullopt : it->second;
  }
  std::optional<double> first(Channel c) const {
    const auto it = first_.find(c);
    return it == first_.end() ? std::nullopt : std::optional{it->second};
  }

 private:
  const Described& d_;
  intake::Intake intake_;
  std::set<Channel> wanted_;
  std::map<Channel, std::optional<double>> last_;
  std::map<Channel, double> first_;
};

/// Has the charger followed? Nothing: it says nothing of itself.
std::optional<bool> followed(const rig::Rig& rig, int index, const Readback& seen) {
  if (const auto on = seen.last({Quantity::charger_on, index})) return *on < 0.5;
  if (const auto a = seen.last({Quantity::charger_limit, index})) return *a < 0.5;
  if (const auto a = seen.last({Quantity::charger_current, index})) return *a < 0.5;
  std::optional<bool> result;
  for (const int s : rig.chargers[static_cast<std::size_t>(index)].strings) {
    const auto stage = seen.last({Quantity::stage, s});
    const auto watts = seen.last({Quantity::string_power, s});
    if (!stage && !watts) continue;
    const bool stopped = (stage && (*stage == static_cast<double>(Stage::off) || *stage == static_cast<double>(Stage::inhibited))) || (watts && *watts < 5);
    result = result.value_or(true) && stopped;
  }
  return result;
}

mqtt::Outgoing outgoing(const Publish& p) { return {.topic = p.topic, .payload = p.payload, .qos = p.qos, .retain = p.retain, .expires_s = p.expires_s}; }

int try_charger(const Described& d, Conversation& broker, int index, bool yes) {
  const rig::Rig& rig = d.rig;
  const rig::Charger& c = rig.chargers[static_cast<std::size_t>(index)];
  const std::string root = root_of(rig), permit = guard::permit_topic(rig, c);
  std::cout << guard::can_be_stopped(c) << "\n";
  if (!guard::may_obey(c)) {
    std::cerr << "There is nothing to try: no word of firnwatt reaches it. Watch it yourself.\n";
    return found_wrong;
  }

  // Who permits now? Only a running daemon may restore a permit, never this test.
  bool running = false, permitted = false;
  std::vector<Channel> wanted{{Quantity::charger_on, index}, {Quantity::charger_limit, index}, {Quantity::charger_current, index}, {Quantity::bank_current, 0}};
  for (const int s : c.strings) wanted.insert(wanted.end(), {{Quantity::stage, s}, {Quantity::string_power, s}, {Quantity::output_current, s}});
  Readback before(d, wanted), seen(d, wanted);
  const auto look = [&](const Message& m, Readback& into) {
    const json j = json_in(m.payload);
    if (m.topic == root + "alive") running = j.is_object() && j.contains("state") && j["state"] == "online";
    else if (m.topic == permit) permitted = j.is_object() && j.contains("permit") && j["permit"] == true;
    else into.take(m);
  };
  std::cerr << "looking how it stands (up to 25 s) ...\n";
  if (!broker.listen(25s, [&](const Message& m) { look(m, before); return !(running && permitted && before.any()); })) return 128 + signal_seen();
  if (!running) std::cerr << "No firnwatt is running for this rig, so nobody would permit charging again: " << c.name << " stays withdrawn after the test.\n";
  else if (!permitted) {
    std::cerr << "Charging is held off now, so a test would show nothing. Try again when firnwatt status says it is permitted.\n";
    return found_wrong;
  }
  if (!agreed("Withdraw " + c.name + " for 30 s and watch what it does?", yes)) return found_wrong;

  std::vector<Publish> withdrawal = guard::no_for(rig, c, "test from the command line");
  if (const auto off = guard::off_for(c)) withdrawal.push_back(*off);
  const Span until = steady_time() + test_lasts;
  bool whole = true;
  std::cout << "Withdrawn:\n" << std::flush;
  while (whole && steady_time() < until) {
    for (const Publish& p : withdrawal) broker.publish(outgoing(p));
    whole = broker.listen(std::min<Span>(repeat, until - steady_time()), [&](const Message& m) { look(m, seen); return true; });
  }
  const auto stopped = followed(rig, index, seen);
  const std::string outcome = !stopped ? "said nothing of itself" : *stopped ? "stopped" : "went on";
  std::cout << c.name << " " << outcome << (stopped && !*stopped ? ": firnwatt cannot stop it this way" : "") << ".\n";
  if (running) broker.publish({.topic = root + "notes", .payload = json_text(json{{"text", test_note(c.name, outcome)}}), .qos = 1});

  if (running && whole) {
    std::cerr << "waiting for the guard to permit it again ...\n";
    permitted = false;
    whole = broker.listen(restored_within, [&](const Message& m) { look(m, seen); return !permitted; });
    std::cout << (permitted ? "The guard has permitted it again.\n" : "The guard has not permitted it again within a minute; see firnwatt status.\n");
    if (!permitted && whole) return found_wrong;
  }
  if (!whole) return 128 + signal_seen();
  return stopped.value_or(false) ? fine : found_wrong;
}

int try_heater(const Described& d, Conversation& broker, int index, bool yes) {
  const rig::Heater& h = d.rig.heaters[static_cast<std::size_t>(index)];
  if (!h.command.configured()) {
    std::cerr << h.name << " has no command topic; firnwatt cannot switch it\n";
    return found_wrong;
  }
  if (!agreed("Switch " + h.name + " on for 30 s" + (h.rated_w > 0 ? " (" + Words::watts(h.rated_w) + ")" : "") + ", then off?", yes)) return found_wrong;
  const Channel on{Quantity::heater_on, index};
  Readback seen(d, {on, {Quantity::bank_heater_on, 0}, {Quantity::bank_heater_power, 0}, {Quantity::load_power, 0}});
  const Span until = steady_time() + test_lasts;
  bool whole = true;
  std::cout << "On:\n" << std::flush;
  while (whole && steady_time() < until) {
    broker.publish(outgoing(guard::heat_on_for(h, 2 * repeat)));
    whole = broker.listen(std::min<Span>(repeat, until - steady_time()), [&](const Message& m) { seen.take(m); return true; });
  }
  const std::optional<double> state = seen.last(on);
  if (!broker.delivered(outgoing(guard::heat_off_for(h)), patience)) {
    std::cerr << "the broker did not confirm the off; see to " << h.name << " yourself\n";
    return found_wrong;
  }
  std::cout << "Off again.\n" << h.name << (!state ? " said nothing of itself.\n" : *state > 0.5 ? " came on.\n" : " stayed off.\n");
  if (!whole) return 128 + signal_seen();
  return state.value_or(0) > 0.5 ? fine : found_wrong;
}

template <class Things>
int index_of(const Things& things, const std::string& name, const char* kind) {
  for (std::size_t i = 0; i < things.size(); ++i)
    if (things[i].name == name) return static_cast<int>(i);
  std::cerr << "this rig has no " << kind << " '" << name << "'";
  if (!things.empty()) {
    std::cerr << "; it has";
    for (const auto& t : things) std::cerr << " " << t.name;
  }
  std::cerr << "\n";
  return -1;
}

int try_it(const TryAsked& a) {
  const auto d = described(a.config, false);
  if (!d) return unusable;
  int index = 0;
  if (a.what == "charger") index = index_of(d->rig.chargers, a.name, "charger");
  if (a.what == "heater") index = index_of(d->rig.heaters, a.name, "heater");
  if (index < 0) return unusable;
  auto settings = broker_settings(d->rig, "try-" + std::to_string(getpid()));
  if (!settings) {
    std::cerr << settings.fault().text() << "\n";
    return unusable;
  }
  const std::string root = root_of(d->rig);
  std::set<std::string> filters{root + "alive", root + "chargers/+/permit", root + "notices/seen", root + "link"};
  if (a.what != "notice")
    for (const rig::Source& s : d->rig.sources) filters.insert(s.topic);
  settings->filters.assign(filters.begin(), filters.end());
  mqtt::Library library;
  stop_on_signals();
  Conversation broker(*settings);
  if (!broker.up(patience)) {
    if (signal_seen()) return 128 + signal_seen();
    std::cerr << broker.why() << "\n";
    return unusable;
  }
  if (a.what == "notice") return try_notice(*d, broker);
  return a.what == "charger" ? try_charger(*d, broker, index, a.yes) : try_heater(*d, broker, index, a.yes);
}

}  // namespace

void add_try(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("try", "Prove that the phone, a charger or a heater really reacts");
  auto a = std::make_shared<TryAsked>();
  c->add_option("CONFIG", a->config, "The rig")->required();
  c->require_subcommand(1);
  const auto choose = [a, &todo](CLI::App* sub, const char* what) {
    sub->callback([a, what, &todo] {
      a->what = what;
      todo = [a] { return try_it(*a); };
    });
  };
  choose(c->add_subcommand("notice", "Send a test message to the phone"), "notice");
  auto* charger = c->add_subcommand("charger", "Withdraw a charger for 30 s after asking, read back, restore");
  charger->add_option("NAME", a->name, "The charger's name in the config")->required();
  charger->add_flag("--yes", a->yes, "Do not ask");
  choose(charger, "charger");
  auto* heater = c->add_subcommand("heater", "Switch a heater on for 30 s after asking, read back, off again");
  heater->add_option("NAME", a->name, "The heater's name in the config")->required();
  heater->add_flag("--yes", a->yes, "Do not ask");
  choose(heater, "heater");
  c->footer("Be beside the rig. A charger comes back only by the running guard's own permit, never by this test.");
}

}  // namespace fw
