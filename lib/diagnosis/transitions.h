#pragma once
// How hidden states pass into each other from one minute to the next. Every rate is here, as a mean time,
// so that the whole table can be read in one place.
#include <optional>
#include <array>
#include <optional>
#include <vector>

#include "diagnosis/look.h"
#include "diagnosis/quad.h"
#include "diagnosis/string_state.h"

namespace fw::diagnosis {

using Belief = std::vector<double>;  ///< probability per row of StringStates, sums to 1

struct Passing {
  double sun_elevation_deg = 0;
  std::optional<double> air_c;
  double snowing = 0;           ///< 0..1
  double fall_cm_h = 0;         ///< see SiteLook
  double minutes_of_sun = 0;    ///< since sunrise
  double hold_snow = 1;         ///< steep strings hold less: 0.3..1
  double brightest = 1;         ///< see SiteLook
  double cloudless = 0.5;       ///< belief that the sky is cloudless
  bool spell = false;           ///< under the explanation that snow lies
  double seen = 0;              ///< see StringLook
  double shade_min = 0;         ///< for which the string has been in shade
  double minutes = 1;           ///< that pass at once
};

/// One minute on, without the onset of a snowfall (see snow_onset).
void pass_minute(const StringStates& states, const Passing& now, Belief& belief);
/// The same for beliefs under several explanations to which the same happens: row by row, each row so many quads.
void pass_minute(const StringStates& states, const Passing& now, int quads, const Quad* before, Quad* after);

/// The beliefs after snow has begun to cover the string.
void snowed_on(const StringStates& states, double hold_snow, Cover cover, int quads, const Quad* before, Quad* after);

/// Holds the snow rows within a cover: what lies outside goes to the nearest row inside.
void keep_within(const StringStates& states, Cover cover, int quads, Quad* beliefs);

/// Shares of the covers a snowfall leaves, and the chances per minute of one turning into another.
inline constexpr std::array<double, cover_count> cover_left{0, 0.20, 0.10, 0.10, 0.12, 0.13, 0.13, 0.12, 0.10};
/// The same after so much snow, as forecast.
std::array<double, cover_count> cover_left_by(double fallen_cm);
/// What the share is worth when the glass was seen bare so long ago: no fall heaps so much up in less.
double could_fall(Cover cover, double since_bare_min);
double cover_turns(Cover from, Cover to, const Passing& now);

/// Chance per minute that a snowfall begins to cover strings.
double snow_onset_per_minute(const Passing& now, const SiteLook& site);

/// Chance per minute that a covered spell is over once no string is covered.
inline constexpr double spell_end_per_minute = 1.0 / 40;

/// After a note that the strings were cleared.
void cleared(const StringStates& states, Belief& belief);

}  // namespace fw::diagnosis
