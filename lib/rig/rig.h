#pragma once
// The rig as its owner described it: plain values, no parsing, no state.
// Everything is SI and already range-checked by whoever built it (see checks.h).
// Indices into the vectors below are the `thing` of a Channel.
#include <array>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "units/channel.h"
#include "units/time.h"

namespace fw::rig {

// ---- where telemetry comes from -------------------------------------------------------------

enum class TimeForm { none, epoch_s, epoch_ms, iso, local };

/// Binds a topic filter and a JSON Pointer to one channel.
/// value = raw * factor + offset, times sign, after the unit is turned into SI.
struct Source {
  Channel channel;
  std::string topic;                        ///< MQTT filter, + and # allowed
  std::string pointer;                      ///< RFC 6901; empty: the whole payload
  std::string unit;                         ///< as written; see units/unit_table.h
  double factor = 1;
  double offset = 0;
  double sign = 1;
  std::string time_pointer;                 ///< sender's own time
  TimeForm time_form = TimeForm::none;
  std::optional<Span> max_age;              ///< none: learned from the interval
  bool unit_confirmed = false;              ///< cell temperature: the owner has looked at values that fit another unit
  std::optional<double> valid_from;         ///< SI
  std::optional<double> valid_to;           ///< SI
  std::vector<double> ignore;               ///< raw values that mean "none"
  std::map<std::string, double> values;     ///< raw text -> stage number, 0/1 or number
  std::string described_at;                 ///< file:line of the config, for messages
};

enum class ForecastLayout { rows, columns };

struct ForecastSource {
  std::string topic;
  ForecastLayout layout = ForecastLayout::rows;
  std::string rows_pointer;                 ///< rows: pointer to the array
  std::string time_pointer;                 ///< rows: inside a row; columns: pointer to the first time
  TimeForm time_form = TimeForm::iso;
  Span step = std::chrono::hours{1};        ///< columns: fixed, or
  std::string step_pointer;                 ///< columns: pointer to the step in seconds
  struct Column {
    std::string pointer;                    ///< rows: inside a row; columns: pointer to an array
    std::string unit;
  };
  std::optional<Column> cloud, air_temperature, snowfall, irradiance, wind;
};

// ---- roof ------------------------------------------------------------------------------------

struct Module {
  double stc_w = 0;                         ///< rated power of one module
  double v_oc_v = 0;                        ///< at STC, of one module; 0 = unknown
  double v_mp_v = 0;                        ///< at STC, of one module; 0 = unknown
  double gamma_pmp_per_k = -0.0035;
  double beta_voc_per_k = -0.0028;
};

struct Controller {
  std::optional<double> max_power_w;        ///< array side
  std::optional<double> max_current_a;      ///< bank side
  std::optional<double> max_voltage_v;      ///< array side, absolute
  double efficiency = 0.97;
};

struct HorizonPoint { double azimuth_deg = 0; double elevation_deg = 0; };

struct PvString {
  std::string name;
  Module module;
  int series = 1;
  int parallel = 1;
  double tilt_deg = 0;                      ///< with the rig level, heading as described
  double azimuth_deg = 180;                 ///< compass bearing the face leans toward
  double wire_loss = 0.01;                  ///< share of power at full output
  Controller controller;
  double rated_w() const { return module.stc_w * series * parallel; }
};

// ---- bank ------------------------------------------------------------------------------------

/// Charge current allowed between two cell temperatures; on a border the lower neighbour counts.
struct ChargeBand { double from_c = 0; double to_c = 0; double c_rate = 0; };

struct ChargeWindow {
  double lower_limit_c = 0;                 ///< at or below: no charging
  double resume_c = 2;                      ///< permit returns above this, after the dwell
  Span resume_dwell = std::chrono::minutes{10};
  double upper_limit_c = 45;                ///< at or above: no charging
  double upper_resume_c = 42;
  std::optional<double> preferred_floor_c;  ///< "never below, if you can help it"
  std::vector<ChargeBand> bands;            ///< empty: bank::default_bands()
  bool interpolate = false;
  std::optional<double> discharge_lower_limit_c;
  Span temperature_grace = std::chrono::minutes{5};  ///< no valid cell temperature this long: no permit
};

struct CellSensor { std::string name; };

struct Bank {
  double capacity_ah = 0;
  double nominal_v = 12.8;
  ChargeWindow window;
  std::vector<CellSensor> sensors;
  double reserve_soc = 0.20;
  double departure_reserve_soc = 0.25;      ///< jacks, slides, heater start
  bool self_heating = false;                ///< the bank heats itself from charge current
  int parallel_batteries = 1;
  double capacity_wh() const { return capacity_ah * nominal_v; }
};

enum class ChargerKind { solar, shore, alternator, other };
enum class StopBy { limit, off, never };

/// A topic and the texts that switch a thing. Payloads are sent as they are.
struct Switch {
  std::string topic;
  std::string on_payload;
  std::string off_payload;
  bool configured() const { return !topic.empty(); }
};

struct Charger {
  std::string name;
  ChargerKind kind = ChargerKind::solar;
  std::vector<int> strings;                 ///< solar: the strings it serves
  StopBy stop_by = StopBy::off;
  Switch command;                           ///< may be unset: permit topic only
  std::string limit_topic;                  ///< optional; payload is limit_payload with {a} filled in
  std::string limit_payload = "{a}";
  double rated_a = 0;                       ///< bank side
  bool stays_on_without_board = true;       ///< named in `check`
  Span confirm_within = std::chrono::seconds{20};
};

struct Heater {
  std::string name;
  Switch command;                           ///< {c} or {f} in on_payload: its set point, off_above, in degC or degF
  double rated_w = 0;
  double on_below_c = 3;                    ///< asks for heat at or below
  double off_above_c = 5;
  double min_soc = 0.30;                    ///< never heats the bank flat
};

// ---- link, phone, alarms ----------------------------------------------------------------------

struct Mqtt {
  std::string host = "127.0.0.1";
  int port = 1883;
  bool tls = false;
  std::string ca_file, cert_file, key_file;
  std::string user;
  std::string password_file;                ///< a file or systemd credential; never a literal in status
  std::string password;                     ///< literal in the config (warned about)
  std::string client_id;                    ///< empty: firnwatt-<rig>
  int protocol = 4;                         ///< 4: MQTT 3.1.1, 5: MQTT 5
  bool clean_session = false;
  int keep_alive_s = 15;
  std::size_t max_payload_bytes = 64 * 1024;
};

struct TimeOfDay { int minutes = 0; };      ///< local, 0..1439

struct Phone {
  std::optional<std::pair<TimeOfDay, TimeOfDay>> quiet;   ///< only urgent speaks
  TimeOfDay morning{7 * 60 + 30};           ///< gathered notices and, if wanted, the daily summary
  bool daily_summary = false;
  bool seen_required = false;               ///< done when the far side confirms on notices/seen
  bool bridge_link = false;                 ///< the bridge reports on `link`; without: link counts as up
  int max_per_day = 3;                      ///< outside urgent
};

enum class Priority { low, high, urgent };

/// Adjusts a built-in alarm.
struct AlarmSetting {
  bool enabled = true;
  std::optional<Priority> priority;
  std::optional<Span> on_delay, off_delay;
  std::optional<double> limit;              ///< SI; meaning per alarm (see alarms/builtin.h)
  std::optional<double> deadband;
};

enum class Test { above, below, equals, missing, rate_above, rate_below };

/// What a rule looks at: a channel, or a value firnwatt derives.
enum class Derived { none, cell_min, cell_max, performance_index, expected_power, hours_left };
struct Signal {
  std::string text;                         ///< as written, e.g. "bank.soc", "strings.front.power"
  Channel channel;
  Derived derived = Derived::none;
  int thing = 0;
};

/// The owner's own alarm.
struct Rule {
  std::string name;
  Signal signal;
  Test test = Test::above;
  double limit = 0;                         ///< SI; rate: per hour
  std::string unit;                         ///< as written, for sentences
  double deadband = 0;
  Span on_delay{}, off_delay{};
  Priority priority = Priority::low;
  std::string text;                         ///< "{value}", "{limit}", "{since}" filled in
};

// ---- advice, journal --------------------------------------------------------------------------

enum class Climb { yes, not_alone, never };

struct Advice {
  Climb climb = Climb::yes;
  double min_gain_kwh = 0.5;
  std::optional<std::pair<TimeOfDay, TimeOfDay>> present;   ///< hours at which somebody is there; none: any
  double max_wind_ms = 10;
  double min_air_c = -20;
  bool away = false;                        ///< at the start; notes change it
  std::optional<double> jack_min_deg, jack_max_deg;         ///< pitch at the ends of the jack's range
  std::optional<double> price_per_kwh;
  std::string currency;
};

struct Journal {
  std::string path;                         ///< empty: <state dir>/<rig>.journal
  Span batch = std::chrono::minutes{15};
  int keep_minutes_days = 60;
  std::size_t max_mb = 200;
};

struct Site {
  double latitude_deg = 0;
  double longitude_deg = 0;
  double altitude_m = 0;
  std::string timezone = "UTC";
  std::optional<std::array<double, 12>> linke_turbidity;
  std::vector<HorizonPoint> horizon;
  double albedo = 0.2;
  double heading_deg = 0, pitch_deg = 0, roll_deg = 0;      ///< attitude at which tilt/azimuth were described
};

struct Display { bool fahrenheit = false; };

struct Rig {
  std::string name;                         ///< [a-z0-9-], used in topics
  Site site;
  std::vector<PvString> strings;
  Bank bank;
  bool has_bank = true;
  std::vector<Charger> chargers;
  std::vector<Heater> heaters;
  std::vector<Source> sources;
  std::optional<ForecastSource> forecast;
  Mqtt mqtt;
  Phone phone;
  std::map<std::string, AlarmSetting, std::less<>> alarms;
  std::vector<Rule> rules;
  Advice advice;
  Journal journal;
  Display display;
  bool simulation = false;                  ///< compressed time allowed; refused beside a real command topic

  /// The owner's deadband of a built-in alarm in the unit of alarms/builtin.h, else what its room takes.
  double alarm_deadband(const char* alarm, double otherwise) const {
    const auto it = alarms.find(alarm);
    return it != alarms.end() ? it->second.deadband.value_or(otherwise) : otherwise;
  }
  bool has(Channel c) const {
    for (const auto& s : sources)
      if (s.channel == c) return true;
    return false;
  }
  bool has(Quantity q) const {
    for (const auto& s : sources)
      if (s.channel.quantity == q) return true;
    return false;
  }
};

}  // namespace fw::rig
