#include "pair/sum_rest.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "base/text.h"
#include "dsp/fourier.h"
#include "dsp/planar.h"

namespace sendworthy::pair {
namespace {

constexpr int kFourier = 16384;          // a third of a second at 48 kHz
constexpr std::int64_t kHop = 8192;
constexpr std::int64_t kLikeHop = 32768;
constexpr double kSilent = 1e-12;        // mean square: −120 dBFS
constexpr double kLastOctave = 0.45;
constexpr double kLoudestS = 0.5, kActiveDb = 30;
constexpr double kLikely = 0.3;          // share of what is left that a part's filter must explain
constexpr int kLeastWindows = 4;
constexpr double kOtherChannels = 0.6;   // in the fold: neither the middle nor the sides cancel
constexpr std::size_t kMostTimes = 4096;
constexpr double kFaint = 1e-9;            // a line's power over that of the other signal: rounding of the shared transform stands below

double db(double ratio) { return ratio <= 1e-16 ? -160 : 10 * std::log10(ratio); }

// A gain that runs straight from knot to knot: the normal equations have three diagonals.
class Hats {
 public:
  // Between two knots, of which the first stands at the first frame.
  void add(std::size_t block, double step, const float* sum, const float* mix, std::int64_t frames) {
    if (early_.size() < block + 2) early_.resize(block + 2, 0.0), across_.resize(block + 2, 0.0), right_.resize(block + 2, 0.0);
    double a00 = 0, a01 = 0, a11 = 0, b0 = 0, b1 = 0, m = 0;
    for (std::int64_t n = 0; n < frames; ++n) {
      const double s = sum[n], y = mix[n], late = step * static_cast<double>(n), early = 1 - late;
      a00 += s * s * early * early, a01 += s * s * early * late, a11 += s * s * late * late;
      b0 += s * y * early, b1 += s * y * late, m += y * y;
    }
    early_[block] += a00, early_[block + 1] += a11, across_[block] += a01;
    right_[block] += b0, right_[block + 1] += b1, mix_ += m;
  }
  // The knots; where the sum is silent they hold on to their neighbours by a small weight.
  std::vector<double> solve(double* left) const {
    const auto n = early_.size();
    double most = 0;
    for (const double value : early_) most = std::max(most, value);
    const double tie = 1e-9 * most + 1e-30;
    std::vector<double> main(n), gains(n);
    const auto diagonal = [&](std::size_t i) { return early_[i] + tie * ((i > 0 ? 1 : 0) + (i + 1 < n ? 1 : 0)); };
    for (std::size_t i = 0; i < n; ++i) {
      main[i] = diagonal(i), gains[i] = right_[i];
      if (i == 0) continue;
      const double off = across_[i - 1] - tie, factor = off / main[i - 1];
      main[i] -= factor * off, gains[i] -= factor * gains[i - 1];
    }
    for (std::size_t i = n; i-- > 0;) {
      if (i + 1 < n) gains[i] -= (across_[i] - tie) * gains[i + 1];
      gains[i] /= main[i];
    }
    *left = mix_;
    for (std::size_t i = 0; i < n; ++i) {
      *left += early_[i] * gains[i] * gains[i] - 2 * gains[i] * right_[i];
      if (i + 1 < n) *left += 2 * across_[i] * gains[i] * gains[i + 1];
    }
    *left = std::max(0.0, *left);
    return gains;
  }

 private:
  std::vector<double> early_, across_, right_;
  double mix_ = 0;
};

// Spectra of two real signals that share a transform.
struct Cross {
  double a = 0, b = 0, real = 0, imaginary = 0, both = 0;  // sums of |A|², |B|², A*·B, |A|²·|B|²
};

class Spectra {
 public:
  Spectra() : fourier_(kFourier), window_(kFourier), real_(kFourier), imaginary_(kFourier) {
    for (std::size_t n = 0; n < window_.size(); ++n)
      window_[n] = static_cast<float>(0.5 - 0.5 * std::cos(2 * std::numbers::pi * (static_cast<double>(n) + 0.5) / kFourier));
  }
  void transform(const float* a, const float* b) {
    dsp::multiply(window_, a, real_.data()), dsp::multiply(window_, b, imaginary_.data());
    fourier_.forward(real_, imaginary_);
  }
  // Line k of both.
  void lines(std::size_t k, float& ar, float& ai, float& br, float& bi) const {
    const auto m = (kFourier - k) % kFourier;
    ar = 0.5f * (real_[k] + real_[m]), ai = 0.5f * (imaginary_[k] - imaginary_[m]);
    br = 0.5f * (imaginary_[k] + imaginary_[m]), bi = -0.5f * (real_[k] - real_[m]);
  }
  void add(std::vector<Cross>& sums) const {
    for (std::size_t k = 0; k < sums.size(); ++k) {
      float ar, ai, br, bi;
      lines(k, ar, ai, br, bi);
      auto& one = sums[k];
      const double a = static_cast<double>(ar * ar + ai * ai), b = static_cast<double>(br * br + bi * bi);
      one.a += a, one.b += b, one.both += a * b;
      one.real += static_cast<double>(ar * br + ai * bi), one.imaginary += static_cast<double>(ar * bi - ai * br);
    }
  }
  void add_powers(std::vector<float>& scratch, std::vector<double>& powers) const {
    std::fill(scratch.begin(), scratch.end(), 0.0f);
    dsp::add_pair_powers(real_, imaginary_, scratch);
    for (std::size_t k = 0; k < powers.size(); ++k) powers[k] += static_cast<double>(scratch[k]);
  }

 private:
  dsp::Fourier fourier_;
  std::vector<float> window_, real_, imaginary_;
};

constexpr std::size_t kLines = kFourier / 2 + 1;

class Rester {
 public:
  Rester(SumInput& input, const Grams& grams, const Gains& gains, std::vector<Excerpt>& excerpts, bool like)
      : input_(input), grams_(grams), gains_(gains), excerpts_(excerpts), channels_(input.channels()), filters_(channels_, std::vector<Cross>(kLines)),
        rest_power_(kLines, 0.0), scratch_(kLines), like_(like ? input.count() : 0, std::vector<Cross>(kLines)), channel_left_(channels_, 0.0) {
    chunk_ = (65536 + grams.block - 1) / grams.block * grams.block;
    sum_.resize(channels_), rest_.resize(channels_);
    for (auto& one : excerpts_) one.rows.assign(std::min<std::size_t>(2, rows_of(one.part).size()), std::vector<float>(static_cast<std::size_t>(one.frames), 0.0f));
  }

  Result<RestPass> run(double from_share, double share, const Hooks& hooks) {
    for (std::int64_t at = 0;; at += chunk_) {
      if (hooks.stop != nullptr && hooks.stop->load(std::memory_order_relaxed))
        return fail(ErrorCode::interrupted, base::for_terminal(input_.mix_path()) + ": interrupted");
      const auto frames = input_.read(at, chunk_);
      if (frames == 0) break;
      take(at, frames);
      if (hooks.progress) hooks.progress(from_share + share * static_cast<double>(at) / static_cast<double>(std::max<std::int64_t>(1, grams_.frames)));
      if (frames < chunk_) break;
    }
    if (const auto error = input_.error()) return tl::unexpected(*error);
    finish();
    return std::move(out_);
  }

 private:
  // Channels of the mix in which a part's own rows stand, once each.
  [[nodiscard]] std::vector<std::size_t> rows_of(std::size_t part) const {
    std::vector<std::size_t> channels;
    for (std::size_t c = 0; c < channels_; ++c) {
      if (input_.stands_in(part, c)) channels.push_back(c);
    }
    return channels;
  }

  void take(std::int64_t at, std::int64_t frames) {
    const auto all = static_cast<std::size_t>(chunk_);
    for (std::size_t c = 0; c < channels_; ++c) {
      sum_[c].assign(all, 0.0f), rest_[c].resize(all);
      for (std::size_t i = 0; i < gains_.parts; ++i) {
        const float* x = input_.part(i, c);
        const auto gain = static_cast<float>(gains_.at(c, i));
        if (x == nullptr || gain == 0) continue;
        for (std::size_t n = 0; n < all; ++n) sum_[c][n] += gain * x[n];
      }
      const float* y = input_.mix(c);
      for (std::size_t n = 0; n < all; ++n) rest_[c][n] = y[n] - sum_[c][n];
    }
    for (std::int64_t from = 0; from < frames; from += grams_.block) take_block(at, from, std::min(grams_.block, frames - from));
    for (std::int64_t from = 0; from < frames && from + kFourier <= chunk_; from += kHop) take_spectra(from);
    for (std::int64_t from = 0; from < frames && from + kFourier <= chunk_ && !like_.empty(); from += kLikeHop) take_like(from);
    for (auto& one : excerpts_) take_excerpt(one, at, frames);
  }

  void take_block(std::int64_t at, std::int64_t from, std::int64_t frames) {
    const auto block = static_cast<std::size_t>((at + from) / grams_.block);
    const auto count = static_cast<int>(frames);
    double left = 0, sum = 0, mix = 0;
    for (std::size_t c = 0; c < channels_; ++c) {
      const double here = dsp::row_sums(rest_[c].data() + from, count).square;
      channel_left_[c] += here, left += here;
      sum += dsp::row_sums(sum_[c].data() + from, count).square;
      mix += dsp::row_sums(input_.mix(c) + from, count).square;
      const auto half = (grams_.block + 1) / 2, early = std::min(half, frames);
      hats_.add(2 * block, 1 / static_cast<double>(half), sum_[c].data() + from, input_.mix(c) + from, early);
      if (frames > half) hats_.add(2 * block + 1, 1 / static_cast<double>(grams_.block - half), sum_[c].data() + from + half, input_.mix(c) + from + half, frames - half);
    }
    if (channels_ == 2) {
      const double both = dsp::pair_sums(rest_[0].data() + from, rest_[1].data() + from, count).product;
      side_ += left / 2 - both, middle_ += left / 2 + both;
    }
    block_left_.push_back(left), out_.sum_energy.push_back(sum), block_mix_.push_back(mix);
    out_.left += left, mix_ += mix;
  }

  void take_spectra(std::int64_t from) {
    for (std::size_t c = 0; c < channels_; ++c) {
      spectra_.transform(sum_[c].data() + from, input_.mix(c) + from);
      spectra_.add(filters_[c]);
    }
    for (std::size_t c = 0; c < channels_; c += 2) {
      static const std::vector<float> kNothing(kFourier, 0.0f);
      spectra_.transform(rest_[c].data() + from, c + 1 < channels_ ? rest_[c + 1].data() + from : kNothing.data());
      spectra_.add_powers(scratch_, rest_power_);
    }
  }

  template <class Row>
  void fold(Row row, std::vector<float>& out) const {
    out.assign(kFourier, 0.0f);
    for (std::size_t c = 0; c < channels_; ++c) {
      const float* x = row(c);
      const auto weight = static_cast<float>(c == 0 ? 1 : kOtherChannels);
      for (std::size_t n = 0; x != nullptr && n < kFourier; ++n) out[n] += weight * x[n];
    }
  }

  void take_like(std::int64_t from) {
    fold([&](std::size_t c) { return rest_[c].data() + from; }, folded_rest_);
    for (std::size_t i = 0; i < like_.size(); ++i) {
      fold([&](std::size_t c) { const float* x = input_.part(i, c); return x == nullptr ? x : x + from; }, folded_part_);
      spectra_.transform(folded_part_.data(), folded_rest_.data());
      spectra_.add(like_[i]);
    }
    ++like_windows_;
  }

  void take_excerpt(Excerpt& one, std::int64_t at, std::int64_t frames) const {
    const auto from = std::max(one.from, at), to = std::min(one.from + one.frames, at + frames);
    if (from >= to) return;
    const auto channels = rows_of(one.part);
    for (std::size_t r = 0; r < one.rows.size(); ++r) {
      const auto c = channels[r];
      const float* x = input_.part(one.part, c) + (from - at);
      const float* rest = rest_[c].data() + (from - at);
      float* out = one.rows[r].data() + (from - one.from);
      const auto gain = static_cast<float>(gains_.at(c, one.part));
      for (std::int64_t n = 0; n < to - from; ++n) out[n] = one.of_mix ? rest[n] + gain * x[n] : x[n];
    }
  }

  void finish() {
    const auto knots = hats_.solve(&out_.moving_left);
    for (std::size_t k = 0; k < knots.size(); k += 2) out_.moving.push_back(knots[k]);
    auto& rest = out_.rest;
    const double frames = static_cast<double>(std::max<std::int64_t>(1, grams_.frames));
    rest.dbfs = db(out_.left / frames / static_cast<double>(channels_));
    for (const double left : channel_left_) rest.channels.push_back(out_.left > 0 ? left / out_.left : 0);
    rest.side = side_ + middle_ > 0 ? std::clamp(side_ / (side_ + middle_), 0.0, 1.0) : 0;
    times();
    octaves();
    likeness();
  }

  void times() {
    auto& rest = out_.rest;
    const auto blocks = block_left_.size();
    const auto join = blocks / kMostTimes + 1;
    rest.step_s = static_cast<double>(join) * static_cast<double>(grams_.block) / input_.rate();
    const double mean = mix_ / static_cast<double>(std::max<std::size_t>(1, blocks));
    const double silent = kSilent * static_cast<double>(grams_.block);
    for (std::size_t b = 0; b < blocks; b += join) {
      double left = 0, sound = 0, count = 0;
      for (auto k = b; k < std::min(blocks, b + join); ++k) left += block_left_[k], sound += block_mix_[k] + out_.sum_energy[k], ++count;
      rest.over_time.push_back(sound <= silent || mean <= 0 ? std::numeric_limits<float>::quiet_NaN() : static_cast<float>(db(left / count / mean)));
    }
    const auto span = std::max<std::size_t>(1, static_cast<std::size_t>(kLoudestS * input_.rate() / static_cast<double>(grams_.block)));
    double most = 0, loudest = 0;
    std::size_t where = 0;
    for (std::size_t b = 0; b + span <= blocks || b == 0; ++b) {
      double sum = 0;
      for (auto k = b; k < std::min(blocks, b + span); ++k) sum += block_left_[k];
      if (sum > most) most = sum, where = b;
    }
    for (const double left : block_left_) loudest = std::max(loudest, left);
    double active = 0;
    for (const double left : block_left_) active += left > 0 && db(left / loudest) > -kActiveDb ? 1 : 0;
    rest.loudest_from_s = static_cast<double>(where) * static_cast<double>(grams_.block) / input_.rate();
    rest.loudest_to_s = std::min(static_cast<double>(grams_.frames), static_cast<double>(where + span) * static_cast<double>(grams_.block)) / input_.rate();
    rest.active = blocks > 0 ? active / static_cast<double>(blocks) : 0;
  }

  void octaves() {
    double all_rest = 0, all_mix = 0, filtered = 0;
    for (const double power : rest_power_) all_rest += power;
    for (const auto& channel : filters_) {
      for (const auto& one : channel) {
        all_mix += one.b;
        filtered += one.a > kFaint * one.b ? std::max(0.0, one.b - (one.real * one.real + one.imaginary * one.imaginary) / one.a) : one.b;
      }
    }
    out_.filter_left = all_mix > 0 ? filtered / all_mix * mix_ : mix_;
    const double line_hz = input_.rate() / kFourier;
    for (int octave = -5; octave <= 6; ++octave) {
      const double centre = 1000 * std::pow(2.0, octave);
      const double from = centre / std::numbers::sqrt2, to = std::min(centre * std::numbers::sqrt2, kLastOctave * input_.rate());
      if (from >= to) break;
      double left = 0, mix = 0, sum = 0, product = 0;
      for (auto k = static_cast<std::size_t>(std::ceil(from / line_hz)); k < kLines && static_cast<double>(k) * line_hz < to; ++k) {
        left += rest_power_[k];
        for (const auto& channel : filters_) mix += channel[k].b, sum += channel[k].a, product += std::hypot(channel[k].real, channel[k].imaginary);
      }
      if (mix <= 1e-14 * all_mix) continue;
      out_.rest.octaves.push_back({centre, db(left / mix), all_rest > 0 ? left / all_rest : 0, sum > 0 && product > 0 ? 20 * std::log10(product / sum) : 0});
    }
  }

  void likeness() {
    // By chance alone |Σ A*·B|² comes to Σ |A|²·|B|², which is much where a part sounds in few windows only.
    for (std::size_t i = 0; i < like_.size() && like_windows_ >= kLeastWindows; ++i) {
      double all = 0, explained = 0;
      for (const auto& one : like_[i]) {
        all += one.b;
        if (one.a > kFaint * one.b) explained += (one.real * one.real + one.imaginary * one.imaginary - one.both) / one.a;
      }
      const double share = all > 0 ? explained / all : 0;
      if (share > std::max(kLikely, out_.rest.like_share)) out_.rest.like = i, out_.rest.like_share = std::min(1.0, share);
    }
  }

  SumInput& input_;
  const Grams& grams_;
  const Gains& gains_;
  std::vector<Excerpt>& excerpts_;
  std::size_t channels_;
  std::int64_t chunk_ = 0;
  Rows sum_, rest_;
  Hats hats_;
  Spectra spectra_;
  std::vector<std::vector<Cross>> filters_;
  std::vector<double> rest_power_;
  std::vector<float> scratch_, folded_rest_, folded_part_;
  std::vector<std::vector<Cross>> like_;
  int like_windows_ = 0;
  std::vector<double> channel_left_, block_left_, block_mix_;
  double side_ = 0, middle_ = 0, mix_ = 0;
  RestPass out_;
};

}  // namespace

Result<RestPass> rest_of(SumInput& input, const Grams& grams, const Gains& gains, std::vector<Excerpt>& excerpts, bool like, double from_share, double share,
                         const Hooks& hooks) {
  return Rester(input, grams, gains, excerpts, like).run(from_share, share, hooks);
}

}  // namespace sendworthy::pair
