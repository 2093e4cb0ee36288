#include "core/core.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "core/state_text.h"
#include "units/json.h"
#include "units/text.h"

namespace fw::core {

namespace {

constexpr Span alive_every = std::chrono::minutes{15};
constexpr Span state_every = std::chrono::minutes{5};
constexpr Span minute = std::chrono::minutes{1};
constexpr std::string_view run_goes_on = "goes on", run_ended = "ended";   ///< the snapshot "run"

template <class... F>
struct Match : F... { using F::operator()...; };
template <class... F>
Match(F...) -> Match<F...>;

}  // namespace

Core::Core(rig::Rig rig, const Words& words, Now start, guard::Continuity how, Span snapshots_every)
    : rig_(std::move(rig)),
      words_(words),
      root_("firnwatt/" + rig_.name + "/"),
      how_(how),
      snapshots_every_(snapshots_every),
      now_(start.at),
      offset_(start.utc.time_since_epoch() - start.at.time_since_epoch()),
      trusted_(start.trusted),
      intake_(rig_),
      window_(rig_),
      guard_(rig_, words_),
      diagnosis_(rig_, words_),
      outlook_(rig_, words_),
      alarms_(rig_, words_),
      outbox_(rig_, words_),
      told_cause_(rig_.strings.size()),
      told_reason_(rig_.strings.size()),
      minute_due_(floor_to(start.at, minute) + minute),
      alive_due_(start.at),
      state_due_(floor_to(start.at, state_every) + state_every),
      snapshot_due_(floor_to(start.at, snapshots_every) + snapshots_every) {
  outbox_.set_wording([this](std::string_view key) { return alarms_.wording(key); });
  store(SnapshotRow{stamp(), "rig", rig_meta(rig_)});
  if (how_ == guard::Continuity::reload) store(EventRow{stamp(), "reload", "config read again"});
  else store(EventRow{stamp(), "start", "watching begins"});
  store(SnapshotRow{stamp(), "run", std::string(run_goes_on)});
}

void Core::restore(const std::map<std::string, std::string>& snapshots) {
  const auto of = [&](const char* room) -> std::string_view {
    const auto it = snapshots.find(room);
    return it == snapshots.end() ? std::string_view{} : std::string_view{it->second};
  };
  if (how_ == guard::Continuity::restart && of("run") == run_goes_on) {
    const std::string text = "the run before ended without a stop: power lost, a crash, or a hang that the watchdog ended";
    store(EventRow{stamp(), "cut_off", text});
    log(Level::warn, text);
  }
  if (!of("window").empty()) window_.restore(of("window"));
  if (!of("guard").empty()) guard_.restore(of("guard"), now(), how_);
  if (!of("diagnosis").empty()) diagnosis_.restore(of("diagnosis"));
  if (!of("outlook").empty()) outlook_.restore(of("outlook"));
  if (!of("alarms").empty()) alarms_.restore(of("alarms"), now());
  if (!of("outbox").empty()) outbox_.restore(of("outbox"), now());
}

std::map<std::string, std::string> Core::snapshots() const {
  return {{"window", window_.snapshot()},   {"guard", guard_.snapshot()},   {"diagnosis", diagnosis_.snapshot()},
          {"outlook", outlook_.snapshot()}, {"alarms", alarms_.snapshot()}, {"outbox", outbox_.snapshot()}};
}

std::vector<std::string> Core::filters() const {
  std::vector<std::string> all = intake_.filters();
  for (const auto& f : Inbound::filters()) all.push_back(root_ + f);
  return all;
}

// ---- time ------------------------------------------------------------------------------------

std::optional<Elapsed> Core::next_deadline() const {
  Elapsed next = std::min({minute_due_, alive_due_, state_due_, snapshot_due_});
  for (const auto& d : {guard_.next_deadline(), alarms_.next_deadline(), outbox_.next_deadline()})
    if (d) next = std::min(next, *d);
  return std::max(next, now_);
}

void Core::advance_to(Elapsed t) {
  if (t < now_) return;
  fire_until(t);
  now_ = std::max(now_, t);
}

void Core::fire_until(Elapsed t) {
  enum Id { guard, minute_end, alarms, outbox, state, snapshot, alive, count };
  std::array<Elapsed, count> last_fired;
  last_fired.fill(Elapsed::min());
  for (;;) {
    std::array<std::optional<Elapsed>, count> due{guard_.next_deadline(), minute_due_, alarms_.next_deadline(), outbox_.next_deadline(),
                                                  state_due_, snapshot_due_, alive_due_};
    int first = -1;
    for (int id = 0; id < count; ++id) {
      if (!due[id]) continue;
      // A room that asks again for an instant it was just given waits a millisecond, so time always moves.
      if (*due[id] <= last_fired[id]) due[id] = last_fired[id] + Span{1};
      if (first < 0 || *due[id] < *due[first]) first = id;
    }
    if (first < 0 || *due[first] > t) return;
    now_ = std::max(now_, *due[first]);
    last_fired[first] = *due[first];
    switch (first) {
      case guard: guard_.advance(now()); break;
      case minute_end:
        minute_due_ += minute;
        on_minute();
        break;
      case alarms: alarms_.advance(now()); break;
      case outbox: outbox_.advance(now(), [this](std::string_view key) { return alarms_.standing(key); }); break;
      case state:
        state_due_ += state_every;
        if (minute_) publish_state(*minute_);
        publish_summary(false);
        break;
      case snapshot:
        snapshot_due_ += snapshots_every_;
        store_snapshots(true);
        break;
      case alive:
        alive_due_ += alive_every;
        publish_alive("online");
        break;
      default: break;
    }
    collect();
  }
}

// ---- messages --------------------------------------------------------------------------------

void Core::on_message(const Message& m) {
  ++counts_.messages;
  if (m.at < now_) {
    ++counts_.late;
  } else {
    fire_until(m.at);
    now_ = std::max(now_, m.at);
  }
  if (m.topic.starts_with(root_)) take_inbound(m, std::string_view{m.topic}.substr(root_.size()));
  else take_telemetry(m);
  collect();
}

void Core::take_telemetry(const Message& m) {
  const Now t = now();
  intake::Taken taken = m.at == now_ ? intake_.take(m, t) : intake_.take(Message{now_, m.topic, m.payload, m.retain}, t);
  if (!taken.matched) {
    ++counts_.unmatched;
    return;
  }
  for (const Reading& r : taken.readings) {
    guard_.on_reading(r, t);
    window_.on_reading(r);
    alarms_.on_reading(r, t);
  }
  if (taken.forecast) forecast_ = std::move(taken.forecast);
  for (const Fault& f : taken.faults) {
    ++counts_.payload_faults;
    log(Level::warn, f.text());
  }
}

void Core::take_inbound(const Message& m, std::string_view below_root) {
  auto read = inbound_.read(below_root, m);
  if (!read) {
    ++counts_.inbound_refused;
    log(Level::warn, read.fault().text());
    return;
  }
  const Now t = now();
  const auto done = [&](const Result<void>& r) {
    if (!r) log(Level::warn, r.fault().text());
  };
  std::visit(
      Match{
          [&](const ClockSet& c) {
            const Span change = c.offset - offset_;
            if (change == Span::zero() && c.trusted == trusted_) return;
            offset_ = c.offset;
            trusted_ = c.trusted;
            store(ClockRow{stamp(), change, trusted_});
            store(EventRow{stamp(), "clock",
                           trusted_ ? "clock set, moved by " + Words::span(change < Span::zero() ? -change : change) +
                                          (change < Span::zero() ? " back" : " forward")
                                    : "clock not to be trusted"});
          },
          [&](const BrokerState& b) {
            const bool came = b.connected && !broker_connected_;
            if (b.connected != broker_connected_)
              store(EventRow{stamp(), "broker", b.connected ? "broker connected" : "broker lost: " + b.why});
            broker_connected_ = b.connected;
            id_taken_ = b.id_taken;
            outbox_.on_broker(b.connected, t);
            if (!came) return;
            for (auto& e : alarms_.republish()) effects_.push_back(std::move(e));
            for (const auto& [topic, payload] : published_) effects_.push_back(Publish{"", root_ + topic, payload, 1, true, {}, ""});
            publish_alive("online");
          },
          [&](const LinkState& l) {
            link_seen_ = true;
            if (l.up != link_up_) {
              store(EventRow{stamp(), "link", l.up ? "phone link up" : "phone link down"});
              link_down_since_ = l.up ? std::nullopt : std::optional{now_};
              if (l.up) alarms_.on_link_back(t);
            }
            link_up_ = l.up;
            outbox_.on_link(l.up, t);
          },
          [&](const NoticeSent& n) { outbox_.on_sent(n.id, t); },
          [&](const NoticeSeen& n) { outbox_.on_seen(n.id, t); },
          [&](const JournalState& j) { journal_trouble_ = j.trouble; },
          [&](const Acknowledge& a) { done(alarms_.acknowledge(a.key, a.by, t)); },
          [&](const Shelve& s) { done(alarms_.shelve(s.key, s.hours, t)); },
          [&](const Ask&) {
            publish_summary(true);
            alarms::Notice answer;
            answer.id = "ask-" + std::to_string(ms_of(now_)) + "-" + std::to_string(++asked_);
            answer.utc = t.utc;
            answer.priority = rig::Priority::high;
            answer.alarm = "summary";
            answer.subject = "rig";
            answer.text = published_["summary"];
            outbox_.add(answer, t);
          },
          [&](const Said& s) {
            Note note{now_, t.utc, s.event, std::nullopt, s.text};
            if (s.string) {
              for (std::size_t i = 0; i < rig_.strings.size(); ++i)
                if (rig_.strings[i].name == *s.string) note.string = static_cast<int>(i);
              if (!note.string) {
                log(Level::warn, "note names string '" + printable(*s.string, 40) + "', which this rig does not have");
                return;
              }
            }
            take_note(std::move(note));
          },
          [](const Ours&) {},
      },
      *read);
  outbox_.advance(t, [this](std::string_view key) { return alarms_.standing(key); });
}

void Core::take_note(Note note) {
  store(NoteRow{stamp(), std::string(name(note.event)), note.string ? rig_.strings[static_cast<std::size_t>(*note.string)].name : "",
                note.text});
  diagnosis_.on_note(note);
  outlook_.on_note(note, now());
}

// ---- the minute ------------------------------------------------------------------------------

void Core::on_minute() {
  RigMinute m = window_.close_minute(now());
  m.cell_min_c = guard_.cell_min_c();
  m.cell_max_c = guard_.cell_max_c();
  m.permit_known = !rig_.chargers.empty();
  m.permit = !m.permit_known || guard_.any_solar_permit();
  m.forecast = forecast_ ? &*forecast_ : nullptr;
  guard_.on_minute(m);
  minute_ = std::move(m);
  minute_->forecast = forecast_ ? &*forecast_ : nullptr;

  // The guard must outlive any fault in the judging rooms.
  try {
    judge(*minute_);
    diagnosis_fault_.reset();
  } catch (const std::exception& e) {
    if (!diagnosis_fault_) {
      log(Level::error, std::string("judging failed, the guard goes on: ") + e.what());
      store(EventRow{stamp(), "fault", std::string("judging failed: ") + e.what()});
    }
    diagnosis_fault_ = e.what();
  }

  BankRow bank;
  bank.when = {minute_->start, now_, trusted_};
  bank.cell_min_c = minute_->cell_min_c;
  bank.cell_max_c = minute_->cell_max_c;
  bank.soc = minute_->soc;
  bank.voltage_v = minute_->bank_voltage_v;
  bank.current_a = minute_->bank_current_a;
  bank.air_c = minute_->air_c;
  bank.cabin_c = minute_->cabin_c;
  bank.load_w = minute_->load_w;
  if (minute_->permit_known) bank.permit = minute_->permit;
  for (int c = 0; c < static_cast<int>(rig_.chargers.size()); ++c)
    if (const auto a = guard_.current_limit_a(c)) bank.current_limit_a = bank.current_limit_a.value_or(0) + *a;
  store(std::move(bank));

  gather_facts();
  alarms_.advance(now());
}

void Core::judge(const RigMinute& m) {
  if (!trusted_) {
    verdicts_.clear();
    return;
  }
  verdicts_ = diagnosis_.on_minute(m);
  std::vector<const roof::Calibration*> calibrations;
  for (int i = 0; i < static_cast<int>(rig_.strings.size()); ++i) calibrations.push_back(&diagnosis_.calibration(i));
  outlook_.on_minute(m, verdicts_, calibrations);

  const std::string local_date = words_.local_date(m.start);
  bool changed = false;
  for (const Verdict& v : verdicts_) {
    const auto i = static_cast<std::size_t>(v.string);
    const StringMinute& s = m.strings[i];
    const std::string& string_name = rig_.strings[i].name;
    if (told_cause_[i] != v.cause || told_reason_[i] != v.reason) {
      VerdictChangeRow row;
      row.when = {v.utc, now_, trusted_};
      row.string = string_name;
      row.cause = v.cause;
      row.confidence = v.confidence;
      row.reason = v.reason;
      for (const auto& e : v.evidence) row.evidence += (row.evidence.empty() ? "" : "; ") + e;
      changed = changed || told_cause_[i] != v.cause;
      told_cause_[i] = v.cause;
      told_reason_[i] = v.reason;
      store(std::move(row));
    }
    StringRow row;
    row.when = {v.utc, now_, trusted_};
    row.local_date = local_date;
    row.string = string_name;
    row.power_w = s.live ? s.power_w : std::nullopt;
    row.voltage_v = s.voltage_v;
    row.current_a = s.current_a;
    row.stage = s.stage;
    row.verdict = v;
    store(std::move(row));
  }
  if (changed) publish_state(m);
}

void Core::gather_facts() {
  const Now t = now();
  alarms_.advance(t);  // what is due comes before what is offered
  const Remembered remembered = [this](std::string_view alarm) { return alarms_.remembers(alarm); };
  const std::string lost_to_cold = trusted_ && !diagnosis_fault_ ? outlook_.held_off_sentence() : "";
  for (Fact& f : guard_.facts(t, remembered)) {
    if (f.alarm == "bank_cold" && f.subject == "bank" && f.condition && !lost_to_cold.empty()) f.text += " " + lost_to_cold;
    alarms_.offer(f, t);
  }
  if (trusted_ && !diagnosis_fault_) {
    const bool climb_worth_it = outlook_.clearing_worth_saying();
    for (Fact& f : diagnosis_.facts(t, remembered)) {
      if (f.alarm == "snow" && f.condition) {
        const std::string advice = f.worth_saying ? outlook_.clearing_sentence(t) : "";
        if (!advice.empty()) {
          f.text += " " + advice;
          if (!f.group_text.empty()) f.group_text += " " + advice;
        }
        f.worth_saying = f.worth_saying && climb_worth_it;
        f.worth_repeating = outlook_.clearing_hour_near();
      }
      if (f.alarm == "soiling" && f.condition) f.text += " " + outlook_.cleaning_sentence();
      alarms_.offer(f, t);
    }
    for (const Fact& f : outlook_.facts(t, remembered)) alarms_.offer(f, t);
  }
  for (const Fact& f : own_facts(remembered)) alarms_.offer(f, t);

  alarms_.on_derived(rig::Derived::cell_min, 0, guard_.cell_min_c(), t);
  alarms_.on_derived(rig::Derived::cell_max, 0, guard_.cell_max_c(), t);
  alarms_.on_derived(rig::Derived::hours_left, 0, outlook_.hours_left(), t);
  for (const Verdict& v : verdicts_) {
    alarms_.on_derived(rig::Derived::performance_index, v.string, v.performance_index, t);
    alarms_.on_derived(rig::Derived::expected_power, v.string, v.expected_w, t);
  }
}

std::vector<Fact> Core::own_facts(const Remembered& remembered) const {
  const Now t = now();
  Facts out(remembered);
  if (Fact* f = out.add("clock", "rig", !trusted_)) {
    f->text = "The board's clock is not set. Strings are not judged until it is; the charge guard goes on. Nothing to do if it has internet "
              "or satellite time soon.";
    f->over_text = "The board's clock is set again.";
  }
  if (Fact* f = out.add("journal", "rig", journal_trouble_.has_value())) {
    if (journal_trouble_) f->text = *journal_trouble_ + " Watching and the charge guard go on.";
    f->over_text = "The journal is being written again.";
  }
  if (Fact* f = out.add("link", "rig", rig_.phone.bridge_link && link_seen_ && !link_up_))
    if (link_down_since_) f->text = "The phone has been out of reach since " + words_.when(utc_at(*link_down_since_, offset_), t.utc) + ".";
  if (Fact* f = out.add("client_id", "rig", id_taken_)) {
    f->text = "Another client uses firnwatt's id on the broker and they throw each other out. Give one of them another client id.";
    f->over_text = "The broker connection has its id to itself again.";
  }
  if (Fact* f = out.add("stale", "diagnosis", diagnosis_fault_.has_value())) {
    f->text = "Judging the strings stopped after an internal fault. The charge guard goes on. Please send in the log.";
    f->over_text = "Judging the strings works again.";
  }
  return out.take();
}

// ---- what goes out ---------------------------------------------------------------------------

void Core::publish_state(const RigMinute& m) {
  const auto put = [&](const std::string& topic, std::string payload) {
    std::string& last = published_[topic];
    if (last == payload) return;
    last = payload;
    effects_.push_back(Publish{"", root_ + topic, std::move(payload), 0, true, {}, ""});
  };
  for (const Verdict& v : verdicts_)
    put("strings/" + rig_.strings[static_cast<std::size_t>(v.string)].name,
        string_state(rig_, v, m.strings[static_cast<std::size_t>(v.string)]));
  if (rig_.has_bank) put("bank", bank_state(m, m.permit));
}

void Core::publish_summary(bool always) {
  const Now t = now();
  const std::vector<alarms::Alarms::Line> alarms = alarms_.lines();
  const auto three = [&](std::string first) {
    std::vector<std::string> lines;
    if (!first.empty()) lines.push_back(std::move(first));
    if (!alarms.empty()) lines.push_back(alarms.front().text);
    for (const std::string& l : outlook_.lines_beside(alarms.empty() ? "" : alarms.front().alarm))
      if (lines.size() < 3) lines.push_back(l);
    std::string text;
    for (const auto& l : lines) text += (text.empty() ? "" : "\n") + l;
    return text;
  };
  const std::string strings = trusted_ ? strings_line(rig_, verdicts_) : "The clock is not set; strings are not judged.";
  const std::string text = three(strings);
  if (!always && summary_ == text) return;
  summary_ = text;
  std::string& shown = published_["summary"];
  shown = words_.clock_exact(t.utc) + " " + text;
  effects_.push_back(Publish{"", root_ + "summary", shown, 0, true, {}, ""});
  // The daily message needs no word on the dark.
  outbox_.set_summary(!trusted_ || !all_dark(verdicts_) ? text : three(alarms.empty() ? "All quiet." : ""));

  nlohmann::ordered_json status;
  status["utc"] = iso_utc(t.utc);
  status["summary"] = text;
  status["alarms"] = nlohmann::ordered_json::array();
  for (const auto& l : alarms) status["alarms"].push_back(l.text);
  status["guard"] = guard_.sentences(t);
  status["outlook"] = outlook_.summary_lines();
  status["learned"] = diagnosis_.learned();
  store(SnapshotRow{stamp(), "status", json_text_in_order(status)});
}

void Core::publish_alive(std::string_view state) {
  nlohmann::ordered_json j;
  j["state"] = state;
  j["utc"] = iso_utc(now().utc);
  j["next_by_utc"] = iso_utc(now().utc + alive_every + std::chrono::minutes{5});
  effects_.push_back(Publish{"", root_ + "alive", json_text_in_order(j), 1, true, {}, ""});
}

void Core::store(Row row) { effects_.push_back(Store{std::move(row)}); }

void Core::log(Level level, std::string text) { effects_.push_back(LogLine{level, std::move(text)}); }

void Core::store_snapshots(bool all) {
  for (auto& [room, data] : snapshots()) {
    const bool small = room == "alarms" || room == "outbox" || room == "guard";
    if (all || small) store(SnapshotRow{stamp(), room, std::move(data)});
  }
}

void Core::collect() {
  bool transition = false;
  const auto take = [&](std::vector<Effect> from) {
    for (Effect& e : from) {
      if (const auto* s = std::get_if<Store>(&e)) transition = transition || !may_wait(s->row);
      effects_.push_back(std::move(e));
    }
  };
  take(guard_.take_effects());
  take(outlook_.take_effects());
  take(alarms_.take_effects());
  for (const std::string& key : outbox_.take_unsaid()) alarms_.never_said(key, now());
  auto notices = alarms_.take_notices();
  for (const auto& n : notices) outbox_.add(n, now());
  if (!notices.empty()) outbox_.advance(now(), [this](std::string_view key) { return alarms_.standing(key); });
  take(outbox_.take_effects());
  if (transition) {
    store(SnapshotRow{stamp(), "guard", guard_.snapshot()});
    store(SnapshotRow{stamp(), "alarms", alarms_.snapshot()});
    store(SnapshotRow{stamp(), "outbox", outbox_.snapshot()});
  }
}

std::vector<Effect> Core::take_effects() {
  std::vector<Effect> out;
  out.swap(effects_);
  return out;
}

std::vector<Effect> Core::stop(Elapsed t) {
  advance_to(t);
  std::vector<Effect> out = guard_.all_off("firnwatt stops");
  collect();
  store_snapshots(true);
  store(EventRow{stamp(), "stop", "watching ends"});
  store(SnapshotRow{stamp(), "run", std::string(run_ended)});
  publish_alive("offline");
  for (Effect& e : take_effects()) out.push_back(std::move(e));
  return out;
}

}  // namespace fw::core
