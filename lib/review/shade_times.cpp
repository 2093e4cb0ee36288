#include "review/shade_times.h"

#include <utility>

namespace fw::review {

namespace {

constexpr std::size_t one_obstacle = 8;    // half hours: a wider stretch is more than a tree or a mast
constexpr std::size_t hills_apart = 4;     // between those of the morning and those of the evening

/// The narrowest stretch between two half hours that holds four fifths of what lies between them.
std::pair<std::size_t, std::size_t> narrowest(const HalfHours& h, std::size_t first, std::size_t last) {
  std::int64_t total = 0;
  for (std::size_t i = first; i < last; ++i) total += h[i];
  std::size_t from = first, to = last;
  for (std::size_t i = first; i < last; ++i) {
    std::int64_t sum = 0;
    for (std::size_t j = i; j < last; ++j) {
      sum += h[j];
      if (sum * 5 >= total * 4) {
        if (j + 1 - i < to - from) from = i, to = j + 1;
        break;
      }
    }
  }
  return {from, to};
}

std::string clock(std::size_t half_hour) {
  std::string h = std::to_string(half_hour / 2);
  if (h.size() < 2) h.insert(0, 1, '0');
  return h + (half_hour % 2 ? ":30" : ":00");
}

}  // namespace

std::string shade_times(const HalfHours& lost) {
  const std::size_t noon = lost.size() / 2;
  const auto [from, to] = narrowest(lost, 0, lost.size());
  if (to - from <= one_obstacle)
    return ", most of it between " + clock(from) + " and " + clock(to) + ". Turning or moving the rig a little may win it back.";
  const auto morning = narrowest(lost, 0, noon), evening = narrowest(lost, noon, lost.size());
  const std::string open = ". What stands around takes it; a more open place would win it back.";
  if (morning.second + hills_apart > evening.first) return ", through much of the day" + open;
  return ", early and late in the day: most before " + clock(morning.second) + " and after " + clock(evening.first) + open;
}

}  // namespace fw::review
