// Sources without a file: samples in memory, or made by a function. For tests, selftest and benchmarks.
#pragma once

#include <functional>
#include <span>

#include "audio/file.h"

namespace sendworthy::audio {

/// Layout for a plain channel count: 1 mono, 2 stereo, 6 = 5.1 (L R C LFE Ls Rs), 8 = 7.1, else unknown.
[[nodiscard]] StreamFormat plain_format(int sample_rate, int channels, SampleKind kind, int container_bits);

/// Frames made on demand: `fill(first_frame, frames, interleaved)`; `frames` in all.
class RealSource final : public Source {
 public:
  using Fill = std::function<void(std::int64_t first_frame, std::int64_t frames, double* interleaved)>;
  RealSource(StreamFormat format, std::int64_t frames, Fill fill);
  const StreamFormat& format() const override { return format_; }
  std::optional<std::int64_t> expected_frames() const override { return frames_; }
  std::int64_t read_codes(std::int32_t*, std::int64_t) override { return 0; }
  std::int64_t read_reals(double* interleaved, std::int64_t frames) override;
  const std::vector<Damage>& damage() const override { return damage_; }

 private:
  StreamFormat format_;
  std::int64_t frames_, at_ = 0;
  Fill fill_;
  std::vector<Damage> damage_;
};

/// The same for integers: codes left-justified in 32 bits.
class CodeSource final : public Source {
 public:
  using Fill = std::function<void(std::int64_t first_frame, std::int64_t frames, std::int32_t* interleaved)>;
  CodeSource(StreamFormat format, std::int64_t frames, Fill fill);
  const StreamFormat& format() const override { return format_; }
  std::optional<std::int64_t> expected_frames() const override { return frames_; }
  std::int64_t read_codes(std::int32_t* interleaved, std::int64_t frames) override;
  std::int64_t read_reals(double*, std::int64_t) override { return 0; }
  const std::vector<Damage>& damage() const override { return damage_; }

 private:
  StreamFormat format_;
  std::int64_t frames_, at_ = 0;
  Fill fill_;
  std::vector<Damage> damage_;
};

}  // namespace sendworthy::audio
