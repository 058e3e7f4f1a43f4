#include "pair/sum_each.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/text.h"
#include "dsp/products.h"

namespace sendworthy::pair {
namespace {

// Three songs with limiters at 2 … 8 dB: 1 … 8 % are left in pieces of 10 ms, 1 … 12 % in those of 20; 5 ms explain a missing sound as well.
constexpr double kPieceS = 0.01;
constexpr std::int64_t kAgo = 11;      // pieces: what sounded then explains nothing now, and is as tonal (own)
constexpr std::int64_t kPieces = 32;   // read together
constexpr double kFaint = 1e-12;       // of what is left: no gain matters
constexpr double kTied = 1e-3;         // of a row's energy in a piece: less that no other row explains, and it tells nothing (own)
constexpr double kLowest = -0.75, kHighest = 3;  // on top of the gain that stands: 12 dB either way (own)

// Least energy of the row `count` less what those before it explain, each by a gain within bounds.
double left_by(const std::vector<double>& sums, std::size_t count) {
  const auto at = [&](std::size_t j, std::size_t k) { return sums[j <= k ? dsp::product_at(j, k) : dsp::product_at(k, j)]; };
  const double all = at(count, count);
  std::vector<double> factor(count * count, 0.0), gains(count, 0.0);
  std::vector<std::size_t> kept;
  for (std::size_t u = 0; u < count; ++u) {
    const double energy = at(u, u);
    if (energy <= kFaint * all || energy <= 0) continue;
    double rest = energy;
    std::vector<double> row;
    for (std::size_t k = 0; k < kept.size(); ++k) {
      double sum = at(u, kept[k]);
      for (std::size_t m = 0; m < k; ++m) sum -= row[m] * factor[kept[k] * count + m];
      row.push_back(sum / factor[kept[k] * count + k]);
      rest -= row.back() * row.back();
    }
    if (rest <= kTied * energy) continue;
    row.push_back(std::sqrt(rest));
    std::copy(row.begin(), row.end(), factor.begin() + static_cast<std::ptrdiff_t>(u * count));
    kept.push_back(u);
  }
  std::vector<double> x;
  for (std::size_t k = 0; k < kept.size(); ++k) {
    double value = at(kept[k], count);
    for (std::size_t j = 0; j < k; ++j) value -= factor[kept[k] * count + j] * x[j];
    x.push_back(value / factor[kept[k] * count + k]);
  }
  for (std::size_t k = kept.size(); k-- > 0;) {
    for (std::size_t j = k + 1; j < kept.size(); ++j) x[k] -= factor[kept[j] * count + k] * x[j];
    x[k] /= factor[kept[k] * count + k];
  }
  for (std::size_t k = 0; k < kept.size(); ++k) gains[kept[k]] = std::clamp(x[k], kLowest, kHighest);
  double left = all;
  for (std::size_t u = 0; u < count; ++u) {
    left += gains[u] * gains[u] * at(u, u) - 2 * gains[u] * at(u, count);
    for (std::size_t v = 0; v < u; ++v) left += 2 * gains[u] * gains[v] * at(u, v);
  }
  return std::clamp(left, 0.0, all);
}

}  // namespace

Result<EachMoving> each_moving(SumInput& input, const Gains& gains, double from_share, double share, const Hooks& hooks) {
  const auto count = input.count(), channels = input.channels();
  const auto piece = std::max<std::int64_t>(1, std::llround(kPieceS * input.rate())), chunk = kPieces * piece, ago = kAgo * piece;
  const auto expected = std::max<std::int64_t>(1, input.mix_reader().expected());
  // What the parts held in the last pieces stands before what is read.
  std::vector<std::vector<float>> rows(count * channels, std::vector<float>(static_cast<std::size_t>(ago + chunk), 0.0f));
  std::vector<float> rest;
  EachMoving out;
  std::vector<const float*> now(count + 1), before(count + 1);
  const auto size = (count + 1) * (count + 2) / 2;
  for (std::int64_t at = 0;; at += chunk) {
    if (hooks.stop != nullptr && hooks.stop->load(std::memory_order_relaxed))
      return fail(ErrorCode::interrupted, base::for_terminal(input.mix_path()) + ": interrupted");
    const auto frames = input.read(at, chunk);
    if (frames == 0) break;
    const auto pieces = static_cast<std::size_t>((frames + piece - 1) / piece);
    std::vector<std::vector<double>> sums(pieces, std::vector<double>(size, 0.0)), chance = sums;
    for (std::size_t c = 0; c < channels; ++c) {
      rest.assign(input.mix(c), input.mix(c) + frames);
      for (std::size_t i = 0; i < count; ++i) {
        auto& row = rows[i * channels + c];
        std::copy(row.end() - static_cast<std::ptrdiff_t>(ago), row.end(), row.begin());
        std::fill(row.begin() + static_cast<std::ptrdiff_t>(ago), row.end(), 0.0f);
        const auto gain = static_cast<float>(gains.at(c, i));
        const float* x = input.part(i, c);
        for (std::size_t n = 0; x != nullptr && n < rest.size(); ++n) row[static_cast<std::size_t>(ago) + n] = gain * x[n], rest[n] -= gain * x[n];
      }
      for (std::size_t p = 0; p < pieces; ++p) {
        const auto from = static_cast<std::int64_t>(p) * piece;
        for (std::size_t i = 0; i < count; ++i) before[i] = rows[i * channels + c].data() + from, now[i] = before[i] + ago;
        now.back() = before.back() = rest.data() + from;
        const auto length = static_cast<int>(std::min(piece, frames - from));
        dsp::add_products(now, length, sums[p].data()), dsp::add_products(before, length, chance[p].data());
      }
    }
    for (std::size_t p = 0; p < pieces; ++p)
      out.all += sums[p].back(), out.left += left_by(sums[p], count), out.by_chance += left_by(chance[p], count);
    if (hooks.progress) hooks.progress(from_share + share * std::min(1.0, static_cast<double>(at) / static_cast<double>(expected)));
    if (frames < chunk) break;
  }
  if (const auto error = input.error()) return tl::unexpected(*error);
  return out;
}

}  // namespace sendworthy::pair
