// A mix and its stems side by side, block by block, as they stand in the mix.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "pair/reader.h"

namespace sendworthy::song {

/// Pointers to as many samples of each channel as the block has frames.
using ChannelRows = std::span<const float* const>;

/// At the mix's rate and with its channels, surround folded down to two. A mono stem stands in both channels of a stereo mix; a
/// stem of another rate is converted. Stems are read from frame 0 on for as long as the mix lasts, silence beyond their end.
class Parts {
 public:
  /// Part 0 is the mix, the stems follow. Errors: as audio::open_file.
  [[nodiscard]] static Result<Parts> open(const std::string& mix, const std::vector<std::string>& stems);

  [[nodiscard]] double rate() const { return rate_; }
  [[nodiscard]] int channels() const { return channels_; }  ///< 1 or 2
  [[nodiscard]] std::size_t size() const { return readers_.size(); }
  /// Frames that the mix's header promises, for progress only.
  [[nodiscard]] std::int64_t expected() const { return readers_.front().expected(); }

  /// How many frames of the mix stand from `from` on, at most `frames`; 0 at its end. To be called before `see`.
  [[nodiscard]] std::int64_t reach(std::int64_t from, std::int64_t frames);
  /// Channels of a part; good until the next call for that part. Different parts may be read by different threads at once.
  [[nodiscard]] ChannelRows see(std::size_t part, std::int64_t from, std::int64_t frames);
  /// What failed on the way, of the first part that did.
  [[nodiscard]] const Error* error() const;

 private:
  std::vector<pair::Reader> readers_;
  std::vector<std::vector<const float*>> rows_;
  double rate_ = 0;
  int channels_ = 1;
};

}  // namespace sendworthy::song
