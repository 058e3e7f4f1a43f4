#include "audio/pcm.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cstring>
#include <utility>

#include "dsp/planar.h"

namespace sendworthy::audio {
namespace {

constexpr bool kHostBig = std::endian::native == std::endian::big;

std::uint16_t swapped(std::uint16_t v) { return __builtin_bswap16(v); }
std::uint32_t swapped(std::uint32_t v) { return __builtin_bswap32(v); }
std::uint64_t swapped(std::uint64_t v) { return __builtin_bswap64(v); }

template <class Word, bool kBig>
Word load(const std::uint8_t* from) {
  Word word;
  std::memcpy(&word, from, sizeof word);
  return kBig == kHostBig ? word : swapped(word);
}

// Each loop has one shape, so that the compiler can put it into vector registers.
template <class Word, bool kBig>
void words_to_codes(const std::uint8_t* from, std::int64_t count, std::int32_t* to) {
  constexpr int kShift = 32 - 8 * static_cast<int>(sizeof(Word));
  for (std::int64_t i = 0; i < count; ++i)
    to[i] = static_cast<std::int32_t>(static_cast<std::uint32_t>(load<Word, kBig>(from + i * sizeof(Word))) << kShift);
}

void bytes_to_codes(const std::uint8_t* from, std::int64_t count, std::uint8_t flip, std::int32_t* to) {
  for (std::int64_t i = 0; i < count; ++i)
    to[i] = static_cast<std::int32_t>(static_cast<std::uint32_t>(from[i] ^ flip) << 24);
}

// Three bytes are the upper ones of a word that starts one byte earlier (little-endian) or right here (big-endian): one load,
// one mask. It reads one byte more than the samples have, hence the slack around the buffer.
template <bool kBig>
void triples_to_codes(const std::uint8_t* from, std::int64_t count, std::int32_t* to) {
  std::int64_t i = dsp::codes_of_triples(from, count, kBig, to);
  const std::uint8_t* at = from + 3 * i - (kBig ? 0 : 1);
  for (; i < count; ++i, at += 3) to[i] = static_cast<std::int32_t>(load<std::uint32_t, kBig>(at) & 0xffffff00u);
}

template <class Word, class Real, bool kBig>
void words_to_reals(const std::uint8_t* from, std::int64_t count, double* to) {
  for (std::int64_t i = 0; i < count; ++i)
    to[i] = static_cast<double>(std::bit_cast<Real>(load<Word, kBig>(from + i * sizeof(Word))));
}

constexpr std::int64_t kBufferBytes = 128 << 10;
constexpr std::int64_t kSlack = 8;

class PlainSource final : public Source {
 public:
  PlainSource(std::unique_ptr<Bytes> bytes, Walked walked)
      : bytes_(std::move(bytes)),
        data_(std::move(walked.data)),
        format_(std::move(walked.format)),
        damage_(std::move(walked.stream_damage)),
        declared_(walked.facts.declared_frames),
        frames_(frames_in(data_, data_.bytes)),
        buffer_(static_cast<std::size_t>(kBufferBytes + 2 * kSlack)) {}

  const StreamFormat& format() const override { return format_; }
  std::optional<std::int64_t> expected_frames() const override { return frames_; }
  const std::vector<Damage>& damage() const override { return damage_; }

  std::int64_t read_codes(std::int32_t* interleaved, std::int64_t frames) override {
    if (format_.kind != SampleKind::integer) return 0;
    return read(frames, [&](std::int64_t done, const std::uint8_t* from, std::int64_t n) {
      plain_to_codes(from, n * format_.channels, data_, interleaved + done * format_.channels);
    });
  }

  std::int64_t read_reals(double* interleaved, std::int64_t frames) override {
    if (format_.kind != SampleKind::real) return 0;
    return read(frames, [&](std::int64_t done, const std::uint8_t* from, std::int64_t n) {
      plain_to_reals(from, n * format_.channels, data_, interleaved + done * format_.channels);
    });
  }

  std::int64_t skip(std::int64_t frames) override {
    const auto n = std::clamp<std::int64_t>(frames, 0, frames_ - at_);
    at_ += n;
    return n;
  }

 private:
  template <class Convert>
  std::int64_t read(std::int64_t frames, const Convert& convert) {
    std::int64_t done = 0;
    while (done < frames && at_ < frames_) {
      const auto n = std::min({frames - done, frames_ - at_, kBufferBytes / data_.frame_bytes});
      const auto offset = data_.offset + at_ * data_.frame_bytes;
      auto* const from = buffer_.data() + kSlack;
      const auto got = bytes_->read_at(offset, from, n * data_.frame_bytes) / data_.frame_bytes;
      convert(done, from, got);
      done += got;
      at_ += got;
      if (got < n) {  // the file was whole when it was opened
        const auto why = bytes_->error();
        damage_.push_back({why.empty() ? "the file became shorter while it was read" : "reading failed: " + why,
                           offset + got * data_.frame_bytes, at_});
        frames_ = at_;
      }
    }
    if (done == 0) finish();
    return done;
  }

  void finish() {
    if (std::exchange(finished_, true)) return;
    if (declared_ && at_ < *declared_)
      damage_.push_back({fmt::format("the header says {} frames, {} are there", grouped(*declared_), grouped(at_)),
                         data_.offset + at_ * data_.frame_bytes, at_});
  }

  std::unique_ptr<Bytes> bytes_;
  SampleData data_;
  StreamFormat format_;
  std::vector<Damage> damage_;
  std::optional<std::int64_t> declared_;
  std::int64_t frames_, at_ = 0;
  bool finished_ = false;
  std::vector<std::uint8_t> buffer_;
};

}  // namespace

void plain_to_codes(const std::uint8_t* from, std::int64_t count, const SampleData& data, std::int32_t* to) {
  switch (data.sample_bytes) {
    case 1:
      return bytes_to_codes(from, count, data.unsigned_codes ? 0x80 : 0, to);
    case 2:
      return data.big_endian ? words_to_codes<std::uint16_t, true>(from, count, to)
                             : words_to_codes<std::uint16_t, false>(from, count, to);
    case 3:
      return data.big_endian ? triples_to_codes<true>(from, count, to) : triples_to_codes<false>(from, count, to);
    case 4:
      return data.big_endian ? words_to_codes<std::uint32_t, true>(from, count, to)
                             : words_to_codes<std::uint32_t, false>(from, count, to);
    default:
      return;
  }
}

void plain_to_reals(const std::uint8_t* from, std::int64_t count, const SampleData& data, double* to) {
  if (data.codec == Codec::ieee_float) {
    if (data.sample_bytes == 4)
      return data.big_endian ? words_to_reals<std::uint32_t, float, true>(from, count, to)
                             : words_to_reals<std::uint32_t, float, false>(from, count, to);
    return data.big_endian ? words_to_reals<std::uint64_t, double, true>(from, count, to)
                           : words_to_reals<std::uint64_t, double, false>(from, count, to);
  }
  // Through a small buffer of its own, so that callers need no slack around their bytes.
  std::uint8_t bytes[4 * 64 + 2 * kSlack] = {};
  std::int32_t codes[64];
  for (std::int64_t i = 0; i < count; i += 64) {
    const auto n = std::min<std::int64_t>(64, count - i);
    std::memcpy(bytes + kSlack, from + i * data.sample_bytes, static_cast<std::size_t>(n * data.sample_bytes));
    plain_to_codes(bytes + kSlack, n, data, codes);
    for (std::int64_t k = 0; k < n; ++k) to[i + k] = codes[k] / 2147483648.0;
  }
}

std::unique_ptr<Source> open_plain(std::unique_ptr<Bytes> bytes, Walked walked) {
  return std::make_unique<PlainSource>(std::move(bytes), std::move(walked));
}

}  // namespace sendworthy::audio
