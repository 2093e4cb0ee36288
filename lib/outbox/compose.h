#pragma once
// The text of a message gathered from several notices.
#include <optional>
#include <string>
#include <vector>

#include "units/time.h"
#include "words/words.h"

namespace fw::outbox {

struct Item {
  std::string key;
  std::string label;          ///< "snow (front)"
  std::string text;           ///< the notice's own
  Utc began{};
  std::optional<Utc> ended;
};

/// lead: what comes first (a daily summary, a word about the link); may be empty.
/// still: stands, or has just ended, worst first; told in full while the whole stays short, the rest by label.
/// gone: came and went unsaid; told by label and time.
std::string gathered_text(const std::string& lead, const std::vector<Item>& still, const std::vector<Item>& gone, Utc now,
                          const Words& words);

/// The text with its time in front when it is told more than half an hour after it came to be.
std::string with_original_time(const std::string& text, Utc began, Utc now, const Words& words);

/// The end of something, told on a later day: with that day in front, and its time where the text has none.
std::string with_its_day(const std::string& text, Utc ended, Utc now, const Words& words);

/// A text of now about what has been so for a while: "Since yesterday 21:00: ...", unless it says so itself.
std::string with_its_beginning(const std::string& text, Utc began, Utc now, const Words& words);

/// "snow (front)": the alarm's label, or the rule's name, with the subject where it says something.
std::string label_of(const std::string& alarm, const std::string& subject);

}  // namespace fw::outbox
