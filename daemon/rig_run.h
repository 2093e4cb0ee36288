#pragma once
// One rig watched live: its core, its journal, its connections. Lives on the loop's one thread; the
// connections' threads only stamp, copy and post.
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "clocks.h"
#include "core/core.h"
#include "described.h"
#include "feed/writer.h"
#include "journal/journal.h"
#include "logging.h"
#include "mqtt/client.h"
#include "pump.h"

namespace fw {

class RigRun {
 public:
  struct Options {
    std::string prefix;                      ///< in front of log lines, when there are several rigs
    std::optional<std::string> record_path;  ///< everything the core is given, as a feed
  };

  RigRun(boost::asio::io_context& loop, spdlog::logger& logger, std::string config_path, Options options);
  ~RigRun();
  RigRun(const RigRun&) = delete;
  RigRun& operator=(const RigRun&) = delete;

  /// Opens the journal and starts the connections. A Fault: unusable, nothing runs.
  Result<void> start(Described described);
  /// Reads the config again; keeps the old one when the new one is not whole.
  void reload();
  /// Every off confirmed (at most 0.5 s), the last rows, 'offline', goodbye. A second call is harmless.
  void stop();

  /// For the service manager: "marten: broker connected".
  std::string status() const;
  /// The last turn of this rig's loop is no older than ten seconds.
  bool lively() const;
  /// Called when status() changed.
  std::function<void()> on_status;

 private:
  struct Inbox;
  struct Line { mqtt::Settings settings; std::unique_ptr<mqtt::Client> client; bool up = false; };

  void connect_all();
  void connect(const std::string& name, mqtt::Settings settings);
  void make_core(Now start, const std::map<std::string, std::string>& snapshots, guard::Continuity how);
  void drain();
  void take(const std::string& line, Elapsed at, mqtt::Event event);
  void give(std::string topic, const std::string& payload, Elapsed at);
  void give(Message message);
  void carry_out(std::vector<Effect> effects);
  void turn();
  void tick();
  void arm();
  void look_at_clock();
  void look_at_journal();
  void say(Level level, const std::string& text);
  Now now() const;
  std::vector<std::string> main_filters() const;

  // compressed time
  void take_simulation_tick(const Message& m);
  void settle_minute();

  boost::asio::io_context& loop_;
  spdlog::logger& logger_;
  const std::string config_path_;
  const Options options_;
  LogLimit limit_;

  std::unique_ptr<Described> described_;
  ElapsedLine line_;
  std::unique_ptr<journal::Journal> journal_;
  std::string journal_path_;
  std::unique_ptr<core::Core> core_;
  std::shared_ptr<Inbox> inbox_;
  std::map<std::string, Line> lines_;            // "" is the rig's own, the others carry a will each
  std::optional<feed::Writer> recorder_;
  boost::asio::steady_timer deadline_, beat_;
  Elapsed last_turn_{};

  Span clock_offset_{};
  bool clock_trusted_ = true;
  std::optional<Utc> not_before_;
  bool id_taken_ = false;
  std::string broker_why_ = "not yet tried";
  std::optional<std::string> told_trouble_;
  std::string journal_news_;
  Elapsed journal_news_until_{};
  std::uint64_t arrived_ = 0, oversize_ = 0;
  std::map<std::string, Message> standing_;      // last of link and forecast, for the next core of a reload
  bool stopped_ = false;

  std::optional<Elapsed> simulated_;             // compressed time: the last tick
  std::set<std::string> unconfirmed_, confirmed_;
  std::optional<Elapsed> tock_due_;
};

}  // namespace fw
