#pragma once
// The described rig in the terms of the physics.
#include "rig/rig.h"
#include "roof/string_model.h"
#include "sky/state.h"

namespace fw::roof {

/// The string as its owner described it.
StringModel string_model(const rig::PvString& string);

/// Air and horizon of the rig at a place, degrees.
sky::Site site_of(const rig::Site& site, double latitude_deg, double longitude_deg);

}  // namespace fw::roof
