#include "intake/topic_filter.h"

namespace fw::intake {

bool matches(std::string_view filter, std::string_view topic) {
  if (!topic.empty() && topic.front() == '$' && !filter.empty() && (filter.front() == '+' || filter.front() == '#')) return false;
  for (;;) {
    if (filter == "#") return true;
    const std::size_t f = std::min(filter.find('/'), filter.size());
    const std::size_t t = std::min(topic.find('/'), topic.size());
    const std::string_view level = filter.substr(0, f);
    if (level != "+" && level != topic.substr(0, t)) return false;
    const bool filter_ends = f == filter.size(), topic_ends = t == topic.size();
    if (topic_ends) return filter_ends || filter.substr(f) == "/#";
    if (filter_ends) return false;
    filter.remove_prefix(f + 1);
    topic.remove_prefix(t + 1);
  }
}

}  // namespace fw::intake
