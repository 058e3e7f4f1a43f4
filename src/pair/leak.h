// How much of one sound stands in another: the vocal left in an instrumental, the band left in an a cappella, the lead left in a
// TV mix.
#pragma once

#include <sendworthy/result.h>

#include <optional>
#include <string>
#include <vector>

#include "pair/align.h"
#include "pair/spectra.h"

namespace sendworthy::pair {

/// A sound that is searched for, or searched through: a file, or what is left of it when another one is taken out of it.
struct Signal {
  Track file;
  std::optional<Track> less;  ///< at the gain, octave by octave, that both share where they are most alike
};

/// Seconds of the suspect's own file.
struct LeakPlace {
  double from_s = 0, to_s = 0;
  double leak_db = 0;  ///< as Leak::leak_db, there alone
};

struct OctaveLeak {
  double centre_hz = 0;
  double leak_db = 0;      ///< at least −144
  double smallest_db = 0;  ///< that could have been seen in this octave alone
  double share = 0;        ///< of the source's energy, 0 … 1
};

struct Leak {
  bool measured = false;  ///< something was found, or what could have been seen at all is at most −40 dB
  std::string reason;     ///< why not
  bool found = false;
  double leak_db = -144;      ///< of the source's image in the suspect over the source itself; where none was found, the estimate that is not told from chance
  double smallest_db = 0;     ///< of an image of one level throughout, that would have been found
  double offset_frames = 0;   ///< of the suspect's rate, by which the image lies later than the source
  bool inverted = false;      ///< the image's polarity
  bool diffuse = false;       ///< found only as energy that belongs together, without a delay in common: reverberation
  double diffuse_db = -144, smallest_diffuse_db = 0;  ///< likewise, of such images; of the first half second, so a lower bound
  double active_s = 0;        ///< how long the source sounds
  std::vector<OctaveLeak> octaves;
  std::vector<LeakPlace> where;  ///< the strongest places, in order of time, at most 32
  double worst_place_db = -144;  ///< of them
  double source_low = 0, suspect_low = 0;  ///< share of each one's energy below 88 Hz, 0 … 1
};

/// Regression of the suspect's spectra on the source's, each line of each frame by how little else sounds there, with a share of
/// the suspect in the source (bleed, or what a bus processor leaves of a difference) estimated beside it and taken out. What counts
/// as found follows from the same figure with the source shifted by seconds. Both signals may hold files of other rates and channel
/// counts. Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<Leak> leak_of(const Signal& source, const Signal& suspect, const Hooks& hooks = {});

/// The same of a part that belongs there, from a few hundred frames of a long file: enough for what stands within 20 dB of its own level.
[[nodiscard]] Result<Leak> level_of_part(const Track& part, const Track& mix, const Hooks& hooks = {});

/// The gain between two versions of a mix in the passages where they are most alike, which is where only both sound.
struct SharedGain {
  bool known = false;
  double gain_db = 0;  ///< level of the version over the main mix
  bool inverted = false;
  bool swapped = false;  ///< left and right changed about: the sides stand against the middle
  double likeness = 0;   ///< 0 … 1: correlation in these passages, over all octaves
  struct Octave {
    double centre_hz = 0;
    double gain_db = 0;  ///< over `gain_db`
    double likeness = 0;
  };
  std::vector<Octave> octaves;  ///< in which both sound
  /// Main over version, complex, by channel of the clock (middle, side) and octave from 63 Hz on; 0 where unknown.
  std::vector<std::vector<float>> real, imaginary;
};
[[nodiscard]] Result<SharedGain> shared_gain(const Track& main, const Track& version, const Hooks& hooks = {});

}  // namespace sendworthy::pair
