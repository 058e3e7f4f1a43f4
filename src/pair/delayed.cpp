#include "pair/delayed.h"

#include <cmath>
#include <cstddef>

#include "dsp/kaiser.h"

namespace sendworthy::pair {
namespace {

constexpr double kBeta = 10;

// y[n] = Σ taps[t]·x[n + t − kDelayTaps/2 + 1] is x at n + fraction.
std::array<float, kDelayTaps> fraction_taps(double fraction, double cut) {
  std::array<float, kDelayTaps> taps{};
  for (int t = 0; t < kDelayTaps; ++t)
    taps[static_cast<std::size_t>(t)] = static_cast<float>(dsp::kaiser_sinc(t - (kDelayTaps / 2 - 1) - fraction, kDelayTaps / 2.0, cut, kBeta));
  return taps;
}

}  // namespace

Delayed::Delayed(Reader& file, double lag, double cut) : file_(file), whole_(static_cast<std::int64_t>(std::floor(lag))) {
  double fraction = lag - std::floor(lag);
  if (fraction < kWholeFrame) fraction = 0;
  if (fraction > 1 - kWholeFrame) fraction = 0, ++whole_;
  plain_ = fraction == 0 && cut == 1;
  if (!plain_) taps_ = fraction_taps(fraction, cut);
}

void Delayed::read(std::int64_t at, std::int64_t frames, Rows& rows) {
  if (plain_) {
    file_.read(at + whole_, frames, rows);
    return;
  }
  file_.read(at + whole_ - (kDelayTaps / 2 - 1), frames + kDelayTaps - 1, wide_);
  rows.resize(wide_.size());
  for (std::size_t c = 0; c < wide_.size(); ++c) {
    rows[c].assign(static_cast<std::size_t>(frames), 0.0f);
    for (int t = 0; t < kDelayTaps; ++t) {
      const float tap = taps_[static_cast<std::size_t>(t)];
      const float* x = wide_[c].data() + t;
      float* y = rows[c].data();
      for (std::int64_t n = 0; n < frames; ++n) y[n] += tap * x[n];
    }
  }
}

}  // namespace sendworthy::pair
