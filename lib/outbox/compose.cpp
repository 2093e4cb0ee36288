#include "outbox/compose.h"

#include <algorithm>

#include "alarms/builtin.h"

namespace fw::outbox {
namespace {

constexpr std::size_t full_texts_up_to = 240;  // bytes; beyond, labels
constexpr std::size_t most_items = 6;

std::string time_span(const Item& i, Utc now, const Words& words) {
  std::string s = words.when(i.began, now);
  if (!i.ended || words.clock(*i.ended) == words.clock(i.began)) return s;
  return s + " to " + (words.local_date(*i.ended) == words.local_date(i.began) ? words.clock(*i.ended) : words.when(*i.ended, now));
}

/// "silent telemetry (port)" and "silent telemetry (star)" of the same time are one entry: "silent telemetry (port, star)".
struct Part { std::string label, rest; };
void add_part(std::vector<Part>& parts, Part part) {
  const auto bracket = part.label.rfind(" (");
  if (bracket != std::string::npos)
    for (Part& p : parts)
      if (p.rest == part.rest && p.label.ends_with(')') && p.label.compare(0, bracket + 2, part.label, 0, bracket + 2) == 0) {
        p.label.back() = ',';
        p.label += ' ' + part.label.substr(bracket + 2);
        return;
      }
  parts.push_back(std::move(part));
}

std::string joined(const std::vector<Part>& entries) {
  std::vector<std::string> parts;
  for (const Part& p : entries) parts.push_back(p.label + ' ' + p.rest);
  std::string s;
  for (std::size_t i = 0; i < parts.size() && i < most_items; ++i) s += (i ? "; " : "") + parts[i];
  if (parts.size() > most_items) s += "; and " + std::to_string(parts.size() - most_items) + " more";
  return s + ".";
}

/// Somewhere in it stands a time like 08:40.
bool has_clock_time(const std::string& text) {
  const auto digit = [&](std::size_t i) { return i < text.size() && text[i] >= '0' && text[i] <= '9'; };
  for (auto at = text.find(':'); at != std::string::npos; at = text.find(':', at + 1))
    if (at >= 2 && digit(at - 2) && digit(at - 1) && digit(at + 1) && digit(at + 2)) return true;
  return false;
}

void append(std::string& text, const std::string& sentence) {
  if (sentence.empty()) return;
  text += (text.empty() ? "" : " ") + sentence;
}

}  // namespace

std::string label_of(const std::string& alarm, const std::string& subject) {
  const auto* b = alarms::built_in(alarm);
  std::string label = b ? std::string(b->label) : alarm;
  if (!subject.empty() && subject != "rig" && subject != "bank") label += " (" + Words::named(subject) + ")";
  return label;
}

std::string with_original_time(const std::string& text, Utc began, Utc now, const Words& words) {
  if (now - began <= 30min) return text;
  return Words::capital(words.when(began, now)) + ": " + text;
}

std::string with_its_day(const std::string& text, Utc ended, Utc now, const Words& words) {
  if (words.local_date(ended) == words.local_date(now)) return text;
  const std::string when = words.when(ended, now);
  return Words::capital(has_clock_time(text) ? when.substr(0, when.rfind(' ')) : when) + ": " + text;
}

std::string with_its_beginning(const std::string& text, Utc began, Utc now, const Words& words) {
  if (now - began <= 30min || text.find("since ") != std::string::npos) return text;
  return "Since " + words.when(began, now) + ": " + text;
}

std::string gathered_text(const std::string& lead, const std::vector<Item>& still, const std::vector<Item>& gone, Utc now,
                          const Words& words) {
  std::string text = lead;
  std::vector<Part> short_of;
  for (const auto& i : still) {
    const std::string whole = i.ended ? with_its_day(i.text, *i.ended, now, words) : i.text;
    if (!lead.empty() && lead.find(whole) != std::string::npos) continue;  // the summary has said it
    if (&i == &still.front() || (short_of.empty() && text.size() + 1 + whole.size() <= full_texts_up_to)) append(text, whole);
    else add_part(short_of, {i.label, i.ended ? "over " + words.when(*i.ended, now) : "since " + words.when(i.began, now)});
  }
  if (!short_of.empty()) append(text, "Also: " + joined(short_of));
  if (gone.empty()) return text;
  // The same trouble several times is one entry, at its last time.
  std::vector<Part> parts;
  std::vector<const Item*> done;
  for (const auto& i : gone) {
    if (std::any_of(done.begin(), done.end(), [&](const Item* d) { return d->label == i.label; })) continue;
    const Item* last = &i;
    int times = 0;
    for (const auto& j : gone)
      if (j.label == i.label) {
        ++times;
        if (j.began >= last->began) last = &j;
      }
    done.push_back(&i);
    add_part(parts, {i.label, (times > 1 ? std::to_string(times) + " times, last " : std::string()) + time_span(*last, now, words)});
  }
  append(text, "Came and went: " + joined(parts));
  return text;
}

}  // namespace fw::outbox
