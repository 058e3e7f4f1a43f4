#include "pair/reader.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

#include <soxr.h>

#include "dsp/planar.h"

namespace sendworthy::pair {
namespace {

constexpr std::int64_t kBlock = 4096;
constexpr float kHalfPower = 0.70710678f;

// ITU-R BS.775-3, Annex 4, Table 2: the centre and each surround at -3 dB into the sides they stand on; the LFE channel is left out.
std::vector<std::vector<float>> fold_of(const audio::StreamFormat& format, int channels) {
  std::vector<std::vector<float>> sides(2, std::vector<float>(static_cast<std::size_t>(format.channels), 0.0f));
  if (format.channels == 1) sides[0][0] = sides[1][0] = 1;
  for (std::size_t c = 0; c < static_cast<std::size_t>(format.channels) && format.channels > 1; ++c) {
    using enum audio::Speaker;
    switch (format.speakers[c]) {
      case left: sides[0][c] = 1; break;
      case right: sides[1][c] = 1; break;
      case centre: sides[0][c] = sides[1][c] = kHalfPower; break;
      case left_surround:
      case left_back: sides[0][c] = kHalfPower; break;
      case right_surround:
      case right_back: sides[1][c] = kHalfPower; break;
      case centre_back: sides[0][c] = sides[1][c] = 0.5f; break;
      default: break;
    }
  }
  if (channels == 2) return sides;
  for (std::size_t c = 0; c < sides[0].size(); ++c) sides[0][c] = 0.5f * (sides[0][c] + sides[1][c]);
  sides.resize(1);
  return sides;
}

}  // namespace

class Reader::Converter {
 public:
  Converter(double step, int channels) : channels_(static_cast<unsigned>(channels)) {
    const auto quality = soxr_quality_spec(SOXR_VHQ, 0);
    const auto types = soxr_io_spec(SOXR_FLOAT32_I, SOXR_FLOAT32_I);
    soxr_ = soxr_create(step, 1, channels_, nullptr, &types, &quality, nullptr);
  }
  Converter(const Converter&) = delete;
  Converter& operator=(const Converter&) = delete;
  ~Converter() { soxr_delete(soxr_); }

  [[nodiscard]] bool works() const { return soxr_ != nullptr; }
  /// `frames` 0: the end; call until nothing comes any more.
  std::int64_t process(const float* in, std::int64_t frames, std::vector<float>& out, double step) {
    const auto room = static_cast<std::size_t>(static_cast<double>(frames) / step) + 4096;
    out.resize(room * channels_);
    std::size_t used = 0, got = 0;
    const soxr_in_t from = frames > 0 ? in : nullptr;
    if (soxr_process(soxr_, from, static_cast<std::size_t>(frames), &used, out.data(), room, &got) != nullptr) return 0;
    return static_cast<std::int64_t>(got);
  }

 private:
  unsigned channels_;
  soxr_t soxr_ = nullptr;
};

Reader::Reader(std::string path, double step, int channels) : path_(std::move(path)), step_(step), folded_to_(channels) {}
Reader::Reader(Reader&&) noexcept = default;
Reader& Reader::operator=(Reader&&) noexcept = default;
Reader::~Reader() = default;

std::string converter_version() { return soxr_version(); }

int common_channels(const audio::StreamFormat& a, const audio::StreamFormat& b) {
  if (a.channels == b.channels) return 0;
  const auto known = [](const audio::StreamFormat& format) { return format.channels <= 2 || format.layout_known; };
  return known(a) && known(b) ? std::min({2, a.channels, b.channels}) : 0;
}

Result<Reader> Reader::open(const std::string& path, double step, int channels) {
  Reader reader(path, step, channels);
  if (!reader.restart()) return tl::unexpected(*reader.error_);
  return reader;
}

std::int64_t Reader::expected() const {
  return static_cast<std::int64_t>(static_cast<double>(source_->expected_frames().value_or(0)) / step_);
}

bool Reader::restart() {
  auto opened = audio::open_file(path_);
  if (!opened) {
    error_ = opened.error();
    return false;
  }
  if (!opened->facts.not_decoded.empty()) {
    error_ = Error{ErrorCode::no_audio, path_ + ": " + opened->facts.not_decoded, {}};
    return false;
  }
  source_ = std::move(opened->source);
  format_ = source_->format();
  fold_.clear();
  if (folded_to_ != 0 && folded_to_ != format_.channels) fold_ = fold_of(format_, folded_to_);
  const auto rows = fold_.empty() ? static_cast<std::size_t>(format_.channels) : fold_.size();
  if (rows != rows_) kept_.clear(), stride_ = 0;
  rows_ = rows;
  first_ = begin_ = end_ = 0;
  converter_.reset();
  if (step_ == 1) return true;
  converter_ = std::make_unique<Converter>(step_, format_.channels);
  if (converter_->works()) return true;
  error_ = Error{ErrorCode::unreadable, path_ + ": its sample rate cannot be converted", {}};
  return false;
}

// Where `frames` more of each row belong, behind what is kept: `stride_` apart.
float* Reader::room(std::int64_t frames) {
  const auto held = end_ - begin_, rows = static_cast<std::int64_t>(rows_);
  if (first_ + held + frames > stride_) {
    if (2 * (held + frames) <= stride_) {
      for (std::int64_t c = 0; c < rows; ++c) {
        const auto to = kept_.begin() + c * stride_, from = to + first_;
        std::copy(from, from + held, to);
      }
    } else {
      const auto wider = 3 * (held + frames);
      std::vector<float> more(static_cast<std::size_t>(wider * rows));
      for (std::int64_t c = 0; c < rows; ++c) std::copy_n(kept_.begin() + c * stride_ + first_, held, more.begin() + c * wider);
      kept_ = std::move(more);
      stride_ = wider;
    }
    first_ = 0;
  }
  return kept_.data() + first_ + held;
}

void Reader::fold(const float* interleaved, std::int64_t frames) {
  const auto channels = static_cast<std::size_t>(format_.channels);
  float* to = room(frames);
  for (std::size_t c = 0; c < rows_; ++c, to += stride_) {
    std::fill_n(to, frames, 0.0f);
    for (std::size_t from = 0; from < channels; ++from) {
      const float share = fold_.empty() ? (from == c ? 1.0f : 0.0f) : fold_[c][from];
      for (std::size_t n = 0; n < static_cast<std::size_t>(frames) && share != 0; ++n) to[n] += share * interleaved[n * channels + from];
    }
  }
  end_ += frames;
}

// One more block; false at the end.
bool Reader::more() {
  if (length_ && end_ >= *length_) return false;
  const auto channels = static_cast<std::int64_t>(format_.channels);
  const auto samples = static_cast<std::size_t>(kBlock * channels);
  const bool integer = format_.kind == audio::SampleKind::integer;
  codes_.resize(integer ? samples : 0), reals_.resize(integer ? 0 : samples);
  const auto got = std::max<std::int64_t>(0, integer ? source_->read_codes(codes_.data(), kBlock) : source_->read_reals(reals_.data(), kBlock));
  if (!converter_ && fold_.empty()) {
    if (got == 0) {
      length_ = end_;
      return false;
    }
    float* to = room(got);
    if (integer) {
      dsp::split_codes(codes_.data(), static_cast<int>(got), format_.channels, to, stride_);
    } else {
      dsp::split_reals(reals_.data(), static_cast<int>(got), format_.channels, to, stride_);
    }
    end_ += got;
    return true;
  }
  block_.resize(samples);
  for (std::size_t i = 0; i < static_cast<std::size_t>(got * channels); ++i)
    block_[i] = integer ? static_cast<float>(codes_[i]) * 0x1p-31f : std::isfinite(reals_[i]) ? static_cast<float>(std::clamp(reals_[i], -1e12, 1e12)) : 0.0f;
  const auto made = converter_ ? converter_->process(block_.data(), got, converted_, step_) : got;
  if (made > 0) fold(converter_ ? converted_.data() : block_.data(), made);
  if (got == 0 && made <= 0) length_ = end_;
  return got > 0 || made > 0;
}

// As much of [from, to) as the file has is kept then.
void Reader::reach(std::int64_t from, std::int64_t to) {
  if (std::max<std::int64_t>(0, from) < begin_ && to > 0 && !restart()) length_ = 0;
  // What nobody asks for needs no decoding, unless a converter has to hear it.
  if (const auto gap = from - end_; gap > kBlock && !converter_) {
    if (const auto passed = source_->skip(gap); passed > 0) end_ += passed, begin_ = end_, first_ = 0;
  }
  while (end_ < to && more()) {
    const auto drop = std::min(std::max<std::int64_t>(0, from), end_ - keep_ / static_cast<std::int64_t>(rows_)) - begin_;
    if (drop > 0) begin_ += drop, first_ += drop;
  }
  met_sound_ = std::min(to, end_) > std::max(from, begin_);
}

void Reader::read(std::int64_t from, std::int64_t frames, Rows& rows) {
  reach(from, from + frames);
  const auto first = std::clamp(from, begin_, end_), last = std::clamp(from + frames, first, end_);
  rows.resize(rows_);
  for (std::size_t c = 0; c < rows_; ++c) {
    rows[c].resize(static_cast<std::size_t>(frames));
    auto to = met_sound_ ? std::fill_n(rows[c].begin(), first - from, 0.0f) : rows[c].begin();
    if (met_sound_) to = std::copy_n(row(c, first), last - first, to);
    std::fill(to, rows[c].end(), 0.0f);
  }
}

std::span<const float* const> Reader::see(std::int64_t from, std::int64_t frames) {
  reach(from, from + frames);
  seen_.resize(rows_);
  if (from >= begin_ && from + frames <= end_) {
    for (std::size_t c = 0; c < rows_; ++c) seen_[c] = row(c, from);
  } else {
    read(from, frames, padded_);
    for (std::size_t c = 0; c < rows_; ++c) seen_[c] = padded_[c].data();
  }
  return seen_;
}

std::int64_t Reader::length() {
  Rows none;
  while (!length_) read(end_, kBlock, none);
  return *length_;
}

}  // namespace sendworthy::pair
