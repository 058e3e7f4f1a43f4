#include "audio/aac_trip.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>
#include <map>
#include <mutex>
#include <utility>
#include <vector>

#include "base/text.h"

namespace sendworthy::audio {
namespace {

// ffmpeg's own encoder puts one frame of 1024 samples in front, and ADTS has no field that says so. Measured with 5.1, and
// held by a test of a click's place.
constexpr std::int64_t kAhead = 1024;
constexpr std::int64_t kAdtsHeader = 7;
constexpr std::int64_t kSlackFrames = 16 * 1024;

/// Raw floats as they come out of a pipe, cut anywhere → the frames behind the encoder's delay.
class Unpacker {
 public:
  Unpacker(int channels, std::int64_t wanted, const LossyTrip::Sink& sink)
      : frame_bytes_(static_cast<std::size_t>(channels) * sizeof(float)), wanted_(wanted), sink_(sink) {}

  void take(std::string_view piece) {
    rest_.append(piece);
    const auto whole = static_cast<std::int64_t>(rest_.size() / frame_bytes_);
    const auto skip = std::min(ahead_, whole);
    ahead_ -= skip;
    const auto use = std::min(whole - skip, wanted_ - frames_);
    if (use > 0) {
      floats_.resize(static_cast<std::size_t>(use) * frame_bytes_ / sizeof(float));
      std::memcpy(floats_.data(), rest_.data() + static_cast<std::size_t>(skip) * frame_bytes_, static_cast<std::size_t>(use) * frame_bytes_);
      sink_(floats_.data(), use);
      frames_ += use;
    }
    rest_.erase(0, static_cast<std::size_t>(whole) * frame_bytes_);
  }
  [[nodiscard]] std::int64_t frames() const { return frames_; }

 private:
  const std::size_t frame_bytes_;
  const std::int64_t wanted_;
  const LossyTrip::Sink& sink_;
  std::int64_t ahead_ = kAhead, frames_ = 0;
  std::string rest_;
  std::vector<float> floats_;
};

class AacTrip final : public LossyTrip {
 public:
  AacTrip(std::string program, std::string version, LossyFormat format, int kbit_s, std::int64_t frames,
          const std::atomic<bool>* stop, base::HelperLimits limits)
      : program_(std::move(program)), version_(std::move(version)), format_(format), kbit_s_(kbit_s), stop_(stop),
        limits_(limits) {
    sound_.reserve(static_cast<std::size_t>(bytes_of(frames)));
  }

  Result<void> write(const float* interleaved, std::int64_t frames) override {
    sound_.append(reinterpret_cast<const char*>(interleaved), static_cast<std::size_t>(bytes_of(frames)));
    frames_ += frames;
    return {};
  }

  Result<void> finish(const Sink& sink) override {
    const auto rate = std::to_string(format_.sample_rate), channels = std::to_string(format_.channels);
    const std::string raw = std::endian::native == std::endian::little ? "f32le" : "f32be";
    auto limits = limits_;
    // Four times what was asked for is no AAC any more.
    limits.output_bytes = static_cast<std::size_t>(4 * 125 * kbit_s_ * frames_ / format_.sample_rate + (64 << 10));
    auto coded = base::run_helper(program_,
                                  {"-hide_banner", "-nostdin", "-loglevel", "error", "-f", raw, "-ar", rate, "-ac", channels,
                                   "-i", "pipe:0", "-c:a", "aac", "-b:a", fmt::format("{}k", kbit_s_), "-f", "adts", "pipe:1"},
                                  sound_, limits, stop_);
    if (!coded) return tl::unexpected(coded.error());
    std::string().swap(sound_);
    count(*coded);
    limits.output_bytes = static_cast<std::size_t>(bytes_of(frames_ + kSlackFrames));
    Unpacker unpacker(format_.channels, frames_, sink);
    const auto decoded = base::run_helper(program_,
                                          {"-hide_banner", "-nostdin", "-loglevel", "error", "-f", "aac", "-i", "pipe:0",
                                           "-ar", rate, "-ac", channels, "-c:a", "pcm_" + raw, "-f", raw, "pipe:1"},
                                          *coded, limits, stop_, [&](std::string_view piece) { unpacker.take(piece); });
    if (!decoded) return tl::unexpected(decoded.error());
    if (unpacker.frames() < frames_)
      return fail(ErrorCode::unreadable, fmt::format("{} gave back {} frames of {}", base::for_terminal(program_),
                                                     unpacker.frames(), frames_));
    return {};
  }

  [[nodiscard]] std::int64_t coded_bytes() const override { return coded_bytes_; }
  [[nodiscard]] std::string encoder() const override { return version_; }

 private:
  [[nodiscard]] std::int64_t bytes_of(std::int64_t frames) const {
    return frames * format_.channels * static_cast<std::int64_t>(sizeof(float));
  }

  // ADTS (ISO/IEC 14496-3): each frame begins with 12 ones and has its length in 13 bits.
  void count(std::string_view coded) {
    coded_bytes_ = 0;
    const auto byte = [&](std::size_t at) { return static_cast<unsigned>(static_cast<unsigned char>(coded[at])); };
    for (std::size_t at = 0; at + kAdtsHeader <= coded.size();) {
      if (byte(at) != 0xFF || (byte(at + 1) & 0xF0u) != 0xF0u) break;
      const auto length = ((byte(at + 3) & 3u) << 11) | (byte(at + 4) << 3) | (byte(at + 5) >> 5);
      if (length < kAdtsHeader) break;
      coded_bytes_ += length;
      at += length;
    }
  }

  const std::string program_, version_;
  const LossyFormat format_;
  const int kbit_s_;
  const std::atomic<bool>* stop_;
  const base::HelperLimits limits_;
  std::string sound_;
  std::int64_t frames_ = 0, coded_bytes_ = 0;
};

}  // namespace

Result<std::string> ffmpeg_version(const std::string& program, const std::atomic<bool>* stop,
                                   const base::HelperLimits& limits) {
  const auto said = base::run_helper(program, {"-hide_banner", "-nostdin", "-version"}, "", limits, stop);
  if (!said) return tl::unexpected(said.error());
  const auto line = std::string_view(*said).substr(0, std::min<std::size_t>(120, said->find('\n')));
  if (!line.starts_with("ffmpeg version "))
    return fail(ErrorCode::unreadable, base::for_terminal(program) + " does not answer as ffmpeg does");
  return base::for_terminal(line.substr(0, line.find(" Copyright")));
}

Result<std::string> known_ffmpeg_version(const std::string& program, const std::atomic<bool>* stop) {
  static std::mutex mutex;
  static std::map<std::string, std::string> known;
  const std::lock_guard lock(mutex);
  if (const auto found = known.find(program); found != known.end()) return found->second;
  auto version = ffmpeg_version(program, stop);
  if (version) known.emplace(program, *version);
  return version;
}

std::unique_ptr<LossyTrip> aac_trip(std::string program, std::string version, LossyFormat format, int kbit_s,
                                    std::int64_t frames, const std::atomic<bool>* stop, const base::HelperLimits& limits) {
  return std::make_unique<AacTrip>(std::move(program), std::move(version), format, kbit_s, frames, stop, limits);
}

}  // namespace sendworthy::audio
