// Do the parts of a mix add up to it, and if not: which is off, and by how much?
#pragma once

#include <sendworthy/result.h>

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "pair/align.h"

namespace sendworthy::pair {

/// What keeps the parts from adding up.
enum class SumCause {
  sums,             ///< nothing does
  one_gain,         ///< all parts need the same gain: headroom was made on one side
  faders,           ///< some parts need a gain of their own
  pan,              ///< some parts need another gain in each channel
  polarity,         ///< some parts are upside down
  delay,            ///< some parts, or all, start at another place
  silent,           ///< a part without sound, which is what the mix has more
  missing,          ///< something in the mix is in none of the parts
  doubled,          ///< something is in two of the parts and once in the mix
  not_in_mix,       ///< a part that the mix does without
  crossed,          ///< left and right of some parts are exchanged
  folded,           ///< a part has nothing but its middle, and its side in the mix
  gap,              ///< a part is muted for a while, in its file or in the mix
  ends,             ///< what some files do not hold, because they are late, early or shorter
  whole_mix,        ///< a part that is the whole mix
  part_processing,  ///< one part needs a gain that moves
  bus_processing,   ///< the sum needs a gain that moves
  each_processing,  ///< the mix and the parts each need a gain that moves: a limiter over each
  bus_filter,       ///< the sum needs a gain of its own in each band
  bus_distortion,   ///< what is left comes and goes with the sum, and faster than it
  unexplained
};
/// "sums", "one gain", "faders", …
[[nodiscard]] std::string_view to_string(SumCause cause);

/// How the channels of a mono part stand to each other in the mix.
enum class PanLaw { none, three_db, four_and_a_half_db, six_db };

struct SumPart {
  std::string path;
  int channels = 0;
  double sample_rate = 0;     ///< its own, Hz
  std::int64_t frames = 0;    ///< at its own rate
  double mean_dbfs = 0;       ///< over the mix's length, all of its channels together; −144 and more
  double loudest_dbfs = 0;    ///< of its loudest tenth of a second
  double active = 0;          ///< share of the mix's time in which it stands less than 60 dB under its loudest tenth of a second
  double share = 0;           ///< its energy in the mix over the mix's
  bool silent = false;        ///< never louder than −90 dBFS for a tenth of a second
  bool whole_mix = false;
  std::optional<std::size_t> copy_of;  ///< an earlier part with the same sound but for `copy_gain_db`
  double copy_gain_db = 0;             ///< this part over the earlier one
  std::optional<std::size_t> inside;   ///< another part that holds this one's sound too
  std::vector<std::size_t> holds;      ///< other parts that it is the sum of: a group beside its members
  bool not_in_mix = false;

  /// By the chosen step of the ladder. Where `known` is false the part cannot be told apart, from `tied_to` where that is set or else
  /// from what is left, and its gain says nothing.
  bool known = false;
  std::optional<std::size_t> tied_to;
  double gain_db = 0;                 ///< what the part needs to stand as in the mix, magnitude
  double gain_error_db = 0;           ///< standard error, from how its fit varies along the song
  std::vector<double> channel_gains;  ///< of each channel of the mix, linear, signed
  bool off = false;                   ///< its gain is not the others'
  std::optional<std::size_t> also_in;  ///< unless this other part holds it too, softer, which comes to the same
  bool inverted = false;              ///< in all channels in which it is heard
  std::vector<bool> channels_inverted;  ///< of the mix: in each of them
  bool unbalanced = false;            ///< its channels need different gains
  PanLaw pan_law = PanLaw::none;      ///< of a mono part that needs one, in the middle or beside it
  double delay_frames = 0;            ///< its sound stands so much later in its file than in the mix; at the mix's rate
  std::int64_t missing_at_start = 0, missing_at_end = 0;  ///< frames of the mix at which its file holds nothing; only of a sum with `ends`
  bool crossed = false;               ///< its left stands in the mix's right; gains are by the channels of the mix
  bool folded = false;                ///< it may be the one that was folded to mono, or one of those that are marked
  double moving_db = 0;               ///< span of the moving gain, for part_processing
};

/// One rung of the ladder.
struct SumStep {
  std::string name;       ///< "as they are", "one gain", …
  double residual_db = 0; ///< energy left over the mix's; at least −160
};

struct SumBand {
  double centre_hz = 0;
  double left_db = 0;   ///< energy left over the mix's in this octave
  double share = 0;     ///< of all that is left
  double gain_db = 0;   ///< what the sum of the parts needs in this octave
};

/// What the chosen step leaves.
struct SumRest {
  double dbfs = 0;                  ///< mean level over all channels
  double step_s = 0;                ///< of `over_time`
  std::vector<float> over_time;     ///< dB over the mix's mean level; NaN where neither mix nor parts sound
  double loudest_from_s = 0, loudest_to_s = 0;  ///< the half second in which most is left
  double active = 0;                ///< share of the mix's time with less than 30 dB under that
  std::vector<SumBand> octaves;     ///< 31.5 Hz … as far as the rate reaches
  std::vector<double> channels;     ///< share of each channel
  double side = 0;                  ///< of two channels: share of their difference, 0 … 1
  std::optional<std::size_t> like;  ///< the part that explains most of it through any filter of a third of a second: effects
  double like_share = 0;            ///< how much of it
};

/// The gain that moves, and where.
struct SlowGain {
  double lowest_db = 0, highest_db = 0;  ///< between which nine tenths of the mix's energy stand
  double lowest_at_s = 0, highest_at_s = 0;
  double step_s = 0;
  std::vector<float> over_time;  ///< dB; NaN where there is nothing to move
};

/// A while in which something is missing, while all adds up before and behind it.
struct SumGap {
  std::optional<std::size_t> part;  ///< whose gap it is; of a file: the only one whose silence has the same edges
  bool in_mix = false;              ///< the mix does without it there; else the files do
  double from_s = 0, to_s = 0;      ///< in the mix; to a tenth of a second, or a block where those are longer
};

/// How much of the mix some files do not reach, frames. What is left there is not in `residual_db`.
struct SumEnds {
  std::int64_t start = 0, end = 0;
};

/// All adds up but where the mix stands flat at its peak and the sum goes beyond it.
struct SumCeiling {
  double dbfs = 0;          ///< where it stands
  double over_db = 0;       ///< how far the sum goes beyond it at most
  std::int64_t samples = 0; ///< there, of all channels
};

struct Sum {
  std::optional<std::string> not_measured;  ///< why not; nothing else holds then
  double rate = 0;
  int channels = 0;
  std::int64_t frames = 0;  ///< of the mix
  double mix_dbfs = 0;
  bool mixed_rates = false;  ///< a part was converted: held to −40 dB, since converters differ near the top
  SumCause cause = SumCause::unexplained;
  std::vector<SumCause> also;  ///< what else is off
  bool nulls = false;          ///< the chosen step leaves no more than `limit_db`
  double residual_db = 0;      ///< of the chosen step
  double floor_db = 0;         ///< the least that these word lengths leave, over the mix's energy
  double limit_db = 0;         ///< up to here it nulls
  std::vector<SumStep> ladder;
  std::size_t step = 0;        ///< the chosen one
  double common_gain_db = 0;   ///< of the parts that share one
  bool common_inverted = false;
  PanLaw common_pan_law = PanLaw::none;  ///< by which all parts may have that gain, where all are mono and stand in the middle
  double common_delay_frames = 0;  ///< of all parts, or of most where those are three and more
  std::vector<SumPart> parts;
  std::optional<std::pair<std::size_t, std::size_t>> doubled;  ///< two parts that share something
  std::optional<SumRest> rest;  ///< where it does not add up as it is
  std::optional<SlowGain> slow; ///< for bus_processing and part_processing
  std::optional<SumEnds> ends;  ///< where something is missing there
  std::vector<SumGap> gaps;     ///< for gap, and for missing where it is missing for a while only
  std::optional<SumCeiling> ceiling;  ///< for bus_distortion: clipping
};

/// Least squares over the whole mix, step by step: as they are, one gain, a gain per part, a gain per part and channel, delays, a
/// gain that moves within a tenth of a second, a filter; before these, whether it is a matter of a while, of the mix's peaks or of
/// exchanged channels. The first step that leaves nothing names the cause. Mono parts stand in every channel of the mix. Sound of a part
/// beyond the end of the mix does not count. Each file is decoded once, two to some ten times where the parts do not add up. Errors: as
/// audio::open_file; interrupted; usage: no parts.
[[nodiscard]] Result<Sum> sum_of(const std::string& mix, const std::vector<std::string>& parts, const Hooks& hooks = {});

}  // namespace sendworthy::pair
