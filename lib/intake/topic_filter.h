#pragma once
// MQTT topic filters, by the rules of OASIS MQTT 3.1.1, section 4.7.
#include <string_view>

namespace fw::intake {

/// '+' holds one whole level, '#' the rest (its parent included) and stands last; neither at the
/// first level matches a topic that begins with '$'. Filter and topic are taken as valid.
bool matches(std::string_view filter, std::string_view topic);

}  // namespace fw::intake
