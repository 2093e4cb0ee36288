#pragma once
// How the outlook's pieces are written down for a restart, and read back: what is missing or of another kind reads as nothing.
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

#include "bank/thermal.h"
#include "snow/layer.h"
#include "units/forecast.h"

namespace fw::outlook::kept {

double number(const nlohmann::json& object, const char* key);
bool flag(const nlohmann::json& object, const char* key, bool otherwise);
std::string text(const nlohmann::json& object, const char* key);
std::optional<Utc> time(const nlohmann::json& object, const char* key);
/// The objects in an array.
std::vector<nlohmann::json> rows(const nlohmann::json& object, const char* key);

nlohmann::json json_of(const snow::Layer& layer);
snow::Layer layer(const nlohmann::json& object, const char* key);

nlohmann::json json_of(const bank::ThermalModel::Memory& memory);
std::optional<bank::ThermalModel::Memory> thermal(const nlohmann::json& object, const char* key);

nlohmann::json json_of(const Forecast& forecast);
std::optional<Forecast> forecast(const nlohmann::json& object, const char* key);

}  // namespace fw::outlook::kept
