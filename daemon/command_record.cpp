// firnwatt record: what the broker carries for this rig, as a feed.
#include <unistd.h>

#include <iostream>

#include "command.h"
#include "conversation.h"
#include "core/inbound.h"
#include "described.h"
#include "feed/writer.h"

namespace fw {
namespace {

struct RecordAsked { std::string config, output; std::optional<std::string> span; };

std::vector<std::string> filters_of(const rig::Rig& rig) {
  std::set<std::string> filters;
  for (const rig::Source& s : rig.sources) filters.insert(s.topic);
  if (rig.forecast) filters.insert(rig.forecast->topic);
  for (const std::string& f : core::Inbound::filters()) filters.insert(root_of(rig) + f);
  return {filters.begin(), filters.end()};
}

int record(const RecordAsked& a) {
  const auto d = described(a.config);
  if (!d) return unusable;
  Span span = Span::max() / 4;
  if (a.span) {
    const auto s = span_in(*a.span);
    if (!s) {
      std::cerr << "--for: '" << *a.span << "' is no span of time; write 60s, 5min or 2h\n";
      return unusable;
    }
    span = *s;
  }
  auto settings = broker_settings(d->rig, "record-" + std::to_string(getpid()));
  if (!settings) {
    std::cerr << settings.fault().text() << "\n";
    return unusable;
  }
  settings->filters = filters_of(d->rig);
  auto writer = feed::Writer::create(a.output);
  if (!writer) {
    std::cerr << writer.fault().text() << "\n";
    return unusable;
  }
  mqtt::Library library;
  stop_on_signals();
  Conversation broker(*settings);
  broker.talk = true;
  std::uint64_t messages = 0;
  std::optional<Fault> trouble;
  Elapsed flushed{};
  const bool whole = broker.listen(span, [&](const Message& m) {
    auto written = writer->write(m);
    ++messages;
    if (written && m.at - flushed > 10s) {
      flushed = m.at;
      written = writer->flush();
    }
    if (!written) trouble = written.fault();
    return !trouble;
  });
  if (auto closed = writer->close(); !closed && !trouble) trouble = closed.fault();
  std::cerr << messages << " messages recorded\n";
  if (trouble) {
    std::cerr << trouble->text() << "\n";
    return found_wrong;
  }
  if (!whole) return 128 + signal_seen();
  return messages > 0 ? fine : found_wrong;
}

}  // namespace

void add_record(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("record", "Write what the broker carries for this rig as a feed");
  auto a = std::make_shared<RecordAsked>();
  c->add_option("CONFIG", a->config, "The rig")->required();
  c->add_option("--output", a->output, "The feed: .jsonl, .jsonl.gz, or - for standard output")->required();
  c->add_option("--for", a->span, "How long: 60s, 5min, 2h; without it until Ctrl-C");
  c->callback([a, &todo] { todo = [a] { return record(*a); }; });
}

}  // namespace fw
