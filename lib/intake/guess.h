#pragma once
// A guess at what a field is, from the words in its topic and pointer, its values and its range.
#include "intake/propose.h"

namespace fw::intake {

/// Never certain; weight 0 and kind none when nothing speaks.
Guess guess(const Field& field);

/// Guesses from the company a field keeps: volts, amps or watts beside a controller's stage belong to that string;
/// volts and amps together that belong to nothing else are perhaps a string; temperatures agree on a scale.
void guess_by_company(std::vector<Field>& fields);

/// Lower-case words of a topic or pointer: split at everything that is no letter, at capitals and before digits.
std::vector<std::string> words_of(std::string_view text);

/// A stage for a sender's word, by common words of the trade; nothing when none is known.
std::optional<std::string_view> stage_guess(std::string_view word);
/// true or false for a sender's word about leave to charge or a switch.
std::optional<bool> flag_guess(std::string_view word);

}  // namespace fw::intake
