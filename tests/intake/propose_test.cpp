#include "intake/propose.h"

#include <doctest/doctest.h>

#include <algorithm>

#include "config/load.h"
#include "intake/guess.h"
#include "units/text.h"

using namespace fw;
using intake::Guess;

namespace {

struct Heard {
  intake::Listener listener;
  Elapsed at = elapsed_ms(1768478400000);
  void say(const std::string& topic, const std::string& payload, bool retain = false) { listener.take({at, topic, payload, retain}); }
  const intake::Field field(const std::string& topic, const std::string& pointer) const {
    for (const auto& f : listener.fields())
      if (f.topic == topic && f.pointer == pointer) return f;
    return {};
  }
  config::Loaded starter() const {
    auto loaded = config::load_text(listener.starter_config("127.0.0.1", 1883), "starter.yaml");
    for (const Fault& f : loaded.faults) MESSAGE(f.text());
    return loaded;
  }
};

}  // namespace

TEST_CASE("an unknown broker becomes a starter config that loads and feeds the right channels") {
  Heard h;
  for (int i = 0; i < 20; ++i) {
    h.at += seconds{30};
    h.say("lodge/solar/left", R"({"watts":212.5,"volts":38.1,"stage":"bulk"})");
    h.say("lodge/solar/right", R"({"watts":95.0,"volts":37.2,"stage":"sleeping"})");
    h.say("lodge/battery", R"({"voltage":13.21,"current":-4.2,"soc":71,"cells":[{"temp":4.1},{"temp":4.6}],"ts":)" + std::to_string(ms_of(h.at) / 1000) + "}");
    if (i % 4 == 0) h.say("lodge/climate", R"({"outside":-6.0,"cabin":17.5})");
    h.say("lodge/loads/power", "85");
    h.say("lodge/blob", "\xFF\xFE\xFD");
  }
  const auto loaded = h.starter();
  REQUIRE(loaded.rig);
  const rig::Rig& r = *loaded.rig;
  REQUIRE(r.strings.size() == 2);
  CHECK(r.strings[0].name == "left");
  for (int i : {0, 1})
    for (const Quantity q : {Quantity::string_power, Quantity::string_voltage, Quantity::stage}) CHECK(r.has(Channel{q, i}));
  for (const Quantity q : {Quantity::bank_voltage, Quantity::bank_current, Quantity::soc, Quantity::air_temperature, Quantity::cabin_temperature, Quantity::load_power})
    CHECK(r.has(q));
  CHECK(r.bank.sensors.size() == 2);
  for (const rig::Source& s : r.sources)
    if (s.channel.quantity == Quantity::cell_temperature) {
      CHECK(s.max_age == minutes{2});  // three times 30 s, in whole minutes
      CHECK(s.time_form == rig::TimeForm::epoch_s);
      CHECK(s.unit == "degC");
    }
  CHECK(h.listener.unread() == 20);
}

TEST_CASE("a starter config loads even when nothing useful was heard") {
  Heard h;
  CHECK(h.starter().rig);
  h.say("a/\"b\"/\\c", "1");
  h.say("weird topic/#?", "{\"k\\\"ey\":[1,2,{\"x\":null}]}");
  h.say("x", std::string(300000, '1'));
  h.say("y", "\xFF");
  CHECK(h.starter().rig);
}

TEST_CASE("units are guessed from names and ranges") {
  struct Row { const char* topic; const char* payload; const char* pointer; Quantity q; const char* unit; double factor; };
  for (const Row& r : {Row{"van/battery/temperature", "38", "", Quantity::cell_temperature, "degC", 1}, Row{"van/battery/temperature", "63", "", Quantity::cell_temperature, "degF", 1},
                       Row{"van/battery/temp", "276.4", "", Quantity::cell_temperature, "K", 1}, Row{"van/battery/temp", "2764", "", Quantity::cell_temperature, "K", 0.1},
                       Row{"van/battery/voltage", "13120", "", Quantity::bank_voltage, "mV", 1}, Row{"van/battery/soc", "0.71", "", Quantity::soc, "fraction", 1},
                       Row{"van/bms", R"({"current_ma":-4200})", "/current_ma", Quantity::bank_current, "mA", 1}, Row{"van/outside/temperature", "-4", "", Quantity::air_temperature, "degC", 1},
                       Row{"van/cabin/temp_f", "66", "", Quantity::cabin_temperature, "degF", 1},
                       Row{"van/bank", R"({"cells":[6.2,-1.5]})", "/cells/0", Quantity::cell_temperature, "degC", 1},
                       Row{"van/bank", R"({"cells":[6.2,-1.5]})", "/cells/1", Quantity::cell_temperature, "degC", 1}}) {
    CAPTURE(r.topic);
    CAPTURE(r.payload);
    Heard h;
    h.say(r.topic, r.payload);
    const auto f = h.field(r.topic, r.pointer);
    REQUIRE(f.guess.kind == Guess::Kind::channel);
    CHECK(f.guess.quantity == r.q);
    CHECK(f.guess.unit == r.unit);
    CHECK(f.guess.factor == r.factor);
  }
}

TEST_CASE("volts of single cells and their number are not taken for temperatures") {
  Heard h;
  h.say("van/bank", R"({"cells":[3.31,3.29,3284]})");
  h.say("van/bms", R"({"cells":16})");
  for (const char* pointer : {"/cells/0", "/cells/1", "/cells/2"}) CHECK(h.field("van/bank", pointer).guess.quantity != Quantity::cell_temperature);
  CHECK(h.field("van/bms", "/cells").guess.quantity != Quantity::cell_temperature);
}

TEST_CASE("forecasts in both layouts are recognised") {
  for (const bool rows : {true, false}) {
    CAPTURE(rows);
    Heard h;
    std::string items, column;
    for (int i = 0; i < 48; ++i) {
      const std::string t = iso_utc(utc_ms(1768478400000 + i * 3600000));
      items += (i ? "," : "") + std::string{"{\"time\":\""} + t + "\",\"cloud\":30,\"temp\":-4,\"snow\":0}";
      column += (i ? ",30" : "30");
    }
    h.say("wx", rows ? "{\"hours\":[" + items + "]}" : "{\"first\":\"2026-01-15T12:00:00Z\",\"step_s\":3600,\"cloud\":[" + column + "],\"temp\":[" + column + "]}");
    const auto loaded = h.starter();
    REQUIRE(loaded.rig);
    REQUIRE(loaded.rig->forecast);
    CHECK(loaded.rig->forecast->cloud);
    CHECK(loaded.rig->forecast->air_temperature);
    CHECK((loaded.rig->forecast->layout == rig::ForecastLayout::rows) == rows);
  }
}

TEST_CASE("the longest silence counts live messages only") {
  Heard h;
  h.say("t/battery/temp", "4", true);
  CHECK(h.field("t/battery/temp", "").only_retained);
  h.at += hours{9};
  h.say("t/battery/temp", "4");
  h.at += seconds{20};
  h.say("t/battery/temp", "4");
  h.at += seconds{70};
  h.say("t/battery/temp", "5");
  CHECK(h.field("t/battery/temp", "").longest_silence == seconds{70});
  CHECK(intake::proposed_max_age(seconds{70}) == minutes{4});
  CHECK(intake::proposed_max_age(seconds{2}) == minutes{1});
  CHECK(intake::proposed_max_age(hours{5}) == minutes{15});
}

TEST_CASE("the table lists every field with its last value and a guess") {
  Heard h;
  h.say("lodge/solar/left", R"({"watts":212.5})");
  h.at += seconds{30};
  h.say("lodge/solar/left", R"({"watts":213.5})");
  const auto table = h.listener.table();
  REQUIRE(table.size() == 2);
  CHECK(table[0] == "topic and field          last value  every       looks like");
  CHECK(table[1] == "lodge/solar/left /watts  213.5       up to 30 s  power of a string (left), W");
}

TEST_CASE("a broker with thousands of topics is looked at within bounds") {
  Heard h;
  for (int i = 0; i < 5000; ++i) h.say("many/" + std::to_string(i), "1");
  CHECK(h.listener.fields().size() == 2000);
  CHECK(h.listener.unread() == 3000);
}
