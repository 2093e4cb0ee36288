#include "intake/intake.h"

#include <algorithm>
#include <array>
#include <set>
#include <unordered_map>

#include "intake/flat_json.h"
#include "intake/forecast_in.h"
#include "intake/plausible.h"
#include "intake/sender_clock.h"
#include "intake/sender_time.h"
#include "intake/topic_filter.h"
#include "intake/value.h"
#include "units/text.h"
#include "words/words.h"

namespace fw::intake {

namespace {

constexpr std::size_t most_topics = 4096;
constexpr Span fault_pause = hours{1};
constexpr Span before_learned = minutes{5};
constexpr Span shortest_age = minutes{1};
constexpr Span longest_age = minutes{30};

std::size_t slot(Gone g) { return static_cast<std::size_t>(g); }
constexpr std::size_t gone_count = static_cast<std::size_t>(Gone::too_old) + 1;

/// At most one fault an hour for each reason; what was held back is counted into the next.
struct Pace {
  std::optional<Elapsed> last;
  std::uint64_t held = 0;

  bool may_speak(Elapsed at) {
    if (last && at - *last < fault_pause) {
      ++held;
      return false;
    }
    last = at;
    return true;
  }
  std::string tail() {
    const std::string text = held == 0 ? "" : " (" + std::to_string(held) + " more since the last such line)";
    held = 0;
    return text;
  }
};

struct ReadySource {
  ReadySource(const rig::Source& s, const rig::Rig& rig) : source(&s), pointer(s.pointer), time_pointer(s.time_pointer), value(s, rig) {}
  const rig::Source* source;
  JsonPointer pointer, time_pointer;
  ValueReader value;
  bool wildcard = false;
  std::optional<Elapsed> last_at;
  Span silence{};                          ///< longest recent one, slowly forgotten
  std::array<Pace, gone_count> paces;

  Span max_age() const {
    if (source->max_age) return *source->max_age;
    if (silence <= Span::zero()) return before_learned;
    return std::clamp(3 * silence, shortest_age, longest_age);
  }
  void heard(Elapsed at) {
    if (last_at && at > *last_at && at - *last_at <= longest_age) silence = std::max(at - *last_at, silence - silence / 256);
    last_at = at;
  }
};

/// What a topic feeds, found once and kept.
struct Plan {
  struct Sender {
    int source = 0;                        ///< the first source with this time pointer and form
    SenderClock clock;
    std::size_t last_payload = 0;
  };
  struct Use {
    int source = 0;
    int sender = -1;
  };
  std::vector<Use> uses;
  std::vector<Sender> senders;
  bool forecast = false;
  bool needs_json = false;
  bool matched() const { return forecast || !uses.empty(); }
};

std::string size_text(std::size_t bytes) {
  return bytes < 1024 ? std::to_string(bytes) + " bytes" : bytes < 1024 * 1024 ? fixed(static_cast<double>(bytes) / 1024, 0) + " KiB"
                                                                             : fixed(static_cast<double>(bytes) / 1048576, 1) + " MiB";
}

}  // namespace

struct Intake::State {
  explicit State(const rig::Rig& r) : rig(r), zone(zone_of(r)), counts(r.sources.size() + (r.forecast ? 1 : 0)) {
    for (const rig::Source& s : r.sources) {
      sources.emplace_back(s, r);
      sources.back().wildcard = s.topic.find_first_of("+#") != std::string::npos;
    }
    if (r.forecast) forecast.emplace(*r.forecast);
  }

  static Words zone_of(const rig::Rig& r) {
    auto words = Words::in_zone(r.site.timezone, false);
    if (!words) words = Words::in_zone("UTC", false);
    return std::move(words).value();
  }

  const rig::Rig& rig;
  Words zone;
  std::vector<ReadySource> sources;
  std::optional<ForecastReader> forecast;
  std::unordered_map<std::string, Plan> plans;
  std::vector<SourceCount> counts;
  std::uint64_t unknown = 0;
  FlatJson json;
  JsonNode bare;                            ///< the whole payload as text, when it is no JSON
  Pace huge_pace, broken_pace, forecast_pace;

  Plan& plan_for(const std::string& topic) {
    const auto found = plans.find(topic);
    if (found != plans.end()) return found->second;
    if (plans.size() >= most_topics) plans.clear();
    Plan plan;
    for (std::size_t i = 0; i < sources.size(); ++i) {
      const ReadySource& s = sources[i];
      if (!matches(s.source->topic, topic)) continue;
      Plan::Use use;
      use.source = static_cast<int>(i);
      if (s.source->time_form != rig::TimeForm::none) {
        for (std::size_t k = 0; k < plan.senders.size() && use.sender < 0; ++k) {
          const rig::Source& other = *sources[static_cast<std::size_t>(plan.senders[k].source)].source;
          if (other.time_pointer == s.source->time_pointer && other.time_form == s.source->time_form) use.sender = static_cast<int>(k);
        }
        if (use.sender < 0) {
          use.sender = static_cast<int>(plan.senders.size());
          plan.senders.push_back({use.source, {}, 0});
        }
      }
      if (!s.pointer.whole()) plan.needs_json = true;
      plan.uses.push_back(use);
    }
    plan.forecast = forecast && matches(rig.forecast->topic, topic);
    return plans.emplace(topic, std::move(plan)).first->second;
  }

  void say(std::vector<Fault>& faults, Pace& pace, Elapsed at, const std::string& topic, const std::string& pointer, const std::string& what) {
    if (!pace.may_speak(at)) return;
    faults.push_back({printable(topic, 120) + (pointer.empty() ? "" : " " + pointer), what + pace.tail()});
  }

  void count(std::size_t i, Gone g) {
    SourceCount& c = counts[i];
    switch (g) {
      case Gone::none: ++c.taken; break;
      case Gone::null: ++c.null; break;
      case Gone::not_a_number: ++c.not_a_number; break;
      case Gone::missing_field: ++c.missing_field; break;
      case Gone::out_of_range: ++c.out_of_range; break;
      case Gone::sentinel: ++c.sentinel; break;
      case Gone::unknown_word: ++c.unknown_word; break;
      case Gone::too_old: ++c.too_old; break;
    }
  }

  std::string complaint(const ValueReader::Taken& t, const JsonNode* node, const ReadySource& s) const {
    switch (t.gone) {
      case Gone::not_a_number: return shown(node) + " is not a number";
      case Gone::missing_field: return "the field is not there";
      case Gone::out_of_range: {
        Around around;
        if (rig.has_bank) {
          around.bank_nominal_v = rig.bank.nominal_v;
          around.bank_capacity_ah = rig.bank.capacity_ah;
        }
        const auto other = looks_like(s.source->channel.quantity, t.outside, around);
        return shown(node) + (s.source->unit.empty() ? "" : " " + s.source->unit) + " is outside what can be" +
               (other ? ", it looks like " + std::string{*other} : "");
      }
      case Gone::unknown_word: return shown(node) + " is none of the values described";
      default: return {};
    }
  }

  void take_sources(const Message& m, Now now, Plan& plan, bool readable, bool huge, Taken& out) {
    struct Stamped {
      std::optional<Utc> stamp;
      SenderClock::Judged judged;
      bool drop = false;
    };
    std::vector<Stamped> stamps(plan.senders.size());
    for (std::size_t k = 0; k < plan.senders.size(); ++k) {
      Plan::Sender& sender = plan.senders[k];
      const ReadySource& s = sources[static_cast<std::size_t>(sender.source)];
      const JsonNode* node = readable ? json.find(s.time_pointer) : nullptr;
      const Span skew = sender.clock.skew().value_or(Span{ms_of(m.at) - ms_of(now.utc)});
      const Utc near{Span{ms_of(m.at)} - skew};
      if (node) stamps[k].stamp = time_in(*node, s.source->time_form, zone, near);
      if (!stamps[k].stamp || m.retain) continue;
      stamps[k].judged = sender.clock.take(m.at, *stamps[k].stamp, now.trusted ? std::optional{now.utc} : std::nullopt);
      const std::size_t hash = std::hash<std::string_view>{}(m.payload);
      const bool same_bytes = hash == sender.last_payload;
      sender.last_payload = hash;
      const auto order = stamps[k].judged.order;
      const bool duplicate = order == SenderClock::Order::same && same_bytes;
      stamps[k].drop = duplicate || order == SenderClock::Order::older;
      for (const Plan::Use& use : plan.uses) {
        if (use.sender != static_cast<int>(k)) continue;
        SourceCount& c = counts[static_cast<std::size_t>(use.source)];
        if (duplicate) ++c.duplicates;
        if (order == SenderClock::Order::older) ++c.out_of_order;
        if (const auto usual = sender.clock.skew()) c.skew = *usual - Span{ms_of(m.at) - ms_of(now.utc)};
      }
    }

    out.readings.reserve(plan.uses.size());
    for (const Plan::Use& use : plan.uses) {
      const auto i = static_cast<std::size_t>(use.source);
      ReadySource& s = sources[i];
      Reading r;
      r.channel = s.source->channel;
      r.at = m.at;
      r.retained = m.retain;
      const Stamped* stamped = use.sender >= 0 ? &stamps[static_cast<std::size_t>(use.sender)] : nullptr;
      if (stamped) r.stamped = stamped->stamp;
      if (stamped && stamped->drop) continue;
      const JsonNode* node = readable ? json.find(s.pointer) : s.pointer.whole() && !huge ? &bare : nullptr;
      if (!node && s.wildcard) continue;  // other topics under the same filter carry other fields
      ValueReader::Taken taken = !readable && node != &bare ? ValueReader::Taken{{}, m.payload.empty() ? Gone::null : Gone::not_a_number, 0} : s.value.read(node);
      if (taken.value && stamped) {
        r.late = stamped->judged.late;
        if (!m.retain && r.late > s.max_age()) taken = {{}, Gone::too_old, 0};
      }
      r.value = taken.value;
      r.gone = taken.gone;
      if (m.retain)
        ++counts[i].retained;
      else if (taken.value)
        s.heard(m.at);
      count(i, taken.gone);
      if (const std::string what = readable || node == &bare ? complaint(taken, node, s) : ""; !what.empty())
        say(out.faults, s.paces[slot(taken.gone)], m.at, m.topic, s.source->pointer, what);
      out.readings.push_back(std::move(r));
    }
  }

  void take_forecast(const Message& m, Now now, bool readable, Taken& out) {
    SourceCount& c = counts.back();
    std::string why = "not JSON";
    if (readable) out.forecast = forecast->read(json, zone, now, why);
    if (out.forecast) {
      ++c.taken;
      if (m.retain) ++c.retained;
      return;
    }
    ++c.not_a_number;
    say(out.faults, forecast_pace, m.at, m.topic, "", "forecast cannot be used: " + why);
  }
};

Intake::Intake(const rig::Rig& rig) : state_(std::make_unique<State>(rig)) {}
Intake::Intake(Intake&&) noexcept = default;
Intake& Intake::operator=(Intake&&) noexcept = default;
Intake::~Intake() = default;

Taken Intake::take(const Message& m, Now now) {
  Taken out;
  Plan& plan = state_->plan_for(m.topic);
  out.matched = plan.matched();
  if (!out.matched) {
    ++state_->unknown;
    return out;
  }
  const bool huge = m.payload.size() > state_->rig.mqtt.max_payload_bytes;
  if (huge)
    state_->say(out.faults, state_->huge_pace, m.at, m.topic, "",
                "payload of " + size_text(m.payload.size()) + " is over the limit of " + size_text(state_->rig.mqtt.max_payload_bytes));
  const bool readable = !huge && state_->json.parse(m.payload);
  state_->bare.kind = JsonNode::Kind::text;
  state_->bare.text = m.payload;
  if (!readable && !huge && plan.needs_json)
    state_->say(out.faults, state_->broken_pace, m.at, m.topic, "",
                m.payload.empty() ? "empty payload" : "payload is not JSON: '" + printable(m.payload, 40) + "'");
  state_->take_sources(m, now, plan, readable, huge, out);
  if (plan.forecast) state_->take_forecast(m, now, readable, out);
  return out;
}

std::vector<std::string> Intake::filters() const {
  std::set<std::string> all;
  for (const auto& s : state_->rig.sources) all.insert(s.topic);
  if (state_->rig.forecast) all.insert(state_->rig.forecast->topic);
  return {all.begin(), all.end()};
}

const std::vector<SourceCount>& Intake::counts() const { return state_->counts; }
std::uint64_t Intake::unknown_topics() const { return state_->unknown; }

}  // namespace fw::intake
