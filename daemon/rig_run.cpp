#include "rig_run.h"

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <thread>

#include "guard/wire.h"
#include "units/json.h"
#include "units/text.h"

namespace fw {
namespace {

constexpr Span beat = 1s;
constexpr Span pulse_limit = 5s;
constexpr Span off_limit = 500ms;
constexpr Span news_stands = 10min;
constexpr std::size_t inbox_high = 20'000, inbox_low = 5'000;

bool same(const mqtt::Settings& a, const mqtt::Settings& b) {
  const auto will = [](const mqtt::Settings& s) {
    return s.will ? std::tuple{s.will->topic, s.will->payload, s.will->qos, s.will->retain} : std::tuple{std::string{}, std::string{}, 0, false};
  };
  return std::tie(a.host, a.port, a.tls, a.ca_file, a.cert_file, a.key_file, a.user, a.password, a.client_id, a.protocol, a.clean_session,
                  a.keep_alive_s, a.max_payload_bytes, a.filters) ==
             std::tie(b.host, b.port, b.tls, b.ca_file, b.cert_file, b.key_file, b.user, b.password, b.client_id, b.protocol, b.clean_session,
                      b.keep_alive_s, b.max_payload_bytes, b.filters) &&
         will(a) == will(b);
}

mqtt::Outgoing outgoing(const Publish& p) {
  return {.topic = p.topic, .payload = p.payload, .qos = p.qos, .retain = p.retain, .expires_s = p.expires_s, .token = p.notice_id};
}

}  // namespace

// Where the connections' threads leave what came; the loop takes it in one go.
struct RigRun::Inbox {
  struct Entry { std::string line; Elapsed at; mqtt::Event event; };
  std::mutex mutex;
  std::vector<Entry> entries;
  bool posted = false;
};

RigRun::RigRun(boost::asio::io_context& loop, spdlog::logger& logger, std::string config_path, Options options)
    : loop_(loop),
      logger_(logger),
      config_path_(std::move(config_path)),
      options_(std::move(options)),
      inbox_(std::make_shared<Inbox>()),
      deadline_(loop),
      beat_(loop) {}

RigRun::~RigRun() { stop(); }

// ---- start, reload, stop ---------------------------------------------------------------------

Result<void> RigRun::start(Described d) {
  described_ = std::make_unique<Described>(std::move(d));
  const rig::Rig& rig = described_->rig;
  if (auto settings = broker_settings(rig); !settings) return settings.fault();

  journal_path_ = journal_path(rig, config_path_);
  std::error_code ignored;
  if (const auto folder = std::filesystem::path(journal_path_).parent_path(); !folder.empty()) std::filesystem::create_directories(folder, ignored);
  const Now start{line_.now(), utc_at(line_.now(), {}), true};
  auto opened = journal::Journal::open(
      journal_path_, {.batch = rig.journal.batch, .keep_minutes_days = rig.journal.keep_minutes_days, .max_bytes = rig.journal.max_mb << 20}, start);
  if (!opened) return opened.fault();
  journal_ = std::move(*opened);
  if (options_.record_path) {
    auto writer = feed::Writer::create(*options_.record_path);
    if (!writer) return writer.fault();
    recorder_ = std::move(*writer);
  }

  const auto snapshots = journal_->snapshots();
  if (const auto it = snapshots.find("status"); it != snapshots.end()) {
    const auto status = json_in(it->second);
    if (status.is_object() && status.contains("utc") && status["utc"].is_string()) not_before_ = utc_in(status["utc"].get<std::string>());
  }
  if (!rig.simulation) {
    clock_trusted_ = believable(clock_evidence(not_before_));
    make_core({start.at, start.utc, clock_trusted_}, snapshots, guard::Continuity::restart);
    // A feed that begins so was recorded from the inside and carries all the shell's words itself.
    give(root_of(rig) + "broker", json_text({{"connected", false}, {"why", broker_why_}}), start.at);
    give(root_of(rig) + "clock", json_text({{"offset_ms", 0}, {"trusted", clock_trusted_}}), start.at);
    if (!clock_trusted_) say(Level::warn, "the board's clock is not to be believed yet; strings are not judged, the charge guard runs");
  } else {
    say(Level::info, "simulation: compressed time, ticks on " + root_of(rig) + "tick drive the clock");
  }
  connect_all();
  tick();
  return {};
}

void RigRun::make_core(Now start, const std::map<std::string, std::string>& snapshots, guard::Continuity how) {
  core_ = std::make_unique<core::Core>(described_->rig, described_->words, start, how);
  core_->restore(snapshots);
}

void RigRun::reload() {
  if (stopped_ || !core_) return;
  auto fresh = described_quietly(config_path_);
  const auto refuse = [&](const std::string& why) {
    say(Level::error, "the changed config is not usable, the old one stays: " + why);
    (void)journal_->write({EventRow{{core_->now().utc, core_->now().at, core_->now().trusted}, "reload", "config refused, the old one stays"}}, core_->now());
  };
  if (!fresh) return refuse(fresh.fault().text());
  if (fresh->rig.name != described_->rig.name) return refuse("the rig's name cannot change while it is watched");
  if (fresh->rig.simulation != described_->rig.simulation) return refuse("simulation cannot be switched while it is watched");
  if (auto settings = broker_settings(fresh->rig); !settings) return refuse(settings.fault().text());

  // What leaves the rig is switched off before its connection goes.
  core_->advance_to(now().at);
  carry_out(core_->take_effects());
  for (const rig::Charger& c : described_->rig.chargers) {
    const Publish off = guard::will_for(described_->rig, c);
    const auto& next = fresh->rig.chargers;
    const bool stays = std::any_of(next.begin(), next.end(), [&](const rig::Charger& n) { return guard::will_for(fresh->rig, n).topic == off.topic; });
    if (!stays) lines_.at(c.name).client->publish(outgoing(off));
  }
  for (const rig::Heater& h : described_->rig.heaters) {
    const auto& next = fresh->rig.heaters;
    const bool stays = std::any_of(next.begin(), next.end(), [&](const rig::Heater& n) { return n.command.topic == h.command.topic; });
    if (!stays && h.command.configured()) lines_.at(h.name).client->publish(outgoing(guard::heat_off_for(h)));
  }
  const auto snapshots = core_->snapshots();
  const Now at = core_->now();
  core_.reset();
  described_ = std::make_unique<Described>(std::move(*fresh));
  make_core(at, snapshots, guard::Continuity::reload);
  connect_all();
  give(root_of(described_->rig) + "broker", json_text({{"connected", lines_.at("").up}, {"id_taken", id_taken_}, {"why", broker_why_}}), at.at);
  for (const auto& [topic, last] : standing_) give({at.at, topic, last.payload, true});
  told_trouble_.reset();
  say(Level::info, "config read again");
  turn();
}

void RigRun::stop() {
  if (stopped_) return;
  stopped_ = true;
  deadline_.cancel();
  beat_.cancel();
  if (core_) {
    drain();
    // So that a record ends where the run ended.
    give(root_of(described_->rig) + "clock", json_text({{"offset_ms", clock_offset_.count()}, {"trusted", clock_trusted_}}), now().at);
    std::vector<Effect> last = core_->stop(now().at);
    // Offs and all else without a notice first; their confirmation before anything slow.
    std::vector<Effect> rest;
    for (Effect& e : last) {
      const auto* p = std::get_if<Publish>(&e);
      if (p && !p->connection.empty()) {
        if (const auto it = lines_.find(p->connection); it != lines_.end()) it->second.client->publish(outgoing(*p));
      } else {
        rest.push_back(std::move(e));
      }
    }
    const Span until = steady_time() + off_limit;
    for (auto& [name, line] : lines_)
      if (!name.empty() && line.client->connected() && !line.client->flush(std::max<Span>(until - steady_time(), 0ms)))
        say(Level::warn, name + ": its off was not confirmed within half a second");
    carry_out(std::move(rest));
    (void)journal_->flush(core_->now());
    if (const auto own = lines_.find(""); own != lines_.end()) own->second.client->flush(200ms);
  }
  // All say goodbye at the same time.
  std::vector<std::thread> partings;
  for (auto& [name, line] : lines_) partings.emplace_back([client = line.client.get()] { client->close(); });
  for (std::thread& t : partings) t.join();
  lines_.clear();
  if (recorder_) (void)recorder_->close();
  if (core_) say(Level::info, "stopped; " + std::to_string(arrived_) + " messages had come from the broker");
}

// ---- connections -----------------------------------------------------------------------------

std::vector<std::string> RigRun::main_filters() const {
  if (!described_->rig.simulation) return core_->filters();
  // Before the first tick there is no core: ask one that is thrown away.
  std::vector<std::string> filters = core_ ? core_->filters() : core::Core(described_->rig, described_->words, {}).filters();
  filters.push_back(root_of(described_->rig) + "tick");
  return filters;
}

void RigRun::connect_all() {
  const rig::Rig& rig = described_->rig;
  std::map<std::string, mqtt::Settings> wanted;
  auto own = broker_settings(rig);
  if (!own) return;  // checked before
  own->filters = main_filters();
  own->will = mqtt::Outgoing{.topic = root_of(rig) + "alive", .payload = json_text({{"state", "offline"}}), .qos = 1, .retain = true};
  own->pulse_limit = pulse_limit;
  wanted[""] = *own;
  const auto add = [&](const std::string& name, const Publish& will) {
    auto s = broker_settings(rig, name);
    if (!s) return;
    s->will = outgoing(will);
    s->pulse_limit = pulse_limit;
    wanted[name] = *s;
  };
  for (const rig::Charger& c : rig.chargers) add(c.name, guard::will_for(rig, c));
  for (const rig::Heater& h : rig.heaters)
    if (h.command.configured()) add(h.name, guard::heat_off_for(h));

  for (auto it = lines_.begin(); it != lines_.end();) {
    const auto next = wanted.find(it->first);
    if (next != wanted.end() && same(next->second, it->second.settings)) {
      wanted.erase(next);
      ++it;
    } else {
      it->second.client->flush(off_limit);
      it = lines_.erase(it);
    }
  }
  for (auto& [name, settings] : wanted) connect(name, std::move(settings));
}

void RigRun::connect(const std::string& name, mqtt::Settings settings) {
  auto sink = [inbox = inbox_, line = line_, name, &loop = loop_, this](mqtt::Event e) {
    std::lock_guard lock{inbox->mutex};
    inbox->entries.push_back({name, line.now(), std::move(e)});
    if (inbox->entries.size() == inbox_high)
      boost::asio::post(loop, [this] { for (auto& [n, l] : lines_) l.client->hold(true); });
    if (inbox->posted) return;
    inbox->posted = true;
    boost::asio::post(loop, [inbox, this] { if (!stopped_) turn(); });
  };
  Line& l = lines_[name];
  l.settings = settings;
  l.client = std::make_unique<mqtt::Client>(std::move(settings), std::move(sink), &steady_time);
}

// ---- the turn --------------------------------------------------------------------------------

Now RigRun::now() const {
  const Elapsed at = described_->rig.simulation ? simulated_.value_or(Elapsed{}) : line_.now();
  return {at, utc_at(at, clock_offset_), clock_trusted_};
}

void RigRun::turn() {
  drain();
  if (core_ && !described_->rig.simulation) {
    core_->advance_to(line_.now());
    carry_out(core_->take_effects());
  }
  last_turn_ = line_.now();
  for (auto& [name, l] : lines_) l.client->pulse();
  arm();
}

void RigRun::arm() {
  if (stopped_ || !core_ || described_->rig.simulation) return;
  const auto due = core_->next_deadline();
  if (!due) return;
  deadline_.expires_after(std::clamp<Span>(*due - line_.now(), 0ms, 60s));
  deadline_.async_wait([this](boost::system::error_code stopped) {
    if (!stopped && !stopped_) turn();
  });
}

// Once a second: clock, journal, and the sign of life for the connections.
void RigRun::tick() {
  if (stopped_) return;
  if (core_ && !described_->rig.simulation) look_at_clock();
  if (core_) look_at_journal();
  turn();
  beat_.expires_after(beat);
  beat_.async_wait([this](boost::system::error_code stopped) {
    if (!stopped) tick();
  });
}

void RigRun::drain() {
  std::vector<Inbox::Entry> entries;
  {
    std::lock_guard lock{inbox_->mutex};
    entries.swap(inbox_->entries);
    inbox_->posted = false;
  }
  int n = 0;
  for (auto& e : entries) {
    take(e.line, e.at, std::move(e.event));
    if (++n % 256 == 0) for (auto& [name, l] : lines_) l.client->pulse();
  }
  if (entries.size() >= inbox_low)
    for (auto& [name, l] : lines_) l.client->hold(false);
}

void RigRun::give(std::string topic, const std::string& payload, Elapsed at) { give({at, std::move(topic), payload, false}); }

void RigRun::give(Message m) {
  if (recorder_) {
    // The core takes an early stamp at its present time; the record says the same.
    Message recorded = m;
    recorded.at = std::max(recorded.at, core_->now().at);
    if (auto written = recorder_->write(recorded); !written) {
      say(Level::error, "recording stopped: " + written.fault().text());
      recorder_.reset();
    }
  }
  core_->on_message(m);
  carry_out(core_->take_effects());
}

void RigRun::take(const std::string& line, Elapsed at, mqtt::Event event) {
  const std::string root = root_of(described_->rig);
  const auto its = [&] { return line.empty() ? std::string("broker") : "broker, connection of " + line; };
  if (auto* m = std::get_if<mqtt::Arrived>(&event)) {
    ++arrived_;
    Message message{at, std::move(m->topic), std::move(m->payload), m->retain};
    if (message.topic == root + "link" || (described_->rig.forecast && message.topic == described_->rig.forecast->topic))
      standing_[message.topic] = message;
    if (!described_->rig.simulation) return give(std::move(message));
    if (message.topic == root + "tick") return take_simulation_tick(message);
    if (!simulated_) return;
    message.at = *simulated_;
    give(std::move(message));
  } else if (auto* c = std::get_if<mqtt::Connection>(&event)) {
    const auto found = lines_.find(line);
    if (found != lines_.end()) found->second.up = c->up;
    say(c->up ? Level::info : Level::warn, its() + (c->up ? ": connected" : ": not connected, " + c->why));
    if (!line.empty()) return;
    broker_why_ = c->why;
    if (!c->up) unconfirmed_.clear();  // nothing will be confirmed any more
    if (core_) give(root + "broker", json_text({{"connected", c->up}, {"id_taken", id_taken_}, {"why", c->why}}), described_->rig.simulation ? now().at : at);
    if (on_status) on_status();
    if (described_->rig.simulation) settle_minute();
  } else if (auto* d = std::get_if<mqtt::Delivered>(&event)) {
    if (described_->rig.simulation) {
      if (unconfirmed_.erase(d->token)) confirmed_.insert(d->token);
      settle_minute();
    } else if (core_) {
      give(root + "sent", json_text({{"id", d->token}}), at);
    }
  } else if (auto* x = std::get_if<mqtt::Contested>(&event)) {
    if (x->over) say(Level::info, its() + ": our id is ours again");
    else say(Level::error, its() + (x->certain ? ": another client uses our id" : ": another client seems to use our id") + "; trying less often");
    if (!line.empty() || !core_) return;
    id_taken_ = !x->over;
    give(root + "broker", json_text({{"connected", lines_.at("").up}, {"id_taken", id_taken_}, {"why", id_taken_ ? "another client uses our id" : ""}}), at);
  } else if (auto* r = std::get_if<mqtt::Refused>(&event)) {
    say(Level::error, its() + ": " + r->what);
  } else if (auto* o = std::get_if<mqtt::Oversize>(&event)) {
    ++oversize_;
    if (const auto text = limit_.pass("a message of " + std::to_string(o->bytes) + " bytes on " + printable(o->topic, 80) + " is too large, passed over (" +
                                          std::to_string(oversize_) + " so far)", line_.now()))
      say(Level::warn, *text);
  }
}

void RigRun::carry_out(std::vector<Effect> effects) {
  const Hands hands{
      .publish =
          [this](const Publish& p) {
            const auto it = lines_.find(p.connection);
            if (it == lines_.end()) return;
            if (described_->rig.simulation && !p.notice_id.empty() && it->second.up) unconfirmed_.insert(p.notice_id);
            it->second.client->publish(outgoing(p));
          },
      .store = [this](std::vector<Row> rows) { (void)journal_->write(std::move(rows), core_->now()); },
      .log =
          [this](const LogLine& l) {
            if (l.level == Level::info) return say(l.level, l.text);
            if (const auto text = limit_.pass(l.text, core_->now().at)) say(l.level, *text);
          }};
  perform(std::move(effects), hands);
}

// ---- clock and journal -----------------------------------------------------------------------

void RigRun::look_at_clock() {
  const Elapsed at = line_.now();
  const ClockEvidence evidence = clock_evidence(not_before_);
  const Span offset = evidence.wall.time_since_epoch() - at.time_since_epoch();
  const bool trusted = believable(evidence);
  const Span moved = offset - clock_offset_;
  // A clock that is slewed drifts by parts of a second; a step is more.
  if (trusted == clock_trusted_ && moved < 1s && moved > -1s) return;
  clock_offset_ = offset;
  clock_trusted_ = trusted;
  give(root_of(described_->rig) + "clock", json_text({{"offset_ms", offset.count()}, {"trusted", trusted}}), at);
  say(Level::info, std::string("the wall clock moved by ") + fixed(seconds_of(moved), 1) + " s" + (trusted ? "" : " and is not to be believed"));
}

void RigRun::look_at_journal() {
  journal_->maintain(core_->now());
  for (const std::string& news : journal_->take_news()) {
    say(Level::error, news);
    journal_news_ = news;
    journal_news_until_ = core_->now().at + news_stands;
  }
  std::optional<std::string> trouble = journal_->trouble();
  if (!trouble && core_->now().at < journal_news_until_) trouble = journal_news_;
  if (trouble == told_trouble_) return;
  if (trouble && !told_trouble_ && trouble != journal_news_) say(Level::error, *trouble);
  told_trouble_ = trouble;
  give(root_of(described_->rig) + "journal", json_text({{"trouble", trouble ? nlohmann::json(*trouble) : nlohmann::json(nullptr)}}), now().at);
}

// ---- compressed time -------------------------------------------------------------------------

void RigRun::take_simulation_tick(const Message& m) {
  const auto tick = json_in(m.payload);
  const auto t = tick.is_object() && tick.contains("t") && tick["t"].is_string() ? utc_in(tick["t"].get<std::string>()) : std::nullopt;
  if (m.retain || !t) return;
  const Elapsed at{t->time_since_epoch()};
  if (!simulated_) {
    simulated_ = at;
    make_core({at, *t, true}, journal_->snapshots(), guard::Continuity::restart);
    give(root_of(described_->rig) + "broker", json_text({{"connected", lines_.at("").up}, {"why", ""}}), at);
    tock_due_ = at;
  } else {
    if (at < *simulated_) return;
    if (floor_to(at, 1min) != floor_to(*simulated_, 1min)) tock_due_ = at;
    simulated_ = at;
    core_->advance_to(at);
    carry_out(core_->take_effects());
  }
  settle_minute();
}

// Before a minute is echoed every notice is confirmed and the core knows it, whatever the broker's pace:
// that makes two runs the same.
void RigRun::settle_minute() {
  while (tock_due_ && unconfirmed_.empty()) {
    if (confirmed_.empty()) {
      lines_.at("").client->publish({.topic = root_of(described_->rig) + "tock",
                                     .payload = json_text({{"t", iso_utc(utc_at(*tock_due_, {}))}}),
                                     .qos = 1});
      tock_due_.reset();
      return;
    }
    const auto ids = std::move(confirmed_);
    confirmed_.clear();
    for (const std::string& id : ids) give(root_of(described_->rig) + "sent", json_text({{"id", id}}), *simulated_);
  }
}

// ---- odds ------------------------------------------------------------------------------------

std::string RigRun::status() const {
  const auto own = lines_.find("");
  const std::string broker = own != lines_.end() && own->second.up ? "broker connected" : "no broker (" + broker_why_ + ")";
  return described_->rig.name + ": " + broker;
}

bool RigRun::lively() const { return line_.now() - last_turn_ < 10s; }

void RigRun::say(Level level, const std::string& text) { log(logger_, level, options_.prefix + text); }

}  // namespace fw
