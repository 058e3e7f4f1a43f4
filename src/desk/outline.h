// The shape of a sound as it is drawn: lowest, highest and mean-square sample of stretches of many lengths, made while it is decoded.
#pragma once

#include <sendworthy/result.h>

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/scratch_folder.h"

namespace sendworthy::desk {

/// Frames in one stretch of each level; a stretch of the next level is eight of the one before.
inline constexpr std::array<std::int64_t, 6> kOutlineSteps{64, 512, 4096, 32768, 262144, 2097152};

/// Over all channels; full scale is ±1.
struct Extent {
  float low = 0, high = 0;
  double squares = 0;  ///< sum over every sample of every channel
};

/// Writes one file a level into a folder. Not thread-safe.
class OutlineWriter {
 public:
  /// `folder` exists. Error: output.
  [[nodiscard]] static Result<OutlineWriter> make(const std::string& folder, int channels);

  /// The next frames, a row per channel, `stride` floats apart; every call but the last brings a multiple of 64. Error: output.
  [[nodiscard]] Result<void> add(const float* rows, std::int64_t stride, int frames);
  /// What is left of stretches that did not come to their end. Nothing is added afterwards. Error: output.
  [[nodiscard]] Result<void> finish();

 private:
  struct Level {
    base::NewFile file;
    std::vector<Extent> ready;
    Extent open;
    int parts = 0;  ///< stretches of the level before, in `open`
  };
  OutlineWriter(std::vector<Level> levels, int channels) : levels_(std::move(levels)), channels_(channels) {}
  void put(std::size_t level, const Extent& extent);
  [[nodiscard]] Result<void> flush();

  std::vector<Level> levels_;
  int channels_;
  std::vector<float> low_, high_, squares_;
};

struct OutlineColumn {
  double low = 0, high = 0, rms = 0;
};
struct Outline {
  std::vector<OutlineColumn> columns;
  std::int64_t looked_at = 0;  ///< samples or stretches that were read
};

/// Of which stretches columns of so many frames are made: a level, a quarter of a column or less; nothing: of the samples themselves.
[[nodiscard]] std::optional<std::size_t> outline_level(std::int64_t frames_per_column);
/// Up to which frame a sound must have been decoded for an outline up to `to`.
[[nodiscard]] std::int64_t outline_needs(std::int64_t from, std::int64_t to, int columns);

/// Columns of equal length (to a frame) over frames [from, to), from < to, at most one a frame. Each holds every stretch that it touches, so that no peak
/// of it is missing; a column of samples is exact. `samples`: the file of interleaved floats. `decoded`: frames that are there; at
/// least outline_needs(), or all of the sound. Error: unreadable.
[[nodiscard]] Result<Outline> read_outline(const std::string& folder, const std::string& samples, int channels, std::int64_t decoded,
                                           std::int64_t from, std::int64_t to, int columns);

}  // namespace sendworthy::desk
