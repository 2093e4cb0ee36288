// The daemon through what happens to a rig in a winter, fault after fault, live against a broker on loopback while
// the cells cool, half a degree a time, each a lower limit for the charger: a full card, a slow one, wall clock steps
// of a day, a change to and from daylight saving time, a link that is open and silent, a broker that stands still, a
// link that crawls. What must hold: a lower limit goes out at once and the permit stays whenever the link is whole;
// else charging is back soon after; every alarm, command and notice is in the journal as in a replay of what the core
// was given, with a sound card; no notice that counts as delivered was not heard; memory and file descriptors are
// flat; the end is clean.
//   soak_faults [MINUTES]   at least two rounds; as root in a mount namespace of its own (the card is a small tmpfs)
#include <signal.h>
#include <sys/mount.h>

#include <chrono>
#include <cstdio>
#include <fstream>
#include <set>
#include <sstream>

#include "support/broker.h"
#include "support/listener.h"
#include "support/proxy.h"

using namespace fw::test;
using namespace std::chrono_literals;
using std::chrono::milliseconds;

namespace {

constexpr int keep_alive_s = 8;
constexpr double warmest_c = 38.75, step_c = 0.5, for_a_round_c = 18;
int failed = 0;

bool check(bool ok, const std::string& what) {
  if (!ok) ++failed;
  if (!ok) std::printf("  FAILED: %s\n", what.c_str());
  return ok;
}

std::string number(double x) {
  char text[32];
  std::snprintf(text, sizeof text, "%.3f", x);
  return text;
}

/// One band each half degree; a heater that could change the cells within seconds makes quick steps believable.
std::string config_text(int port, const std::string& journal) {
  std::string bands;
  for (double c = 0; c < 40; c += step_c)
    bands += "      - {from: " + number(c) + " degC, to: " + number(c + step_c) + " degC, current: " + number(0.1 + c / 100) + " C}\n";
  return "rig: test\n"
         "site: {latitude: 44.2, longitude: -114.9, altitude: 1900 m, timezone: America/Denver}\n"
         "broker: {host: 127.0.0.1, port: " + std::to_string(port) + ", keep_alive: " + std::to_string(keep_alive_s) + " s}\n"
         "strings:\n"
         "  front: {module: {power: 200 W}, wiring: 2s, power: {topic: in/front, pointer: /w, unit: W}}\n"
         "bank:\n"
         "  capacity: 100 Ah\n"
         "  cell_temperature: {topic: in/bank, pointer: /t, unit: degC, max_age: 2 min}\n"
         "  charge_window:\n"
         "    resume_dwell: 0 s\n"
         "    bands:\n" + bands +
         "chargers:\n"
         "  roof:\n"
         "    kind: solar\n"
         "    rated_current: 60 A\n"
         "    command: {topic: out/roof, on_payload: enable, off_payload: disable}\n"
         "    limit: {topic: out/limit, payload: \"{a}\"}\n"
         "heaters:\n"
         "  pad: {command: {topic: out/pad, on_payload: \"on\", off_payload: \"off\"}, rated_power: 100000 W}\n"
         "journal: {path: " + journal + "}\n";
}

std::size_t open_files(const Process& p) {
  const std::filesystem::directory_iterator all("/proc/" + std::to_string(p.pid()) + "/fd");
  return static_cast<std::size_t>(std::distance(begin(all), end(all)));
}

class Winter {
 public:
  Winter() : link_(broker_port()) {
    std::filesystem::create_directory(card_);
    mounted_ = mount("tmpfs", card_.c_str(), "tmpfs", 0, "size=16m") == 0;
    set_machine(0, 0, 0s);
    dir_.write("rig.yaml", config_text(link_.port(), journal_));
  }
  ~Winter() {
    daemon_.reset();
    if (mounted_) umount2(card_.c_str(), MNT_DETACH);
  }

  bool start() {
    if (!check(mounted_, "the small card could not be mounted; this needs root, in a mount namespace of its own")) return false;
    watcher_ = std::make_unique<Listener>(broker_.port(), std::vector<std::string>{"out/#", "firnwatt/test/notices"}, "watcher", false);
    if (!check(watcher_->wait_up(), "no broker")) return false;
    daemon_ = std::make_unique<Process>(std::vector<std::string>{FW_PROGRAM, "run", dir_.file("rig.yaml"), "--record", record_}, "", log_,
                                        std::vector<std::string>{"LD_PRELOAD=" FW_MACHINE, "FW_TEST_MACHINE=" + machine_});
    std::printf("the start:");
    charging_returns("the start");
    return failed == 0;
  }

  void round() {
    warm_up();
    during("a full card", 25s, true, [&] { fill_card(); }, [&] { std::filesystem::remove(card_ + "/filler"); });
    during("a slow card", 15s, true, [&] { set_machine(200, 5, 0s); }, [&] { set_machine(0, 0, 0s); });
    during("a day ahead", 15s, true, [&] { set_machine(0, 0, 24h); }, [] {});
    during("a day behind", 15s, true, [&] { set_machine(0, 0, -24h); }, [&] { set_machine(0, 0, 0s); });
    using namespace std::chrono;
    during("an hour that is skipped", 25s, true, [&] { set_wall(sys_days{2027y / 3 / 14} + 9h - 12s); }, [] {});
    during("an hour that comes twice", 25s, true, [&] { set_wall(sys_days{2027y / 11 / 7} + 8h - 12s); }, [&] { set_machine(0, 0, 0s); });
    during("a link that is open and silent", 25s, false, [&] { link_.black_hole(true); }, [&] { link_.black_hole(false); link_.cut(); });
    during("a broker that stands still", 15s, false, [&] { broker_.freeze(true); }, [&] { broker_.freeze(false); });
    during("a link that crawls", 20s, true, [&] { link_.crawl(3000); }, [&] { link_.crawl(0); });
    check(daemon_->running(), "the daemon ended");
    resident_mb_.push_back(daemon_->resident_mb());
    files_.push_back(open_files(*daemon_));
    std::printf("  resident %.1f MiB, %zu file descriptors\n", resident_mb_.back(), files_.back());
  }

  void end() {
    pause_for(2s);
    const auto asked = steady_now();
    daemon_->signal(SIGTERM);
    const auto code = daemon_->wait(10s);
    std::printf("the end: exit %d within %lld ms\n", code.value_or(-1), static_cast<long long>((steady_now() - asked).count()));
    check(code == 143, "no clean end");
    check(resident_mb_.back() - resident_mb_.front() <= 1, "memory grew after the first round");
    check(std::set<std::size_t>(files_.begin(), files_.end()).size() == 1, "file descriptors are not flat");

    const Finished replayed = run({FW_PROGRAM, "replay", dir_.file("rig.yaml"), record_, "--journal", again_, "--quiet"}, {}, 300s);
    check(replayed.code == 0, "replay: " + replayed.err);
    for (const char* table : {"alarms", "commands", "notices"}) same(table);
    std::set<std::string> heard;
    for (const Heard& h : watcher_->on("firnwatt/test/notices")) heard.insert(h.payload.substr(0, h.payload.find(',')));
    int delivered = 0, unheard = 0;
    std::istringstream rows(exported(journal_, "notices"));
    for (std::string row; std::getline(rows, row);) {
      if (row.find(",delivered,") == std::string::npos) continue;
      const auto at = row.find(',') + 1;
      const std::string id = row.substr(at, row.find(',', at) - at);
      ++delivered;
      if (!heard.contains("{\"id\":\"" + id + "\"")) ++unheard;
    }
    std::printf("notices: %d delivered, %d of them not heard\n", delivered, unheard);
    check(delivered > 0 && unheard == 0, "notices that count as delivered were not heard");
    if (failed) std::printf("%s", read_file(log_).c_str());
  }

 private:
  int broker_port() {
    broker_.start();
    return broker_.port();
  }

  // ---- the faults --------------------------------------------------------------------------------
  template <class Begin, class End>
  void during(const std::string& what, milliseconds span, bool link_whole, Begin begin, End end) {
    std::printf("  %-32s", what.c_str());
    const auto from = steady_now();
    begin();
    int lowered = 0;
    milliseconds slowest{};
    while (steady_now() - from < span) {
      const auto cooler_at = steady_now();
      cell_c_ -= step_c;
      telemetry();
      const bool heard = eventually([&] { return heard_since(cooler_at, "out/limit"); }, link_whole ? 5s : 1s);
      if (link_whole && !check(heard, "a lower limit was not heard within 5 s")) break;
      if (heard) ++lowered, slowest = std::max(slowest, watcher_->last("out/limit")->at - cooler_at);
      pause_for(7s);
    }
    if (link_whole) std::printf(" lowered %d times, the slowest after %lld ms\n", lowered, static_cast<long long>(slowest.count()));
    end();
    if (!link_whole) return charging_returns(what);
    for (const Heard& h : watcher_->on("out/roof")) check(h.at < from || h.payload == "enable", "the permit was taken away");
  }

  void charging_returns(const std::string& after) {
    const auto from = steady_now();
    const bool back = eventually([&] { telemetry(); pause_for(250ms); return heard_since(from, "out/roof", "enable"); }, 60s);
    std::printf(" charging back after %.1f s\n", static_cast<double>((steady_now() - from).count()) / 1000);
    check(back, "charging did not come back after " + after);
  }

  // So that a round does not end in the cold. A limit falls at once and rises by what held for five minutes: first to what
  // the first step up allowed, then to the whole.
  void warm_up() {
    if (cell_c_ > for_a_round_c) return;
    const auto from = steady_now();
    for (; cell_c_ < warmest_c; cell_c_ += step_c) telemetry(), pause_for(50ms);
    const bool back = eventually([&] { telemetry(); pause_for(1s); return std::atof(watcher_->last("out/limit")->payload.c_str()) > 45; }, 12min);
    std::printf("  warm again after %.0f s\n", static_cast<double>((steady_now() - from).count()) / 1000);
    check(back, "the limit did not rise again");
  }

  void telemetry() {
    watcher_->publish("in/bank", "{\"t\":" + number(cell_c_) + "}", 0);
    watcher_->publish("in/front", R"({"w":120})", 0);
  }

  bool heard_since(milliseconds from, const std::string& topic, const std::string& payload = "") const {
    const auto l = watcher_->last(topic);
    return l && l->at >= from && (payload.empty() || l->payload == payload);
  }

  void fill_card() {
    std::ofstream filler(card_ + "/filler", std::ios::binary);
    const std::string block(4096, 'x');
    while (filler.write(block.data(), static_cast<std::streamsize>(block.size())).flush()) {}
  }

  // Written over in place: the daemon has the file mapped.
  void set_machine(int sync_ms, int write_ms, std::chrono::seconds clock) {
    char line[64];
    std::snprintf(line, sizeof line, "%-6d %-6d %-48lld", sync_ms, write_ms, static_cast<long long>(clock.count()));
    std::fstream file(machine_, std::filesystem::exists(machine_) ? std::ios::in | std::ios::out : std::ios::out);
    file << line;
  }

  void set_wall(std::chrono::sys_seconds utc) {
    set_machine(0, 0, utc - std::chrono::floor<std::chrono::seconds>(std::chrono::system_clock::now()));
  }

  // ---- what is left of it --------------------------------------------------------------------------
  static std::string exported(const std::string& journal, const char* table) { return run({FW_PROGRAM, "export", journal, table}).out; }

  void same(const char* table) {
    std::istringstream live(exported(journal_, table)), again(exported(again_, table));
    std::string l, r;
    int n = 0;
    for (;; ++n) {
      const bool more_l = static_cast<bool>(std::getline(live, l)), more_r = static_cast<bool>(std::getline(again, r));
      if (!more_l && !more_r) break;
      if (!check(more_l == more_r && l == r, std::string(table) + ", live: " + (more_l ? l : "(end)") + "\n          replayed: " + (more_r ? r : "(end)"))) return;
    }
    std::printf("%s: %d rows, none lost, none doubled\n", table, n - 1);
    check(n > 1, std::string("no rows of ") + table);
  }

  TempDir dir_;
  Broker broker_;
  Proxy link_;
  const std::string card_ = dir_.file("card"), journal_ = card_ + "/test.journal", again_ = dir_.file("again.journal"), record_ = dir_.file("record.jsonl"),
                    machine_ = dir_.file("machine"), log_ = dir_.file("log");
  bool mounted_ = false;
  double cell_c_ = warmest_c;
  std::unique_ptr<Listener> watcher_;
  std::unique_ptr<Process> daemon_;
  std::vector<double> resident_mb_;
  std::vector<std::size_t> files_;
};

}  // namespace

int main(int argc, char** argv) {
  const std::chrono::minutes span{argc > 1 ? std::atoi(argv[1]) : 10};
  const fw::mqtt::Library library;
  std::setvbuf(stdout, nullptr, _IONBF, 0);
  Winter winter;
  if (!winter.start()) return 1;
  const auto until = steady_now() + span;
  for (int n = 1; n <= 2 || steady_now() < until; ++n) {
    std::printf("round %d\n", n);
    winter.round();
  }
  winter.end();
  return failed ? 1 : 0;
}
