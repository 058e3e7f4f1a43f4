// A file's channels at any place, at a rate of one's choice: what comparing two files asks for.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "audio/file.h"

namespace sendworthy::pair {

/// One row per channel, full scale ±1.
using Rows = std::vector<std::vector<float>>;

/// Reads in order and keeps the last two million samples; what lies further back is decoded again. Not thread-safe.
class Reader {
 public:
  /// `step`: frames of the file per frame that is read; 1 leaves them as they are, anything else is converted by libsoxr at its
  /// highest quality, so that frame n stands where frame n·step stood. `channels`: 0 as they are; 1 or 2 folded down to as many,
  /// by ITU-R BS.775 from surround, the mean of both from stereo. Errors: as audio::open_file.
  [[nodiscard]] static Result<Reader> open(const std::string& path, double step = 1, int channels = 0);
  Reader(Reader&&) noexcept;
  Reader& operator=(Reader&&) noexcept;
  ~Reader();

  [[nodiscard]] const audio::StreamFormat& format() const { return format_; }
  [[nodiscard]] double step() const { return step_; }
  [[nodiscard]] int channels() const { return static_cast<int>(rows_); }  ///< as read
  /// Frames [from, from + frames) of every channel; silence outside of the file.
  void read(std::int64_t from, std::int64_t frames, Rows& rows);
  /// The same where they stand: one pointer per channel, good until the next call of anything here.
  [[nodiscard]] std::span<const float* const> see(std::int64_t from, std::int64_t frames);
  /// Keeps so many samples of all channels together in place of two million.
  void keep(std::int64_t samples) { keep_ = samples; }
  /// How many frames there are; reads to the end where that is not known yet.
  [[nodiscard]] std::int64_t length();
  /// Up to which frame was read so far; the length once the end was met.
  [[nodiscard]] std::int64_t known_end() const { return end_; }
  /// Frames that the header promises, for progress only; 0 where it promises nothing.
  [[nodiscard]] std::int64_t expected() const;
  /// Whether one of the frames asked for last lies in the file.
  [[nodiscard]] bool met_sound() const { return met_sound_; }
  /// What failed on the way, when the file could not be opened again.
  [[nodiscard]] const std::optional<Error>& error() const { return error_; }

 private:
  class Converter;
  Reader(std::string path, double step, int channels);
  bool restart();
  bool more();
  void reach(std::int64_t from, std::int64_t to);
  float* room(std::int64_t frames);
  void fold(const float* interleaved, std::int64_t frames);
  [[nodiscard]] const float* row(std::size_t c, std::int64_t frame) const { return kept_.data() + static_cast<std::int64_t>(c) * stride_ + first_ + frame - begin_; }

  std::string path_;
  double step_;
  int folded_to_;
  std::vector<std::vector<float>> fold_;  ///< row of what is read × channel of the file; empty: as they are
  audio::StreamFormat format_;
  std::unique_ptr<audio::Source> source_;
  std::unique_ptr<Converter> converter_;
  std::size_t rows_ = 0;
  std::vector<float> kept_;  ///< rows of `stride_`; frame `begin_` stands at `first_` in each, and `end_` is behind the last
  std::int64_t stride_ = 0, first_ = 0, begin_ = 0, end_ = 0, keep_ = 1 << 21;
  Rows padded_;
  std::vector<const float*> seen_;
  std::optional<std::int64_t> length_;
  std::vector<std::int32_t> codes_;
  std::vector<double> reals_;
  std::vector<float> block_, converted_;
  bool met_sound_ = false;
  std::optional<Error> error_;
};

/// Of the library that converts rates.
[[nodiscard]] std::string converter_version();

/// To how many channels both have to be folded so that they can be held against each other: 0 where they have equally many, or
/// one of them more than two whose places are not known.
[[nodiscard]] int common_channels(const audio::StreamFormat& a, const audio::StreamFormat& b);

}  // namespace sendworthy::pair
