// What the walks of plain PCM and float have in common: the facts, and the question whether bytes behind the samples
// are more of them.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <string>
#include <vector>

#include "audio/pcm.h"
#include "audio/walk.h"

namespace sendworthy::audio {
namespace {

struct Texture {
  double mean_square = 0;
  double difference = 2;  // mean square of the step from sample to sample over mean_square: 2 for white noise
  bool all_zero = true;
  bool mostly_text = false;
};

constexpr int kLookBytes = 4096;

Texture texture_of(std::span<const std::uint8_t> bytes, const SampleData& data, int channels) {
  Texture texture;
  texture.all_zero = std::all_of(bytes.begin(), bytes.end(), [](std::uint8_t b) { return b == 0; });
  const auto readable = std::count_if(bytes.begin(), bytes.end(), [](std::uint8_t b) {
    return (b >= 0x20 && b <= 0x7e) || b == '\n' || b == '\r' || b == '\t';
  });
  texture.mostly_text = readable * 100 >= std::ssize(bytes) * 95;
  if (data.sample_bytes == 0) return texture;
  const auto frames = std::ssize(bytes) / data.frame_bytes;
  std::vector<double> samples(static_cast<std::size_t>(frames * channels));
  plain_to_reals(bytes.data(), frames * channels, data, samples.data());
  double sum = 0, steps = 0;
  for (std::int64_t i = 0; i < frames * channels; ++i) {
    const double x = samples[static_cast<std::size_t>(i)];
    if (!std::isfinite(x) || std::abs(x) > 1e3) return texture;  // no audio in this reading
    sum += x * x;
    if (i >= channels) {
      const double step = x - samples[static_cast<std::size_t>(i - channels)];
      steps += step * step;
    }
  }
  if (frames > 1 && sum > 0) {
    texture.mean_square = sum / static_cast<double>(frames * channels);
    texture.difference = steps / sum;
  }
  return texture;
}

bool known_trailer(Window& window, std::int64_t offset) {
  const auto head = window.up_to(offset, 8);
  const auto begins = [&](std::string_view magic) {
    return head.size() >= magic.size() && text_at(head.data(), magic.size()) == magic;
  };
  return begins("TAG") || begins("APETAGEX") || begins("ID3") || begins("LYRICSBE");
}

// A heuristic. Music steps little from sample to sample; noise steps much, but then the sound before it does too.
bool like_audio(Walk& walk, std::int64_t tail, std::int64_t length) {
  const auto& data = walk.result.data;
  const int channels = walk.result.format.channels;
  if (data.sample_bytes == 0 || length < std::int64_t{16} * data.frame_bytes || known_trailer(walk.window, tail))
    return false;
  const auto phase = (tail - data.offset) % data.frame_bytes;
  const auto first = tail + (phase == 0 ? 0 : data.frame_bytes - phase);
  const auto look = std::int64_t{kLookBytes} / data.frame_bytes * data.frame_bytes;
  if (look == 0) return false;
  const auto before = texture_of(
      walk.window.up_to(std::max(data.offset, data.offset + (data.bytes - look) / data.frame_bytes * data.frame_bytes),
                        std::min(look, data.bytes)),
      data, channels);
  int windows = 0, alike = 0, silent = 0, text = 0;
  for (int i = 0; i < 16; ++i) {
    const auto at = first + (length - look) / 16 * i / data.frame_bytes * data.frame_bytes;
    const auto bytes = walk.window.up_to(std::max(first, at), std::min(look, walk.size() - first));
    const auto here = texture_of(bytes, data, channels);
    ++windows;
    if (here.all_zero)
      ++silent;
    else if (here.mostly_text)
      ++text;
    else if (here.mean_square > 0 && here.difference < 0.7)
      ++alike;
    else if (here.mean_square > 0 && before.mean_square > 0 && here.difference < 2 * before.difference &&
             here.mean_square < 16 * before.mean_square && here.mean_square > before.mean_square / 16)
      ++alike;
    if (length <= look) break;
  }
  return alike > 0 && alike + silent >= windows / 2 && text == 0;
}

bool only_zeros(Walk& walk, std::int64_t from) {
  constexpr std::int64_t kLimit = 256 << 20;  // beyond it nobody pads
  for (auto at = from; at < walk.size();) {
    const auto bytes = walk.window.up_to(at, 64 << 10);
    if (bytes.empty() || at - from > kLimit) return false;
    if (std::any_of(bytes.begin(), bytes.end(), [](std::uint8_t b) { return b != 0; })) return false;
    at += std::ssize(bytes);
  }
  return true;
}

}  // namespace

void judge_tail(Walk& walk, std::int64_t tail, bool follows_samples) {
  const auto length = walk.size() - tail;
  if (length <= 0) return;
  walk.result.facts.trailing_bytes = length;
  const auto& data = walk.result.data;
  // This much that is neither zeros nor a known tag cannot be left to chance: half a song may hide in it.
  constexpr std::int64_t kTooMuchForChance = 4096;
  const bool suspicious = length >= kTooMuchForChance && !known_trailer(walk.window, tail) &&
                          !texture_of(walk.window.up_to(tail, kLookBytes), data, 1).mostly_text &&
                          !only_zeros(walk, tail);
  const bool audio = like_audio(walk, tail, length);
  if (!audio && !suspicious) return;
  const auto frames = frames_in(data, length);
  walk.contradict(tail,
                  fmt::format("{} bytes after the {} are no legal chunk{}: room for {} frames that the header hides",
                              grouped(length), follows_samples ? "samples" : "last chunk",
                              audio ? " and look like audio" : "", grouped(frames)));
  if (follows_samples && walk.result.facts.walked_frames) *walk.result.facts.walked_frames += frames;
}

void finish_plain(Walk& walk, int valid_bits) {
  auto& [facts, format, data, expected, damage, md5, md5_bytes] = walk.result;
  const int container_bits = data.sample_bytes * 8;
  const bool real = data.codec == Codec::ieee_float;
  format.kind = real ? SampleKind::real : SampleKind::integer;
  // Codes are as wide as their valid bits, in whole bytes: 24 in 32 is a 24-bit code.
  format.container_bits = real ? container_bits : std::min(container_bits, (valid_bits + 7) / 8 * 8);
  facts.bit_depth = valid_bits;
  facts.encoding = fmt::format("{} {}-bit", real ? "float" : "PCM", valid_bits);
  if (valid_bits != container_bits) facts.encoding += fmt::format(" (in {})", container_bits);
  facts.bit_rate_kbit_s = static_cast<double>(format.sample_rate) * data.frame_bytes * 8 / 1000.0;
  facts.walked_frames = frames_in(data, data.bytes);
  expected = facts.walked_frames;
}

}  // namespace sendworthy::audio
