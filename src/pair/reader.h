// A file's channels at any place, at a rate of one's choice: what comparing two files asks for.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "audio/file.h"

namespace sendworthy::pair {

/// One row per channel, full scale ±1.
using Rows = std::vector<std::vector<float>>;

/// Reads in order and keeps some 20 s; what lies further back is decoded again. Not thread-safe.
class Reader {
 public:
  /// `step`: frames of the file per frame that is read; 1 leaves them as they are, anything else is converted by libsoxr at its
  /// highest quality, so that frame n stands where frame n·step stood. Errors: as audio::open_file.
  [[nodiscard]] static Result<Reader> open(const std::string& path, double step = 1);
  Reader(Reader&&) noexcept;
  Reader& operator=(Reader&&) noexcept;
  ~Reader();

  [[nodiscard]] const audio::StreamFormat& format() const { return format_; }
  [[nodiscard]] double step() const { return step_; }
  /// Frames [from, from + frames) of every channel; silence outside of the file.
  void read(std::int64_t from, std::int64_t frames, Rows& rows);
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
  Reader(std::string path, double step);
  bool restart();
  bool more();
  void append(const float* interleaved, std::int64_t frames);

  std::string path_;
  double step_;
  audio::StreamFormat format_;
  std::unique_ptr<audio::Source> source_;
  std::unique_ptr<Converter> converter_;
  Rows kept_;
  std::int64_t begin_ = 0, end_ = 0;
  std::optional<std::int64_t> length_;
  std::vector<std::int32_t> codes_;
  std::vector<double> reals_;
  std::vector<float> block_, converted_;
  bool met_sound_ = false;
  std::optional<Error> error_;
};

}  // namespace sendworthy::pair
