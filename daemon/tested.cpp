#include "tested.h"

namespace fw {
namespace {
constexpr std::string_view head = "charger ", middle = " tested: ";
}

std::string test_note(const std::string& charger, const std::string& outcome) {
  return std::string(head) + charger + std::string(middle) + outcome;
}

std::map<std::string, Utc> tests_in(const std::vector<NoteRow>& notes) {
  std::map<std::string, Utc> result;
  for (const NoteRow& n : notes) {
    const auto at = n.text.find(middle);
    if (!n.text.starts_with(head) || at == std::string::npos) continue;
    result[n.text.substr(head.size(), at - head.size())] = n.when.utc;
  }
  return result;
}

}  // namespace fw
