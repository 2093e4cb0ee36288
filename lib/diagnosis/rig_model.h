#pragma once
// The described rig in the terms of the physics rooms.
#include "rig/rig.h"
#include "roof/string_model.h"
#include "sky/state.h"

namespace fw::diagnosis {

/// The string as its owner described it.
roof::StringModel string_model(const rig::Rig& rig, int string);

/// Place, air and horizon of the rig; latitude and longitude as given.
sky::Site site_of(const rig::Rig& rig, double latitude_deg, double longitude_deg);

}  // namespace fw::diagnosis
