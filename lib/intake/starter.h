#pragma once
// A starter config in YAML out of what was heard. It loads as it is; what was made up is marked "edit".
#include <string>
#include <vector>

#include "intake/propose.h"

namespace fw::intake {

std::string starter_yaml(const std::vector<Field>& fields, const std::string& host, int port);

}  // namespace fw::intake
