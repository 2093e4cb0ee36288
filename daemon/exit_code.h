#pragma once
// How the program ends; README lists these.
namespace fw {

enum Exit : int { fine = 0, found_wrong = 1, unusable = 2, interrupted = 130, terminated = 143 };

}  // namespace fw
