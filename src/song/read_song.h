// One walk through a mix and its stems together, from which everything about the song is told.
#pragma once

#include <sendworthy/result.h>

#include <atomic>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "pair/align.h"
#include "song/band_frames.h"
#include "song/low_end.h"
#include "song/loudness.h"
#include "song/mix_meter.h"
#include "song/plan.h"
#include "song/quiet.h"

namespace sendworthy::song {

/// Stems as they stand in the mix; sums of them are sums of samples. A sum of no stem is empty.
struct SongReading {
  double rate = 0, duration_s = 0;  ///< of the mix
  int channels = 1;                 ///< in which it was measured
  MixSteps mix;
  struct Stem {
    Loudness loudness;
    BandFrames bands;
    std::optional<PartBands> spectrum;  ///< of leads, kicks and snares
  };
  std::vector<Stem> stems;
  Loudness lead, backing, drums;   ///< sums of stems by role
  Loudness without_drums;          ///< all other stems
  Loudness mix_without_drums;      ///< the mix less kick, snare, drums and percussion
  Loudness bed_of_stems;           ///< all stems but lead vocals
  Loudness bed_of_mix;             ///< the mix less the lead vocals
  std::optional<double> lead_in_mix_db;  ///< gain at which the sum of the lead vocals stands in the mix, by least squares; what sounds like them there adds to it
  std::optional<double> only_stem_in_mix_db;  ///< likewise, where the plan has one stem
  LowEndReading low_end;                  ///< of the mix, the sum of the kicks and that of the basses
  std::optional<std::string> too_long;  ///< why nothing was measured
};

/// Kick, snare, drums and percussion.
[[nodiscard]] bool is_drum(Role role);
/// The stems whose level at a whisper is compared: lead vocals, leads, kicks and snares.
[[nodiscard]] bool stands_in_front(Role role);

/// What each stem of two channels loses in mono below the plan's below_hz: read again, since it is asked where the mix loses much only.
[[nodiscard]] std::vector<std::optional<MonoLoss>> low_loss_of_stems(const Plan& plan, const std::atomic<bool>* stop);

/// Each file is decoded once. Songs of up to an hour, less with very many stems. The result does not depend on `jobs`. Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<SongReading> read_song(const Plan& plan, int jobs, const pair::Hooks& hooks);

}  // namespace sendworthy::song
