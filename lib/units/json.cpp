#include "units/json.h"

#include <nlohmann/json.hpp>

namespace fw {

nlohmann::json json_in(std::string_view text) { return nlohmann::json::parse(text, nullptr, false); }
std::string json_text(const nlohmann::json& value) { return value.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace); }
std::string json_text_in_order(const nlohmann::ordered_json& value) { return value.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace); }

}  // namespace fw
