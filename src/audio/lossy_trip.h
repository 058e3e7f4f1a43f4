// Audio through a lossy encoder and back: what a listener's player will decode. In memory, and through pipes for AAC.
#pragma once

#include <sendworthy/result.h>

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

namespace sendworthy::audio {

struct LossyWish {
  enum class Codec { vorbis, opus, mp3, aac };
  Codec codec = Codec::vorbis;
  int kbit_s = 0;
};

/// Sample rate and channels of what is sent through.
struct LossyFormat {
  int sample_rate = 0;
  int channels = 0;
};

/// One stretch of sound, there and back. Order of calls: write* finish. Nothing clips on the way: samples are floats
/// before and behind the codec. Not thread-safe; may move between threads.
class LossyTrip {
 public:
  /// Frames of decoded sound, interleaved; aligned with what was written, and as many of them.
  using Sink = std::function<void(const float* interleaved, std::int64_t frames)>;

  virtual ~LossyTrip() = default;
  virtual Result<void> write(const float* interleaved, std::int64_t frames) = 0;
  /// Ends the encoding, decodes, and hands over everything. Errors: unreadable; interrupted.
  virtual Result<void> finish(const Sink& sink) = 0;
  /// Bytes of coded audio, without headers; after finish.
  [[nodiscard]] virtual std::int64_t coded_bytes() const = 0;
  /// Who encoded: "libsndfile 1.2.0, libopus 1.3.1"; after finish.
  [[nodiscard]] virtual std::string encoder() const = 0;
};

/// What a wish comes down to for one format: found once, then any number of trips.
/// Ogg Vorbis, Opus and MP3 by libsndfile; AAC by the program ffmpeg, when there is one.
class LossyRoute {
 public:
  /// Errors say in their text why this cannot be done, and what to do about it. `stop` may be null.
  [[nodiscard]] static Result<LossyRoute> find(LossyWish wish, LossyFormat format, const std::atomic<bool>* stop);
  /// A trip of at most `frames`.
  [[nodiscard]] Result<std::unique_ptr<LossyTrip>> start(std::int64_t frames) const;

 private:
  LossyWish wish_;
  LossyFormat format_;
  const std::atomic<bool>* stop_ = nullptr;
  double quality_ = 0;             ///< Vorbis
  std::string program_, version_;  ///< AAC
};

/// Which program stands behind AAC right now: its path, version, size and times; "none" without one. `stop` may be null.
[[nodiscard]] std::string aac_coder(const std::atomic<bool>* stop);

}  // namespace sendworthy::audio
