// firnwatt replay: recorded feeds through the same core, with a virtual clock.
#include <unistd.h>

#include <filesystem>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "clocks.h"
#include "command.h"
#include "core/core.h"
#include "described.h"
#include "feed/reader.h"
#include "journal/journal.h"
#include "pump.h"
#include "units/json.h"
#include "units/text.h"

namespace fw {
namespace {

struct ReplayAsked {
  std::string config, journal;
  std::vector<std::string> feeds;
  bool quiet = false;
};

/// The core, its journal, and a broker that confirms everything at once.
class Replay {
 public:
  Replay(const Described& d, journal::Journal& journal, bool quiet) : d_(d), journal_(journal), quiet_(quiet), root_(root_of(d.rig)) {
    hands_.publish = [this](const Publish& p) {
      if (p.notice_id.empty()) return;
      if (p.topic == root_ + "notices") {
        ++notices_;
        if (!quiet_) print_notice(p.payload);
      }
      sent_.push_back(p.notice_id);
    };
    hands_.store = [this](std::vector<Row> rows) {
      for (const Row& row : rows)
        if (const auto* a = std::get_if<AlarmRow>(&row)) count(*a);
      if (auto written = journal_.write(std::move(rows), core_->now()); !written && journal_fault_.empty()) journal_fault_ = written.fault().text();
    };
    hands_.log = [this](const LogLine& l) {
      if (l.level < Level::warn) return;
      ++warnings_;
      if (!quiet_ && warnings_ <= 20) std::cerr << iso_utc(core_->now().utc) << " " << l.text << "\n";
    };
  }

  void take(const Message& m) {
    if (!core_) begin(m);
    // What leaves between two messages is confirmed when it leaves, as live.
    while (!whole_ && core_->now().at < m.at) {
      const auto due = core_->next_deadline();
      if (!due || *due >= m.at) break;
      core_->advance_to(std::max(*due, core_->now().at + Span{1}));
      settle();
    }
    core_->on_message(m);
    ++messages_;
    settle();
    if (m.at - maintained_ >= 5min) {
      maintained_ = m.at;
      journal_.maintain(core_->now());
    }
  }

  void end() {
    if (!core_) return;
    perform(core_->stop(core_->now().at), hands_);
    sent_.clear();
    if (auto flushed = journal_.flush(core_->now()); !flushed && journal_fault_.empty()) journal_fault_ = flushed.fault().text();
  }

  /// What each alarm did: the owner's rules all of them, the built-in ones that were raised.
  void print_alarms() const {
    std::vector<std::pair<std::string, Did>> lines;
    std::set<std::string> named;
    for (const auto& [key, did] : did_)
      if (did.raised > 0) {
        named.insert(did.alarm);
        lines.emplace_back(did.subject == "rig" || did.subject == "bank" ? did.alarm : did.alarm + " (" + did.subject + ")", did);
      }
    for (const rig::Rule& r : d_.rig.rules)
      if (!named.contains(r.name)) lines.emplace_back(r.name, Did{});
    if (lines.empty()) return;
    std::cout << "\nWhat the alarms did\n";
    for (const auto& [label, did] : lines) {
      std::cout << "  " << label << ": ";
      if (did.raised == 0) {
        std::cout << "never\n";
        continue;
      }
      const Span stood = did.stood + (did.since ? core_->now().utc - *did.since : Span{0});
      std::cout << times(did.raised) << ", " << Words::span(stood) << " in all, first " << d_.words.date_clock(did.first)
                << (did.since ? ", still so" : "") << "; told " << (did.told == 0 ? std::string("in no message of its own") : times(did.told)) << "\n";
    }
  }

  std::uint64_t messages() const { return messages_; }
  std::uint64_t warnings() const { return warnings_; }
  std::uint64_t notices() const { return notices_; }
  const core::Core* core() const { return core_.get(); }
  const std::string& journal_fault() const { return journal_fault_; }

 private:
  struct Did {
    std::string alarm, subject;
    int raised = 0, told = 0;
    Span stood{0};
    Utc first{};
    std::optional<Utc> since;
  };

  static std::string times(int n) { return n == 1 ? "once" : std::to_string(n) + " times"; }

  void count(const AlarmRow& row) {
    Did& did = did_[row.alarm + "-" + row.subject];
    did.alarm = row.alarm;
    did.subject = row.subject;
    if (row.event == "notified") ++did.told;
    if (row.event == "raised" || row.event == "re_raised") {
      if (did.raised++ == 0) did.first = row.when.utc;
      if (!did.since) did.since = row.when.utc;
    } else if (row.event == "cleared" && did.since) {
      did.stood += row.when.utc - *did.since;
      did.since.reset();
    }
  }

  void begin(const Message& first) {
    // The journal keeps a replay's snapshots daily (bulk); nobody asks for more of them.
    core_ = std::make_unique<core::Core>(d_.rig, d_.words, Now{first.at, utc_at(first.at, {}), true}, guard::Continuity::restart, days{1});
    core_->restore({});
    maintained_ = first.at;
    // A feed recorded from the inside begins with the shell's word on the broker and carries all of them.
    whole_ = first.topic == root_ + "broker";
    if (!whole_) {
      core_->on_message({first.at, root_ + "broker", R"({"connected":true,"why":""})", false});
      // A feed that says nothing of the way to the phone: it is there.
      core_->on_message({first.at, root_ + "link", "1", false});
    }
    settle();
  }

  void settle() {
    perform(core_->take_effects(), hands_);
    while (!sent_.empty()) {
      std::vector<std::string> ids;
      ids.swap(sent_);
      if (whole_) return;
      for (const std::string& id : ids) {
        core_->on_message({core_->now().at, root_ + "sent", json_text(nlohmann::json{{"id", id}}), false});
        perform(core_->take_effects(), hands_);
      }
    }
  }

  void print_notice(const std::string& payload) const {
    const auto j = json_in(payload);
    if (!j.is_object() || !j.contains("text") || !j["text"].is_string()) return;
    std::cout << d_.words.date_clock(core_->now().utc) << "  " << j["text"].get<std::string>() << "\n";
  }

  const Described& d_;
  journal::Journal& journal_;
  const bool quiet_;
  const std::string root_;
  Hands hands_;
  std::unique_ptr<core::Core> core_;
  std::vector<std::string> sent_;
  std::map<std::string, Did> did_;
  bool whole_ = false;
  Elapsed maintained_{};
  std::uint64_t messages_ = 0, warnings_ = 0, notices_ = 0;
  std::string journal_fault_;
};

int replay(const ReplayAsked& a) {
  const auto d = described(a.config, !a.quiet);
  if (!d) return unusable;
  std::error_code none;
  if (std::filesystem::exists(a.journal, none) && std::filesystem::file_size(a.journal, none) > 0) {
    std::cerr << a.journal << ": exists already; a replay makes a journal of its own, name a new file\n";
    return unusable;
  }
  // Every feed is looked at before the first line is played.
  std::vector<feed::Reader> readers;
  for (const std::string& path : a.feeds) {
    auto reader = feed::Reader::open(path);
    if (!reader) {
      std::cerr << reader.fault().text() << "\n";
      return unusable;
    }
    readers.push_back(std::move(*reader));
  }
  auto journal = journal::Journal::open(a.journal, {.batch = std::max<Span>(d->rig.journal.batch, hours{1}),
                                                    .keep_minutes_days = d->rig.journal.keep_minutes_days,
                                                    .max_bytes = d->rig.journal.max_mb << 20,
                                                    .bulk = true});
  if (!journal) {
    std::cerr << journal.fault().text() << "\n";
    return unusable;
  }

  const bool progress = !a.quiet && isatty(2);
  const Span begun = steady_time();
  Replay run(*d, **journal, a.quiet);
  std::uint64_t lines = 0, bad = 0;
  bool broken = false;
  for (std::size_t i = 0; i < readers.size(); ++i) {
    feed::Reader& reader = readers[i];
    while (auto m = reader.next()) {
      run.take(*m);
      if (progress && run.messages() % 50'000 == 0)
        std::cerr << "\r" << iso_utc(run.core()->now().utc) << "  " << run.messages() << " messages " << std::flush;
    }
    lines += reader.lines();
    bad += reader.bad();
    for (const Fault& f : reader.faults()) std::cerr << f.text() << "\n";
    if (reader.bad() > reader.faults().size()) std::cerr << a.feeds[i] << ": further bad lines are only counted\n";
    if (reader.damage()) {
      broken = true;
      std::cerr << reader.damage()->text() << "\n";
    }
  }
  run.end();
  if (progress) std::cerr << "\r";
  if (run.messages() == 0) {
    std::cerr << "no message could be read from the feed\n";
    return bad > 0 || broken ? found_wrong : unusable;
  }
  if (!a.quiet) {
    run.print_alarms();
    const double s = std::max(0.001, seconds_of(steady_time() - begun));
    const auto& counts = run.core()->counts();
    std::cerr << run.messages() << " messages in " << fixed(s, 1) << " s (" << fixed(static_cast<double>(run.messages()) / s, 0) << " a second), " << bad
              << " of " << lines << " lines could not be read, " << counts.unmatched << " on topics of no source, " << counts.payload_faults
              << " payloads with a fault, " << counts.late << " out of order, " << run.notices() << " notices\n";
  }
  if (!run.journal_fault().empty()) {
    std::cerr << run.journal_fault() << "\n";
    return found_wrong;
  }
  return broken ? found_wrong : fine;
}

}  // namespace

void add_replay(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("replay", "Play recorded feeds through the same core, with a virtual clock");
  auto a = std::make_shared<ReplayAsked>();
  c->add_option("CONFIG", a->config, "The rig")->required();
  c->add_option("FEED", a->feeds, "Feeds in order: .jsonl, .jsonl.gz, or - for standard input")->required();
  c->add_option("--journal", a->journal, "The journal to make; it must not exist yet")->required();
  c->add_flag("--quiet", a->quiet, "No notices, progress and statistics");
  c->footer("Prints the notices the owner would have had, then what each alarm and each of the owner's rules did. Bad lines are counted, reported with their number, and skipped.");
  c->callback([a, &todo] { todo = [a] { return replay(*a); }; });
}

}  // namespace fw
