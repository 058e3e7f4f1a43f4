// How parts of a mix stand to one another when it is played very quietly: an estimate by equal-loudness contours.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "dsp/spectrum.h"

namespace sendworthy::song {

/// A part's mean spectrum over the time in which it plays.
struct PartBands {
  std::vector<double> centre_hz;  ///< third octaves of IEC 61260-1, 25 Hz … 20 kHz as far as the sample rate goes
  std::vector<double> power;      ///< mean square of each, all channels added: a full-scale sine in one channel is 0.5
  double active_s = 0;            ///< how long it plays; 0: never
};

/// Collects PartBands. It plays in the frames (of about 0.17 s, half overlapping; 20 Hz … 24 kHz) that lie, by whole decibels, within
/// 20 dB of the power mean of its loudest 5 % of frames. Memory does not grow with length.
class PartSpectrum {
 public:
  PartSpectrum(int sample_rate, int channels);
  /// The next `frames` of all channels.
  void take(std::span<const float* const> rows, int frames);
  /// At the end, once.
  [[nodiscard]] PartBands finish();

 private:
  void add(std::span<const float> lines);

  /// Frames of one decibel: how many, and their Fourier lines added up.
  struct Bin {
    std::int64_t frames = 0;
    double power = 0;
    std::vector<double> lines;
  };
  dsp::Spectra spectra_;
  std::size_t first_line_, end_line_;
  std::vector<Bin> bins_;
  std::vector<float> rows_;
  std::int64_t sound_end_ = 0;  ///< behind the last frame of the last block that is not all zeros
};

struct QuietSetting {
  double mix_lufs = 0;           ///< the mix's integrated loudness…
  double reference_db_spl = 78;  ///< …plays at this level
  double level_db_spl = 45;      ///< and then at this one
};

/// The band that a small loudspeaker plays: 24 dB per octave below and 12 dB above (Butterworth). Common practice, no source.
inline constexpr double kSmallSpeakerLowHz = 200, kSmallSpeakerHighHz = 10000;

/// One way of hearing a part.
struct HeardLoudness {
  std::optional<double> level;     ///< dB of a tone of 1 kHz that its bands above threshold come to; nothing: all lies below
  std::optional<double> moved_db;  ///< by how much more it rose since the reference than the median of the others did
  int rank = 0;                    ///< 1 is the loudest; equal levels share one; 0: not heard
};

struct QuietPart {
  HeardLoudness reference, quiet;  ///< `moved_db` of the reference is always empty
  HeardLoudness small;             ///< quiet as well, and through a small loudspeaker
  /// Of what stands at the reference, nothing is left above threshold.
  [[nodiscard]] bool disappears() const { return reference.level && !quiet.level; }
  [[nodiscard]] bool disappears_small() const { return reference.level && !small.level; }
};

/// In the order of `parts`. A band's level in dB SPL is its power over that of the mix's loudness: power 1 in 1 kHz is taken for
/// 0 LUFS, so that a mix of a tone of 1 kHz alone plays at reference_db_spl exactly. Bands below dsp::hearing_threshold_spl are left
/// out at each level; the others are weighted by how far the equal-loudness contour that is named after that level (78 dB: 78 phon)
/// lies over it in that band, and added up as powers. An estimate: contours are those of steady tones, each band stands as if it was
/// alone, and no noise of the room is in it. The median of the others leaves out parts that are not heard at either level; without
/// any, moved_db is empty.
[[nodiscard]] std::vector<QuietPart> listen_quietly(std::span<const PartBands> parts, const QuietSetting& setting);

}  // namespace sendworthy::song
