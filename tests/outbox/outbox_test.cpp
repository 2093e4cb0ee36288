#include "outbox/outbox.h"

#include <doctest/doctest.h>

#include "outbox/far_side.h"
#include "units/text.h"

using namespace fw;
using namespace fw::outbox;
using enum rig::Priority;

namespace {

rig::Rig with_bridge() {
  rig::Rig r = plain_rig();
  r.phone.bridge_link = true;
  return r;
}

rig::Rig with_quiet_hours() {
  rig::Rig r = plain_rig();
  r.phone.quiet = {{rig::TimeOfDay{22 * 60}, rig::TimeOfDay{7 * 60}}};
  r.phone.morning = {7 * 60 + 30};
  return r;
}

std::vector<std::string> texts(const FarSide& f) {
  std::vector<std::string> out;
  for (const auto& s : f.shown) out.push_back(s.text);
  return out;
}

}  // namespace

TEST_CASE("a notice is stored before it is sent, and delivered when our broker has confirmed and held for two seconds") {
  FarSide f;
  f.t = 10h;
  f.broker(true);
  f.confirms = false;
  f.outbox->add(f.notice("outage", "aft", high, "Aft string dead."), f.now());
  f.standing.insert("outage-aft");
  f.outbox->advance(f.now(), f.asks());
  const auto effects = f.outbox->take_effects();
  REQUIRE(effects.size() == 5);
  CHECK(std::get<NoticeRow>(std::get<Store>(effects[0]).row).state == "waiting");
  CHECK(std::get<NoticeRow>(std::get<Store>(effects[1]).row).state == "sent");
  CHECK(std::get<AlarmRow>(std::get<Store>(effects[2]).row).event == "notified");
  const auto& text = std::get<Publish>(effects[3]);
  const auto& json = std::get<Publish>(effects[4]);
  CHECK(text.topic == "firnwatt/test/notices/text");
  CHECK(text.payload == "Aft string dead.");
  CHECK(json.topic == "firnwatt/test/notices");
  CHECK(json.qos == 1);
  CHECK_FALSE(json.retain);
  const std::string id = "outage-aft-" + std::to_string(midnight_ms + 36000000);
  CHECK(json.notice_id == id);
  CHECK(json.payload == "{\"id\":\"" + id + "\",\"utc\":\"2026-01-15T16:00:00Z\",\"priority\":\"high\",\"alarm\":\"outage\",\"subject\":\"aft\",\"text\":\"Aft string dead.\"}");
  f.outbox->on_sent("unknown", f.now());
  f.outbox->on_sent(id + "#text", f.now());
  CHECK(f.outbox->open() == 1);
  f.outbox->on_sent(id, f.now());
  CHECK(f.outbox->open() == 1);
  const auto again = f.notice("outage", "aft", high, "Aft string dead.");
  f.to(10h + 1900ms);
  CHECK(f.outbox->open() == 1);
  f.to(10h + 2s);
  CHECK(f.outbox->open() == 0);
  CHECK(f.end_of(id) == "delivered");
  f.outbox->add(again, f.now());  // repeated after a crash: known
  f.settle();
  CHECK(f.outbox->open() == 0);
}

TEST_CASE("one notice is in flight at a time; unconfirmed it is sent again with its id") {
  FarSide f;
  f.t = 10h;
  f.broker(true);
  f.confirms = false;
  f.raise("outage", "aft", high);
  f.raise("bank_gone", "bank", urgent);
  CHECK(f.shown.size() == 1);
  f.to(10h + 5min);
  CHECK(f.shown.size() == 1);
  CHECK(f.doubles >= 2);
  CHECK(f.doubles <= 5);
  f.confirms = true;
  f.broker(false);
  f.broker(true);
  f.to(10h + 6min);
  CHECK(texts(f) == std::vector<std::string>{"outage on aft.", "bank_gone on bank."});
  CHECK(f.outbox->open() == 0);
}

TEST_CASE("three days without coverage: the one still true first with its time, then one summary of the rest") {
  FarSide f(with_bridge());
  f.t = 9h;
  f.broker(true);
  f.link(true);
  f.link(false);
  f.to(9h + 5h);
  f.raise("bank_cold", "bank", low, "Charging is off: cells at -1 °C.");
  f.to(9h + 8h);
  f.end("bank_cold", "bank", "Cells warm again.");
  f.to(9h + 30h);
  f.raise("snow", "fore", low, "Fore string probably under snow.");
  f.to(9h + 34h);
  f.end("snow", "fore");
  f.to(9h + 60h);
  f.raise("bank_low", "bank", high, "Bank at 22 %. Switch off what you can.");
  f.to(9h + 71h + 59min);
  CHECK(f.shown.empty());
  f.to(9h + 72h);
  f.link(true);
  f.to(9h + 72h + 1min);
  REQUIRE(f.shown.size() == 2);
  CHECK(f.shown[0].text == "Yesterday 21:00: Bank at 22 %. Switch off what you can.");
  CHECK(f.shown[0].utc == "2026-01-18T03:00:00Z");
  CHECK(f.shown[1].text ==
        "The phone was out of reach from Thursday 09:00 to 09:00. Came and went: cells too cold to charge Thursday 14:00 to 17:00; "
        "snow (fore) Friday 15:00 to 19:00.");
  CHECK(f.outbox->open() == 0);
  int folded = 0;
  for (const auto& [id, rows] : f.account)
    if (rows.back().state == "folded") {
      ++folded;
      CHECK(rows.back().detail == f.shown[1].id);
    }
  CHECK(folded == 2);
}

TEST_CASE("on return the still true ones go by priority, then by the time they began") {
  FarSide f(with_bridge());
  f.t = 10h;
  f.broker(true);
  f.raise("soiling", "fore", low);
  f.to(11h);
  f.raise("outage", "aft", high);
  f.to(12h);
  f.raise("charging_unpermitted", "aft", urgent);
  f.to(13h);
  f.link(true);
  f.to(14h);
  CHECK(texts(f) == std::vector<std::string>{"12:00: charging_unpermitted on aft.", "11:00: outage on aft.", "10:00: soiling on fore."});
}

TEST_CASE("a link that comes back with more than a day's room folds the least into one summary") {
  FarSide f(with_bridge());
  f.t = 10h;
  f.broker(true);
  for (const char* s : {"a", "b", "c", "d", "e"}) f.raise("outage", s, high);
  f.to(12h);
  f.link(true);
  f.to(13h);
  REQUIRE(f.shown.size() == 3);
  CHECK(f.shown[2].text == "outage on c. outage on d. outage on e.");
  CHECK(f.outbox->open() == 0);
}

TEST_CASE("a short break of the link is nothing to tell; the link's own alarm does not outlive it") {
  FarSide f(with_bridge());
  f.t = 10h;
  f.broker(true);
  f.link(true);
  f.link(false);
  f.to(10h + 30min);
  f.raise("link", "rig", low, "The phone has been out of reach since 10:00.");
  f.to(14h);
  f.link(true);
  f.to(15h);
  CHECK(f.shown.empty());
  CHECK(f.outbox->open() == 0);
}

TEST_CASE("while another client fights for our id, the word about it leaves in the first moment of a connection") {
  FarSide f;
  f.t = 10h;
  f.broker(true);
  f.to(10h + 1min);
  f.broker(false);
  f.raise("client_id", "rig", high, "Another client uses firnwatt's id.");
  f.to(10h + 2min);
  f.broker(true);
  f.to(10h + 2min + 300ms);
  f.broker(false);
  CHECK(texts(f) == std::vector<std::string>{"Another client uses firnwatt's id."});
}

TEST_CASE("a long silence is said once when it is over, though nothing else happened") {
  FarSide f(with_bridge());
  f.t = 10h;
  f.broker(true);
  f.link(true);
  f.link(false);
  f.to(10h + 30min);
  f.raise("link", "rig", low, "The phone has been out of reach since 10:00.");
  f.to(34h);
  f.link(true);
  f.to(35h);
  CHECK(texts(f) == std::vector<std::string>{"The phone was out of reach from yesterday 10:00 to 10:00."});
}

TEST_CASE("in quiet hours only urgent speaks; the rest is one message in the morning") {
  FarSide f(with_quiet_hours());
  f.t = 21h;
  f.broker(true);
  f.to(23h);
  f.raise("bank_low", "bank", high, "Bank at 24 %.");
  f.to(25h);
  f.raise("snow", "fore", low, "Fore string under snow.");
  f.to(26h);
  f.raise("charging_unpermitted", "aft", urgent, "The bank is charging without permit.");
  f.to(27h);
  f.raise("stale", "aft", low);
  f.to(28h);
  f.end("stale", "aft");
  f.to(31h + 29min);
  REQUIRE(f.shown.size() == 1);
  CHECK(f.shown[0].priority == "urgent");
  f.to(32h);
  REQUIRE(f.shown.size() == 2);
  CHECK(f.shown[1].at == 31h + 30min);
  CHECK(f.shown[1].text == "Bank at 24 %. Fore string under snow. Came and went: silent telemetry (aft) 03:00 to 04:00.");
  CHECK(f.shown[1].priority == "high");
}

TEST_CASE("a wobble at night is one message in the morning") {
  FarSide f(with_quiet_hours());
  f.t = 26h;
  f.broker(true);
  f.raise("low_volts", "bank", low, "Bank at 12.39 V.");
  f.to(29h);
  f.end("low_volts", "bank");
  f.to(48h);
  CHECK(texts(f) == std::vector<std::string>{"Came and went: low_volts 02:00 to 05:00."});
}

TEST_CASE("what came and went by day, was low and could not be told is no message of its own next morning") {
  rig::Rig r = plain_rig();
  r.phone.max_per_day = 1;
  FarSide f(r);
  f.t = 9h;
  f.broker(true);
  f.raise("outage", "aft", high);
  f.to(10h);
  f.raise("bank_cold", "bank", low);
  f.to(12h);
  f.end("bank_cold", "bank", "Cells warm again.");
  f.to(40h);
  CHECK(texts(f) == std::vector<std::string>{"outage on aft."});
  CHECK(f.outbox->open() == 0);
  CHECK(f.alarm_rows.back().event == "expired");
}

TEST_CASE("what waited for hours leaves with the figures of now and the time it began") {
  FarSide f(with_bridge());
  f.t = 9h;
  f.broker(true);
  std::optional<std::string> now_words = "Bank 34 %.";
  f.outbox->set_wording([&](std::string_view) { return now_words; });
  f.raise("bank_low", "rig", high, "Bank 30 %.");
  f.to(12h);
  f.link(true);
  f.to(12h + 1min);
  now_words = "Fore string under snow since 13:00: 5 of 300 W.";
  f.link(false);
  f.to(13h);
  f.raise("snow", "fore", high, "Fore string under snow since 13:00: 62 of 840 W.");
  f.to(15h);
  f.link(true);
  f.to(15h + 1min);
  CHECK(texts(f) == std::vector<std::string>{"Since 09:00: Bank 34 %.", "Fore string under snow since 13:00: 5 of 300 W."});

  f.link(false);
  f.to(16h);
  f.raise("shade", "aft", high, "Look at the aft string.");
  now_words.reset();  // it stands, and nothing need be done about it any more
  f.to(18h);
  f.link(true);
  f.to(19h);
  CHECK(f.shown.size() == 2);
  CHECK(f.outbox->open() == 0);
}

TEST_CASE("a single held notice that still stands goes as itself in the morning") {
  FarSide f(with_quiet_hours());
  f.t = 26h;
  f.broker(true);
  f.raise("snow", "fore", low, "Fore string under snow.");
  f.to(48h);
  CHECK(texts(f) == std::vector<std::string>{"02:00: Fore string under snow."});
}

TEST_CASE("a morning inside the quiet hours waits for their end") {
  rig::Rig r = with_quiet_hours();
  r.phone.morning = {6 * 60};
  FarSide f(r);
  f.t = 26h;
  f.broker(true);
  f.raise("snow", "fore", low);
  f.to(48h);
  REQUIRE(f.shown.size() == 1);
  CHECK(f.shown[0].at == 31h);
}

TEST_CASE("an offer or a forecast that is over before it could be told is not told") {
  FarSide f(with_quiet_hours());
  f.t = 26h;
  f.broker(true);
  f.raise("surplus", "rig", low);
  f.to(28h);
  f.end("surplus", "rig");
  f.to(48h);
  CHECK(f.shown.empty());
  CHECK(f.end_of("surplus-rig-" + std::to_string(midnight_ms + 26 * 3600000)) == "expired");
  CHECK(f.outbox->take_unsaid() == std::vector<std::string>{"surplus-rig"});  // so that its next time is news
}

TEST_CASE("a bad day brings at most three messages besides urgent ones, the last kept for what is high; the rest comes in the morning") {
  FarSide f;
  f.t = 8h;
  f.broker(true);
  for (int i = 0; i < 6; ++i) {
    f.to(8h + i * 30min);
    f.raise("soiling", "s" + std::to_string(i), low);
  }
  CHECK(f.shown.size() == 2);
  f.raise("outage", "aft", high);
  CHECK(f.shown.size() == 3);
  f.raise("bank_low", "bank", high);
  CHECK(f.shown.size() == 3);
  f.raise("bank_gone", "bank", urgent);
  CHECK(f.shown.size() == 4);
  f.to(31h);
  CHECK(f.shown.size() == 4);
  f.to(32h);
  REQUIRE(f.shown.size() == 5);
  CHECK(f.shown[4].text == "bank_low on bank. soiling on s2. soiling on s3. soiling on s4. soiling on s5.");
}

TEST_CASE("a good day brings nothing; the daily summary only to who wants it, gathered with what was held") {
  for (const bool wanted : {false, true}) {
    CAPTURE(wanted);
    rig::Rig r = with_quiet_hours();
    r.phone.daily_summary = wanted;
    FarSide f(r);
    f.t = 6h;
    f.broker(true);
    f.outbox->set_summary("Quiet night. Cells 6 °C, bank 71 %.");
    f.to(24h);
    CHECK(texts(f) == (wanted ? std::vector<std::string>{"Quiet night. Cells 6 °C, bank 71 %."} : std::vector<std::string>{}));
    f.to(26h);
    f.raise("snow", "fore", low, "Fore string under snow.");
    f.to(48h);
    CHECK(f.shown.back().text == (wanted ? "Quiet night. Cells 6 °C, bank 71 %. Fore string under snow." : "02:00: Fore string under snow."));
    CHECK(f.shown.size() == (wanted ? 2 : 1));
  }
}

TEST_CASE("an answer the owner asked for goes at once, day's count and quiet hours or not") {
  FarSide f(with_quiet_hours());
  f.t = 26h;
  f.broker(true);
  alarms::Notice n = f.notice("summary", "rig", low, "All quiet.");
  n.key.clear();
  f.outbox->add(n, f.now());
  f.settle();
  CHECK(texts(f) == std::vector<std::string>{"All quiet."});
}

TEST_CASE("the end of what was told is told; the end of what was not is not") {
  FarSide f;
  f.t = 10h;
  f.broker(true);
  f.raise("snow", "fore", low);
  f.to(12h);
  f.end("snow", "fore");
  f.end("snow", "fore", "Fore string clear again at 12:00. Snow cost 0.4 kWh.");
  f.end("snow", "aft", "Aft string clear again at 12:00.");
  CHECK(texts(f) == std::vector<std::string>{"snow on fore.", "Fore string clear again at 12:00. Snow cost 0.4 kWh."});
}

TEST_CASE("an end that waits is dropped when the trouble is back") {
  FarSide f(with_quiet_hours());
  f.t = 21h;
  f.broker(true);
  f.raise("snow", "fore", low, "Fore string under snow.");
  f.to(23h);
  f.end("snow", "fore", "Fore string clear again.");
  f.to(25h);
  f.raise("snow", "fore", low, "Fore string under snow again.");
  f.to(40h);
  CHECK(texts(f) == std::vector<std::string>{"Fore string under snow.", "01:00: Fore string under snow again."});
}

TEST_CASE("a reminder of what has not left yet replaces it and keeps its first time") {
  FarSide f(with_bridge());
  f.t = 10h;
  f.broker(true);
  f.raise("bank_low", "bank", high, "Bank at 22 %.");
  f.to(16h);
  f.remind("bank_low", "bank", high, "Bank at 19 %.");
  f.link(true);
  f.to(17h);
  REQUIRE(f.shown.size() == 1);
  CHECK(f.shown[0].text == "Since 10:00: Bank at 19 %.");
}

TEST_CASE("a reminder of what waits for the morning waits with the rest of it, though quiet hours are over") {
  FarSide f(with_quiet_hours());
  f.t = 21h;
  f.broker(true);
  f.to(25h + 25min);
  f.raise("cabin_cold", "rig", high, "Cabin at 3 \u00b0C.");
  f.to(27h);
  f.raise("stale", "aft", low, "No word from the aft string.");
  f.to(31h + 25min);
  f.remind("cabin_cold", "rig", high, "Cabin at -2 \u00b0C.");
  f.to(32h);
  CHECK(texts(f) == std::vector<std::string>{"Cabin at -2 \u00b0C. No word from the aft string."});
  // What became urgent does not wait.
  f.to(49h);
  f.raise("bank_low", "rig", high, "Bank at 12 %.");
  f.to(55h + 10min);
  f.remind("bank_low", "rig", urgent, "Bank at 8 %.");
  f.to(55h + 11min);
  CHECK(texts(f).back() == "Since 01:00: Bank at 8 %.");
}

TEST_CASE("with seen required a notice is done when the far side says so, and repeated at long intervals until then") {
  rig::Rig r = plain_rig();
  r.phone.seen_required = true;
  FarSide f(r);
  f.t = 10h;
  f.broker(true);
  f.raise("outage", "aft", high);
  f.to(10h + 1min);
  f.raise("bank_gone", "bank", urgent);
  CHECK(f.shown.size() == 2);  // an unseen one does not block the next
  CHECK(f.outbox->open() == 2);
  f.to(34h);
  CHECK(f.doubles >= 4);
  CHECK(f.doubles <= 10);
  for (const auto& s : std::vector<Shown>(f.shown)) f.outbox->on_seen(s.id, f.now());
  f.settle();
  CHECK(f.outbox->open() == 0);
}

TEST_CASE("confirmed by our broker with the link down is not yet delivered: it is sent again on return") {
  FarSide f(with_bridge());
  f.t = 10h;
  f.broker(true);
  f.link(true);
  f.confirms = false;
  f.raise("outage", "aft", high);
  const std::string id = f.shown.at(0).id;
  f.link(false);
  f.outbox->on_sent(id, f.now());
  f.settle();
  CHECK(f.end_of(id) == "sent");
  f.confirms = true;
  f.to(12h);
  f.link(true);
  f.to(13h);
  CHECK(f.doubles == 1);
  CHECK(f.end_of(id) == "delivered");
}

TEST_CASE("a broker that is lost within two seconds of its confirmations may have forgotten them: all are sent again in their order") {
  FarSide f;
  f.t = 10h;
  f.broker(true);
  f.raise("outage", "aft", high);
  f.to(10h + 1s);
  f.raise("bank_gone", "bank", urgent);
  f.to(10h + 1500ms);
  CHECK(f.shown.size() == 2);
  CHECK(f.doubles == 0);
  f.broker(false);
  f.ids.clear();  // what the broker had was not saved
  f.shown.clear();
  f.to(10h + 3s);
  f.broker(true);
  f.to(10h + 10min);
  CHECK(texts(f) == std::vector<std::string>{"outage on aft.", "bank_gone on bank."});
  CHECK(f.outbox->open() == 0);

  f.raise("bank_low", "bank", high);
  f.to(10h + 10min + 3s);
  f.broker(false);
  f.broker(true);
  f.to(11h);
  CHECK(f.doubles == 0);
}

TEST_CASE("after a reconnect an unconfirmed notice is tried as often as a fresh one, however long it was tried before") {
  FarSide f;
  f.t = 10h;
  f.broker(true);
  f.confirms = false;
  f.raise("outage", "aft", high);
  f.to(12h);
  f.broker(false);
  f.broker(true);
  f.to(12h + 11s);
  const int before = f.doubles;
  f.to(12h + 45s);
  CHECK(f.doubles == before + 1);
}

TEST_CASE("a restart sends again what was not confirmed, under the same id, and forgets nothing that waits") {
  FarSide f(with_bridge());
  f.t = 10h;
  f.broker(true);
  f.link(true);
  f.confirms = false;
  f.raise("outage", "aft", high);
  f.raise("bank_low", "bank", high);
  f.restart();
  f.confirms = true;
  f.to(10h + 1min);
  f.broker(true);
  f.link(true);
  f.to(10h + 5min);
  CHECK(f.doubles == 1);
  CHECK(texts(f) == std::vector<std::string>{"outage on aft.", "bank_low on bank."});
  CHECK(f.outbox->open() == 0);
}

TEST_CASE("a repetition that waits is still one after a restart; a state of a version that did not know of them is read") {
  for (const bool known : {true, false}) {
    CAPTURE(known);
    FarSide f(with_bridge());
    f.t = 10h;
    f.broker(true);
    f.link(true);
    f.raise("bank_low", "bank", high, "Bank at 22 %.");
    f.link(false);
    f.to(17h);
    f.remind("bank_low", "bank", high, "Bank at 19 %.");
    auto saved = nlohmann::json::parse(f.outbox->snapshot());
    if (!known)
      for (auto& n : saved["open"]) n.erase("again");
    f.outbox = std::make_unique<Outbox>(f.rig, f.words);
    f.outbox->restore(saved.dump(), f.now());
    f.broker(true);
    f.link(true);
    f.to(17h + 5min);
    REQUIRE(f.shown.size() == 2);
    CHECK(f.shown[1].text == (known ? "Still so. Bank at 19 %." : "Bank at 19 %."));
  }
}

TEST_CASE("what finds no way out for a month expires and says so") {
  FarSide f(with_bridge());
  f.t = 10h;
  f.broker(true);
  f.raise("bank_low", "bank", high);
  const std::string id = "bank_low-bank-" + std::to_string(midnight_ms + 36000000);
  f.to(10h + 24h * 30);
  CHECK(f.end_of(id) == "expired");
  CHECK(f.account[id].back().detail == "no way out within 30 days");
}

TEST_CASE("a clock that steps two weeks forward and three hours back brings no second morning and no loss") {
  rig::Rig r = with_quiet_hours();
  r.phone.daily_summary = true;
  FarSide f(r);
  f.t = 7h;
  f.broker(true);
  f.outbox->set_summary("Quiet night.");
  f.to(8h);
  CHECK(f.shown.size() == 1);
  const auto at = [&](Span offset) {
    Now n = f.now();
    n.utc += offset;
    f.outbox->advance(n, f.asks());
    std::size_t published = 0;
    for (const auto& e : f.outbox->take_effects())
      if (const auto* p = std::get_if<Publish>(&e); p && p->topic == "firnwatt/test/notices") {
        ++published;
        f.outbox->on_sent(p->notice_id, n);
      }
    return published;
  };
  f.t = 9h;
  CHECK(at(24h * 14) <= 1);
  f.t = 9h + 1min;
  CHECK(at(24h * 14) == 0);
  f.t = 9h + 2min;
  CHECK(at(24h * 14 - 3h) == 0);
  f.t = 9h + 3min;
  CHECK(at(24h * 14 - 3h) == 0);
}

TEST_CASE("extra timer ticks change nothing") {
  const auto run = [](Span nudge) {
    rig::Rig r = with_quiet_hours();
    r.phone.bridge_link = true;
    FarSide f(r);
    f.broker(true);
    std::uint32_t seed = 11;
    const auto pick = [&](std::uint32_t n) { return (seed = seed * 1664525u + 1013904223u) / 65536u % n; };
    for (int i = 0; i < 200; ++i) {
      const Span until = f.t + Span(pick(60'000) * 100);
      if (nudge > Span::zero())
        for (Span extra = f.t + nudge; extra < until; extra += nudge) f.to(extra);
      f.to(until);
      const char* subject = pick(2) ? "fore" : "aft";
      switch (pick(6)) {
        case 0: case 1: f.raise(pick(2) ? "snow" : "outage", subject, static_cast<rig::Priority>(pick(3))); break;
        case 2: f.end("snow", subject, "Over."); break;
        case 3: f.link(pick(3) != 0); break;
        case 4: f.broker(pick(4) != 0); break;
        case 5: f.confirms = pick(4) != 0; break;
      }
    }
    std::string out;
    for (const auto& s : f.shown) out += s.id + " " + std::to_string(s.at.count()) + " " + s.text + "\n";
    for (const auto& [id, rows] : f.account)
      for (const auto& row : rows) out += id + " " + row.state + " " + row.detail + "\n";
    return out;
  };
  const std::string plain = run(0ms);
  CHECK(plain.size() > 2000);
  for (const Span nudge : {Span(60'000), Span(61'001), Span(997'000)}) CHECK(run(nudge) == plain);
}

TEST_CASE("an unreadable or foreign snapshot leaves a fresh outbox") {
  for (const char* text : {"", "{", "[]", "{\"version\":9,\"open\":[]}", "{\"version\":1,\"open\":{}}",
                           "{\"version\":1,\"open\":[1,{\"id\":\"\"},{\"id\":\"x\",\"utc\":9223372036854775807,\"priority\":77}],\"told\":[1],\"closed\":{},\"counted\":-5}"}) {
    CAPTURE(text);
    FarSide f;
    f.t = 10h;
    f.outbox->restore(text, f.now());
    f.broker(true);
    f.raise("outage", "aft", high);
    f.to(48h);
    CHECK(f.end_of("outage-aft-" + std::to_string(midnight_ms + 36000000)) != "unknown");
  }
}

TEST_CASE("what the owner read in the morning is not said again an hour later, for it began in the night") {
  FarSide f(with_quiet_hours());
  f.t = 26h;
  f.broker(true);
  f.raise("cabin_cold", "rig", high, "Cabin at 3 °C.");
  f.raise("bank_low", "rig", high, "Bank 19 %.");
  f.to(31h + 31min);
  REQUIRE(f.shown.size() == 1);
  f.to(32h + 10min);
  f.remind("cabin_cold", "rig", high, "Cabin at 3 °C.");
  f.remind("bank_low", "rig", high, "Bank 18 %.");
  f.to(35h);
  f.end("bank_low", "rig", "Bank above its reserve again.");
  f.to(37h + 29min);
  CHECK(texts(f) == std::vector<std::string>{"Cabin at 3 °C. Bank 19 %.", "Bank above its reserve again."});
  f.to(38h);
  REQUIRE(f.shown.size() == 3);
  CHECK(f.shown[2].text == "Still so. Cabin at 3 °C.");
  CHECK(f.shown[2].at == 37h + 30min);
}

TEST_CASE("a daily summary that says what stands is not followed by the same words") {
  rig::Rig r = with_quiet_hours();
  r.phone.daily_summary = true;
  FarSide f(r);
  f.t = 26h;
  f.broker(true);
  f.outbox->set_summary("Bank 19 %, below its reserve.\nToday about 2 kWh.");
  f.raise("bank_low", "rig", high, "Bank 19 %, below its reserve.");
  f.raise("snow", "fore", high, "Fore string under snow.");
  f.to(32h);
  CHECK(texts(f) == std::vector<std::string>{"Bank 19 %, below its reserve. Today about 2 kWh. Fore string under snow."});
}

TEST_CASE("an end told on a later day names that day, and its time where the text has none") {
  FarSide f(with_quiet_hours());
  f.t = 20h;
  f.broker(true);
  f.raise("snow", "fore", high, "Fore string under snow.");
  f.raise("outage", "aft", high, "Aft string dead.");
  f.to(23h);
  f.end("snow", "fore", "Fore string clear again at 22:50. Snow cost 0.4 kWh.");
  f.end("outage", "aft", "Aft string is back.");
  f.to(32h);
  REQUIRE(f.shown.size() == 3);
  CHECK(f.shown[2].text == "Yesterday: Fore string clear again at 22:50. Snow cost 0.4 kWh. Yesterday 23:00: Aft string is back.");
}

TEST_CASE("a gathered message tells the worst in full and no more than fits in 240 characters, the rest by name") {
  FarSide f(with_quiet_hours());
  f.t = 23h;
  f.broker(true);
  const std::string half(110, 'x');
  f.raise("stale", "aft", low, "Low. " + half + ".");
  f.raise("outage", "aft", high, "High. " + half + ".");
  f.raise("cabin_cold", "rig", high, "Cold. " + half + ".");
  f.to(32h);
  REQUIRE(f.shown.size() == 1);
  CHECK(f.shown[0].text == "High. " + half + ". Cold. " + half + ". Also: silent telemetry (aft) since yesterday 23:00.");
}

TEST_CASE("what fell silent together and came back together is one entry") {
  const Words words = *Words::in_zone("Etc/GMT+6", false);
  const Utc t = utc_ms(midnight_ms);
  std::vector<Item> gone;
  for (const char* s : {"awning", "port", "star"}) gone.push_back({std::string("stale-") + s, label_of("stale", s), "", t + 13h, t + 18h});
  gone.push_back({"stale-rear_cab", label_of("stale", "rear_cab"), "", t + 14h, t + 18h});
  CHECK(gathered_text("", {}, gone, t + 20h, words) ==
        "Came and went: silent telemetry (awning, port, star) 13:00 to 18:00; silent telemetry (rear cab) 14:00 to 18:00.");
}

TEST_CASE("a long list is cut with a count") {
  const Words words = *Words::in_zone("Etc/GMT+6", false);
  std::vector<Item> gone;
  for (int i = 0; i < 9; ++i)
    gone.push_back({"k" + std::to_string(i), "rule" + std::to_string(i), "", utc_ms(midnight_ms) + i * 1h, utc_ms(midnight_ms) + i * 1h + 20min});
  gone.push_back({"k0", "rule0", "", utc_ms(midnight_ms) + 9h, std::nullopt});
  CHECK(gathered_text("", {}, gone, utc_ms(midnight_ms) + 12h, words) ==
        "Came and went: rule0 2 times, last 09:00; rule1 01:00 to 01:20; rule2 02:00 to 02:20; rule3 03:00 to 03:20; "
        "rule4 04:00 to 04:20; rule5 05:00 to 05:20; and 3 more.");
}
