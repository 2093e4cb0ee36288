// firnwatt run: watch live, one core a config, all on one loop.
#include <boost/asio/signal_set.hpp>
#include <iostream>

#include "command.h"
#include "rig_run.h"
#include "system_notify.h"
#ifdef FW_TEST_HOOKS
#include <unistd.h>

#include <cstdlib>
#endif

namespace fw {
namespace {

/// What runs, in the order it is built; it ends in the reverse order.
class Watch {
 public:
  Watch() : logger_(make_logger()), signals_(loop_, SIGTERM, SIGINT, SIGHUP), watchdog_(loop_) {}

  int run(const std::vector<std::string>& configs, const std::optional<std::string>& record) {
    std::vector<Described> all;
    for (const std::string& path : configs) {
      auto d = described(path);
      if (!d) return unusable;
      for (const Described& other : all)
        if (other.rig.name == d->rig.name) {
          std::cerr << path << ": rig: '" << d->rig.name << "' is also the name of an earlier config; names must differ\n";
          return unusable;
        }
      all.push_back(std::move(*d));
    }
    if (record && all.size() > 1) {
      std::cerr << "--record takes one config at a time\n";
      return unusable;
    }
    for (std::size_t i = 0; i < all.size(); ++i) {
      auto rig = std::make_unique<RigRun>(loop_, *logger_, configs[i],
                                          RigRun::Options{all.size() > 1 ? all[i].rig.name + ": " : "", record});
      rig->on_status = [this] { say_status(); };
      rigs_.push_back(std::move(rig));
      if (auto started = rigs_.back()->start(std::move(all[i])); !started) {
        std::cerr << configs[i] << ": " << started.fault().text() << "\n";
        return unusable;
      }
    }
    wait_for_signal();
    feed_watchdog();
    boost::asio::post(loop_, [this] {
      notify_system("READY=1");
      say_status();
    });
    loop_.run();
    return code_;
  }

 private:
  void wait_for_signal() {
    signals_.async_wait([this](boost::system::error_code stopped, int number) {
      if (stopped) return;
      if (number != SIGHUP) return stop(number == SIGINT ? interrupted : terminated);
      notify_system("RELOADING=1");
      for (auto& rig : rigs_) rig->reload();
      notify_system("READY=1");
      wait_for_signal();
    });
  }

  void stop(int code) {
    code_ = code;
    notify_system("STOPPING=1");
    for (auto& rig : rigs_) rig->stop();
    signals_.cancel();
    watchdog_.cancel();
    loop_.stop();
  }

  void feed_watchdog() {
#ifdef FW_TEST_HOOKS
    // A test makes this file to see what a hung loop does to the chargers.
    if (const char* path = std::getenv("FW_TEST_HANG_FILE"))
      while (access(path, F_OK) == 0) usleep(50'000);
#endif
    const auto asked = watchdog_beat();
    bool lively = true;
    for (const auto& rig : rigs_) lively = lively && rig->lively();
    if (asked && lively) notify_system("WATCHDOG=1");
    watchdog_.expires_after(asked.value_or(Span{1s}));
    watchdog_.async_wait([this](boost::system::error_code stopped) {
      if (!stopped) feed_watchdog();
    });
  }

  void say_status() {
    std::string text;
    for (const auto& rig : rigs_) text += (text.empty() ? "" : "; ") + rig->status();
    if (text.size() > 500) text = std::to_string(rigs_.size()) + " rigs";
    notify_system("STATUS=" + text);
  }

  mqtt::Library library_;
  std::shared_ptr<spdlog::logger> logger_;
  boost::asio::io_context loop_{1};
  boost::asio::signal_set signals_;
  boost::asio::steady_timer watchdog_;
  std::vector<std::unique_ptr<RigRun>> rigs_;
  int code_ = fine;
};

}  // namespace

void add_run(CLI::App& app, Todo& todo) {
  auto* c = app.add_subcommand("run", "Watch live, one core a config, until SIGTERM or SIGINT");
  auto configs = std::make_shared<std::vector<std::string>>();
  auto record = std::make_shared<std::optional<std::string>>();
  c->add_option("CONFIG", *configs, "The rigs to watch")->required();
  c->add_option("--record", *record, "Also write everything the core is given as a feed, for an exact replay");
  c->footer(
      "On the way out every charger's and heater's off goes first. SIGHUP reads the configs again and keeps an old one\n"
      "where the new one is not whole. The journal lies where the config says, else in the state folder.");
  c->callback([configs, record, &todo] { todo = [=] { return Watch{}.run(*configs, *record); }; });
}

}  // namespace fw
