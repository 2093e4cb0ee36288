// The account: over random weeks of alarms, broken links, dead brokers, deaf phones and restarts, every
// stored notice ends as exactly one of delivered, folded into a named summary, or expired with a reason.
#include <doctest/doctest.h>

#include <cstdlib>
#include <random>

#include "outbox/far_side.h"

using namespace fw;
using namespace fw::outbox;

namespace {

int runs() { return std::getenv("FW_LONG") ? 5000 : 500; }

bool final(const std::string& state) { return state == "delivered" || state == "folded" || state == "expired"; }

void live_through(FarSide& f, std::mt19937& rng) {
  const auto pick = [&](int n) { return static_cast<int>(rng() % static_cast<unsigned>(n)); };
  const char* alarms[] = {"snow", "outage", "bank_low", "charging_unpermitted", "surplus", "stale", "link", "own_rule"};
  const char* subjects[] = {"fore", "aft"};
  for (int step = 0; step < 120; ++step) {
    f.to(f.t + Span(1 + rng() % 7'200'000));
    const std::string alarm = alarms[pick(8)], subject = subjects[pick(2)];
    switch (pick(12)) {
      case 0: case 1: case 2: f.raise(alarm, subject, static_cast<rig::Priority>(pick(3))); break;
      case 3: case 4: f.end(alarm, subject, pick(2) ? alarm + " over." : ""); break;
      case 5: f.link(pick(3) != 0); break;
      case 6: f.broker(pick(3) != 0); break;
      case 7: f.confirms = pick(4) != 0; break;
      case 8: f.sees = pick(3) != 0; break;
      case 9: f.restart(); break;
      case 10: f.to(f.t + 24h * pick(4)); break;
      case 11:
        if (!f.shown.empty()) f.outbox->on_seen(f.shown[rng() % f.shown.size()].id, f.now());
        break;
    }
  }
  // In the end everything works again.
  f.confirms = f.sees = true;
  f.broker(true);
  f.link(true);
  f.broker(false);
  f.broker(true);
  f.to(f.t + 24h * 31);
}

}  // namespace

TEST_CASE("every stored notice ends as exactly one of delivered, folded or expired") {
  int delivered = 0, folded = 0, expired = 0;
  for (int run = 0; run < runs(); ++run) {
    CAPTURE(run);
    std::mt19937 rng(static_cast<unsigned>(run));
    rig::Rig r = plain_rig();
    r.phone.bridge_link = rng() % 2;
    r.phone.seen_required = rng() % 2;
    r.phone.daily_summary = rng() % 4 == 0;
    if (rng() % 2) r.phone.quiet = {{rig::TimeOfDay{static_cast<int>(rng() % 1440)}, rig::TimeOfDay{static_cast<int>(rng() % 1440)}}};
    r.phone.max_per_day = 1 + static_cast<int>(rng() % 5);
    FarSide f(r);
    f.outbox->set_summary("Quiet night.");
    f.broker(true);
    live_through(f, rng);

    REQUIRE(f.outbox->open() == 0);
    std::map<std::string, int> per_day;
    for (const auto& s : f.shown) {
      if (s.priority == "urgent") continue;
      const Now then{elapsed_ms(midnight_ms) + s.at, utc_ms(midnight_ms) + s.at, true};
      REQUIRE(++per_day[f.words.local_date(then.utc)] <= r.phone.max_per_day);
      if (!r.phone.quiet) continue;
      const int from = r.phone.quiet->first.minutes, to = r.phone.quiet->second.minutes, m = f.words.minute_of_day(then.utc);
      const bool quiet = from <= to ? m >= from && m < to : m >= from || m < to;
      REQUIRE_FALSE(quiet);
    }
    for (const auto& [id, rows] : f.account) {
      CAPTURE(id);
      REQUIRE(rows.front().state == "waiting");
      int ends = 0;
      for (const auto& row : rows) ends += final(row.state);
      REQUIRE(ends == 1);
      const NoticeRow& last = rows.back();
      REQUIRE(final(last.state));
      if (last.state == "delivered") {
        ++delivered;
        REQUIRE(f.ids.contains(id));
      } else if (last.state == "folded") {
        ++folded;
        REQUIRE(f.account.contains(last.detail));
        REQUIRE(f.end_of(last.detail) != "folded");
      } else {
        ++expired;
        REQUIRE_FALSE(last.detail.empty());
      }
      REQUIRE_FALSE(last.text.empty());
    }
  }
  MESSAGE(runs(), " runs: ", delivered, " delivered, ", folded, " folded, ", expired, " expired");
  CHECK(delivered > runs());
  CHECK(folded > runs());
  CHECK(expired > runs());
}
