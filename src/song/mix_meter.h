// What of a whole mix is shown section by section beside its loudness.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "song/loudness.h"

namespace sendworthy::song {

/// Mean squares and peaks in each tenth of a second; a rest at the end is left out.
struct MixSteps {
  int channels = 1;
  Loudness loudness;
  std::vector<double> all, low;   ///< mean square of all channels together, unweighted: whole, and below 120 Hz (8th-order Butterworth)
  std::vector<double> mid, side;  ///< of (L + R)/2 and (L − R)/2; empty in mono
  std::vector<float> true_peak;   ///< linear, of the channel that is highest
  std::vector<float> onsets;      ///< how strongly sound sets in, every 10 ms
};

class MixMeter {
 public:
  MixMeter(double sample_rate, int channels);
  ~MixMeter();
  MixMeter(MixMeter&&) noexcept;
  void push(ChannelRows rows, std::int64_t frames);
  [[nodiscard]] MixSteps finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// dB of what stands below 120 Hz over all of it; of silence nothing.
[[nodiscard]] std::optional<double> low_share(const MixSteps& mix, Steps steps);
[[nodiscard]] std::optional<double> side_to_mid(const MixSteps& mix, Steps steps);
/// dBTP; of silence nothing.
[[nodiscard]] std::optional<double> true_peak(const MixSteps& mix, Steps steps);
/// Onsets a second: peaks of the strength with which sound sets in that no other within 50 ms exceeds, and that stand over one and a
/// half times the song's mean strength. Own measure, no source.
[[nodiscard]] std::optional<double> density(const MixSteps& mix, double start_s, double end_s);

}  // namespace sendworthy::song
