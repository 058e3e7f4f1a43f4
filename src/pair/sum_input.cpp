#include "pair/sum_input.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/text.h"
#include "dsp/kaiser.h"
#include "dsp/planar.h"
#include "dsp/products.h"
#include "pair/correlate.h"

namespace sendworthy::pair {
namespace {

constexpr int kTaps = 128;             // of the fractional delay: good to nine tenths of half the rate
constexpr std::int64_t kKept = 1 << 11;  // samples of each file: they are read in order
constexpr std::int64_t kChunk = 8192;    // frames, about: what all files hold of it stays in the processor's own memory
constexpr double kBlockS = 0.1, kSoonS = 5;
constexpr std::size_t kMostValues = 12u << 20;  // products that are kept: 96 MB

constexpr int kLeastBits = 16;           // few samples are whole multiples of more by chance: sound that is made of few levels

}  // namespace

void SumInput::Word::open(const audio::StreamFormat& format) {
  most = format.lossy || format.kind == audio::SampleKind::real ? 24 : std::clamp(format.container_bits, 8, 24);
  bits = format.lossy ? most : std::min(most, kLeastBits);
}

void SumInput::Word::see(const float* x, std::int64_t frames) {
  for (std::int64_t n = 0; n < frames && silent; ++n) silent = x[n] == 0;
  for (std::int64_t n = 0; n < frames && bits < most;) {
    const float steps = std::ldexp(1.0f, bits - 1);
    const auto whole = [&](float v) {
      const float scaled = std::clamp(v * steps, -2e9f, 2e9f);
      return static_cast<float>(static_cast<std::int32_t>(scaled)) == v * steps;
    };
    while (n < frames && whole(x[n])) ++n;
    if (n < frames) ++bits;
  }
}

Result<SumInput> SumInput::open(const std::string& mix, const std::vector<std::string>& parts) {
  SumInput input;
  input.mix_path_ = mix;
  auto mix_file = Reader::open(mix);
  if (!mix_file) return tl::unexpected(mix_file.error());
  input.mix_.emplace(std::move(*mix_file));
  input.mix_->keep(kKept);
  const auto format = input.mix_->format();
  input.mix_word_.open(format);
  input.rate_ = format.sample_rate, input.channels_ = static_cast<std::size_t>(format.channels);
  for (const auto& path : parts) {
    auto file = Reader::open(path);
    if (!file) return tl::unexpected(file.error());
    const auto own = file->format();
    int folded = 0;
    if (own.channels != format.channels && own.channels > 1) {
      if (format.channels <= 2) folded = common_channels(own, format);
      if (folded == 0 && own.channels > 2)
        input.trouble_ = base::for_terminal(path) + ": its " + std::to_string(own.channels) + " channels cannot be held against the mix's " + std::to_string(format.channels);
    }
    if (own.sample_rate != format.sample_rate || folded != 0) {
      file = Reader::open(path, own.sample_rate / input.rate_, folded);
      if (!file) return tl::unexpected(file.error());
    }
    Part part;
    part.row_of.assign(input.channels_, -1);
    part.word.open(own);
    const int rows = file->channels();
    for (std::size_t c = 0; c < input.channels_; ++c) {
      if (rows == 1 || rows == format.channels) part.row_of[c] = rows == 1 ? 0 : static_cast<int>(c);
      else if (rows == 2 && format.layout_known) part.row_of[c] = format.speakers[c] == audio::Speaker::left ? 0 : format.speakers[c] == audio::Speaker::right ? 1 : -1;
      else if (rows == 2 && c < 2) part.row_of[c] = static_cast<int>(c);
    }
    part.reader.emplace(std::move(*file));
    part.reader->keep(kKept);
    input.parts_.push_back(std::move(part));
  }
  return input;
}

bool SumInput::mixed_rates() const {
  return std::ranges::any_of(parts_, [](const Part& part) { return part.reader->step() != 1; });
}

void SumInput::set_lags(const std::vector<double>& lags) {
  for (std::size_t i = 0; i < parts_.size(); ++i) {
    const double whole = std::floor(lags[i] + kWholeLag / 2), fraction = lags[i] - whole;
    parts_[i].whole = static_cast<std::int64_t>(whole);
    parts_[i].taps.clear();
    if (std::abs(fraction) < kWholeLag / 2) continue;
    // y[n] = Σ taps[t]·x[n + t − kTaps/2 + 1] is x at n + fraction.
    for (int t = 0; t < kTaps; ++t)
      parts_[i].taps.push_back(static_cast<float>(dsp::kaiser_sinc(t - (kTaps / 2 - 1) - fraction, kTaps / 2.0, 1, 10)));
  }
}

void SumInput::read_part(Part& part, std::int64_t at, std::int64_t frames, std::int64_t inside) {
  if (part.taps.empty() && inside == frames) {
    const auto seen = part.reader->see(at + part.whole, frames);
    part.at.assign(seen.begin(), seen.end());
    for (const float* row : part.at) part.word.see(row, frames);
    return;
  }
  if (part.taps.empty()) {
    part.reader->read(at + part.whole, frames, part.rows);
  } else {
    part.reader->read(at + part.whole - (kTaps / 2 - 1), frames + kTaps - 1, wide_);
    part.rows.resize(wide_.size());
    for (std::size_t c = 0; c < wide_.size(); ++c) {
      part.rows[c].assign(static_cast<std::size_t>(frames), 0.0f);
      for (int t = 0; t < kTaps; ++t) {
        const float tap = part.taps[static_cast<std::size_t>(t)];
        const float* x = wide_[c].data() + t;
        float* y = part.rows[c].data();
        for (std::int64_t n = 0; n < frames; ++n) y[n] += tap * x[n];
      }
    }
  }
  part.at.clear();
  for (auto& row : part.rows) {
    std::fill(row.begin() + static_cast<std::ptrdiff_t>(inside), row.end(), 0.0f);
    part.at.push_back(row.data());
  }
}

std::int64_t SumInput::read(std::int64_t at, std::int64_t frames) {
  const auto seen = mix_->see(at, frames);
  mix_at_.assign(seen.begin(), seen.end());
  const auto inside = std::clamp<std::int64_t>(mix_->known_end() - at, 0, frames);
  if (inside == 0) return 0;
  for (const float* row : mix_at_) mix_word_.see(row, inside);
  for (auto& part : parts_) read_part(part, at, frames, inside);
  if (!turned_) return inside;
  const auto turn = [&](const float* left, const float* right, Rows& rows) {
    rows.resize(2);
    for (auto& row : rows) row.assign(static_cast<std::size_t>(frames), 0.0f);
    for (std::size_t n = 0; n < rows[0].size(); ++n) {
      const float l = left == nullptr ? 0.0f : left[n], r = right == nullptr ? 0.0f : right[n];
      rows[0][n] = 0.5f * (l + r), rows[1][n] = 0.5f * (l - r);
    }
  };
  turn(mix_at_[0], mix_at_[1], mix_turned_);
  for (auto& part : parts_) {
    const auto row = [&](std::size_t c) { return part.row_of[c] < 0 ? nullptr : part.at[static_cast<std::size_t>(part.row_of[c])]; };
    turn(row(0), row(1), part.turned);
  }
  return inside;
}

const float* SumInput::part(std::size_t part, std::size_t channel) const {
  const int row = parts_[part].row_of[channel];
  if (turned_) return parts_[part].turned[channel].data();
  return row < 0 ? nullptr : parts_[part].at[static_cast<std::size_t>(row)];
}

std::optional<Error> SumInput::error() const {
  if (mix_->error()) return mix_->error();
  for (const auto& part : parts_) {
    if (part.reader->error()) return part.reader->error();
  }
  return std::nullopt;
}

std::vector<double> Grams::total() const {
  const auto size = pairs() * channels;
  std::vector<double> sums(size, 0.0);
  for (std::size_t b = 0; b < blocks(); ++b) {
    for (std::size_t i = 0; i < size; ++i) sums[i] += values[b * size + i];
  }
  return sums;
}

namespace {

// Blocks of products as they come in, a tenth of a second each; two become one where that would be too much to keep.
class GramBlocks {
 public:
  GramBlocks(Grams& grams, double rate) : grams_(grams), small_(std::max<std::int64_t>(1, std::llround(kBlockS * rate))) { grams_.block = small_; }

  /// Pieces stay whole blocks of the first length.
  [[nodiscard]] std::int64_t chunk() const { return std::max<std::int64_t>(1, kChunk / small_) * small_; }

  /// `frames` of a chunk, piece by piece: add(from, length, sums) adds to channels × pairs of rows.
  template <class Add>
  void take(std::int64_t frames, const Add& add) {
    auto& values = grams_.values;
    const auto size = grams_.pairs() * grams_.channels;
    for (std::int64_t from = 0; from < frames; from += small_) {
      const auto length = std::min(small_, frames - from);
      if (filled_ == 0) values.resize(values.size() + size, 0.0);
      if (filled_ == 0) grams_.peaks.push_back(0.0f);
      add(from, length, values.data() + values.size() - size);
      filled_ += length;
      if (filled_ < grams_.block) continue;
      filled_ = 0;
      if (values.size() < kMostValues || grams_.blocks() < 4 || grams_.blocks() % 2 != 0) continue;
      const auto half = grams_.blocks() / 2;
      for (std::size_t b = 0; b < half; ++b) {
        for (std::size_t i = 0; i < size; ++i) values[b * size + i] = values[2 * b * size + i] + values[(2 * b + 1) * size + i];
        grams_.peaks[b] = std::max(grams_.peaks[2 * b], grams_.peaks[2 * b + 1]);
      }
      values.resize(half * size), grams_.peaks.resize(half);
      grams_.block *= 2;
    }
  }

 private:
  Grams& grams_;
  std::int64_t small_, filled_ = 0;  ///< frames in the last block
};

bool stopped(const Hooks& hooks) { return hooks.stop != nullptr && hooks.stop->load(std::memory_order_relaxed); }

tl::unexpected<Error> interrupted(const SumInput& input) { return fail(ErrorCode::interrupted, base::for_terminal(input.mix_path()) + ": interrupted"); }

}  // namespace

Result<Grams> grams_of(SumInput& input, const std::vector<std::size_t>& slopes, double from_share, double share, const Hooks& hooks) {
  const auto count = input.count(), channels = input.channels();
  Grams grams;
  grams.rows = count + slopes.size() + 1, grams.channels = channels, grams.slopes = slopes;
  GramBlocks blocks(grams, input.rate());
  std::vector<std::vector<float>> slope_rows(slopes.size() * channels);
  std::vector<const float*> rows(grams.rows);
  const auto chunk = blocks.chunk();
  const auto expected = std::max<std::int64_t>(1, input.mix_reader().expected());
  for (std::int64_t at = 0;; at += chunk) {
    if (stopped(hooks)) return interrupted(input);
    const auto frames = input.read(at, chunk);
    if (frames == 0) break;
    grams.frames = at + frames;
    for (std::size_t s = 0; s < slopes.size(); ++s) {
      for (std::size_t c = 0; c < channels; ++c) {
        auto& row = slope_rows[s * channels + c];
        row.assign(static_cast<std::size_t>(frames), 0.0f);
        const float* x = input.part(slopes[s], c);
        for (std::int64_t n = 1; x != nullptr && n + 1 < frames; ++n) row[static_cast<std::size_t>(n)] = 0.5f * (x[n + 1] - x[n - 1]);
      }
    }
    blocks.take(frames, [&](std::int64_t from, std::int64_t length, double* sums) {
      for (std::size_t c = 0; c < channels; ++c) {
        for (std::size_t i = 0; i < count; ++i) rows[i] = input.part(i, c) == nullptr ? nullptr : input.part(i, c) + from;
        for (std::size_t s = 0; s < slopes.size(); ++s) rows[count + s] = slope_rows[s * channels + c].data() + from;
        rows.back() = input.mix(c) + from;
        for (std::int64_t n = 0; n < length; ++n) grams.peaks.back() = std::max(grams.peaks.back(), std::abs(rows.back()[n]));
        dsp::add_products(rows, static_cast<int>(length), sums + c * grams.pairs());
      }
    });
    if (hooks.progress) hooks.progress(from_share + share * std::min(1.0, static_cast<double>(at) / static_cast<double>(expected)));
    if (frames < chunk) break;
  }
  if (const auto error = input.error()) return tl::unexpected(*error);
  return grams;
}

Result<std::optional<PlainSums>> plain_sums_of(SumInput& input, double hopeless, double from_share, double share, const Hooks& hooks) {
  const auto count = input.count(), channels = input.channels();
  PlainSums plain;
  plain.grams.rows = count + 1, plain.grams.channels = channels;
  GramBlocks blocks(plain.grams, input.rate());
  const auto chunk = blocks.chunk();
  const auto expected = std::max<std::int64_t>(1, input.mix_reader().expected());
  std::vector<float> sum;
  for (std::int64_t at = 0;; at += chunk) {
    if (stopped(hooks)) return interrupted(input);
    const auto frames = input.read(at, chunk);
    if (frames == 0) break;
    plain.grams.frames = at + frames;
    blocks.take(frames, [&](std::int64_t from, std::int64_t length, double* sums) {
      for (std::size_t c = 0; c < channels; ++c) {
        sum.assign(static_cast<std::size_t>(length), 0.0f);
        double* const here = sums + c * plain.grams.pairs();
        for (std::size_t i = 0; i < count; ++i) {
          if (const float* x = input.part(i, c)) here[dsp::product_at(i, i)] += dsp::add_row(x + from, static_cast<int>(length), sum.data());
        }
        const float* const mix = input.mix(c) + from;
        const auto pair = dsp::pair_sums(mix, sum.data(), static_cast<int>(length));
        here[dsp::product_at(count, count)] += pair.left_square;
        plain.mix += pair.left_square, plain.sum += pair.right_square, plain.product += pair.product;
      }
    });
    if (plain.left() > hopeless * plain.mix && at > static_cast<std::int64_t>(kSoonS * input.rate())) return std::optional<PlainSums>();
    if (hooks.progress) hooks.progress(from_share + share * std::min(1.0, static_cast<double>(at) / static_cast<double>(expected)));
    if (frames < chunk) break;
  }
  if (const auto error = input.error()) return tl::unexpected(*error);
  return std::optional(std::move(plain));
}

Result<SumOnsets> onsets_of(SumInput& input, const Hooks& hooks) {
  const auto count = input.count(), channels = input.channels();
  input.set_lags(std::vector<double>(count, 0.0));
  std::vector<Onsets> heard(count + 3, Onsets(input.rate()));
  Rows sum(channels), rest(channels);
  std::vector<const float*> rows;
  for (std::int64_t at = 0;; at += kChunk) {
    if (hooks.stop != nullptr && hooks.stop->load(std::memory_order_relaxed))
      return fail(ErrorCode::interrupted, base::for_terminal(input.mix_path()) + ": interrupted");
    const auto frames = input.read(at, kChunk);
    if (frames == 0) break;
    for (std::size_t c = 0; c < channels; ++c) {
      sum[c].assign(static_cast<std::size_t>(frames), 0.0f);
      for (std::size_t i = 0; i < count; ++i) {
        const float* x = input.part(i, c);
        for (std::int64_t n = 0; x != nullptr && n < frames; ++n) sum[c][static_cast<std::size_t>(n)] += x[n];
      }
      rest[c].assign(input.mix(c), input.mix(c) + frames);
      for (std::size_t n = 0; n < rest[c].size(); ++n) rest[c][n] -= sum[c][n];
    }
    for (std::size_t i = 0; i < count; ++i) {
      rows.clear();
      for (std::size_t c = 0; c < (input.mono(i) ? 1 : channels); ++c) {
        if (const float* x = input.part(i, c)) rows.push_back(x);
      }
      heard[i].push(rows, frames);
    }
    const auto push = [&](Onsets& onsets, const auto& row_of) {
      rows.clear();
      for (std::size_t c = 0; c < channels; ++c) rows.push_back(row_of(c));
      onsets.push(rows, frames);
    };
    push(heard[count], [&](std::size_t c) { return input.mix(c); });
    push(heard[count + 1], [&](std::size_t c) { return sum[c].data(); });
    push(heard[count + 2], [&](std::size_t c) { return rest[c].data(); });
    if (frames < kChunk) break;
  }
  if (const auto error = input.error()) return tl::unexpected(*error);
  SumOnsets onsets;
  for (std::size_t i = 0; i < count; ++i) onsets.parts.push_back(heard[i].finish());
  onsets.mix = heard[count].finish(), onsets.sum = heard[count + 1].finish(), onsets.rest = heard[count + 2].finish();
  return onsets;
}

}  // namespace sendworthy::pair
