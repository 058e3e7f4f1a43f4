#include "desk/weighing.h"

#include <algorithm>
#include <cmath>

#include "audio/speakers.h"

namespace sendworthy::desk {
namespace {

constexpr int kLowestRate = 8000, kStepsInASecond = 10;

}  // namespace

std::optional<double> mean_power(const Powers& powers, double from_s, double to_s) {
  from_s = std::max(0.0, from_s), to_s = std::min(to_s, static_cast<double>(powers.size()));
  if (!(to_s > from_s)) return std::nullopt;
  double sum = 0;
  for (auto second = static_cast<std::size_t>(from_s); second < powers.size() && static_cast<double>(second) < to_s; ++second) {
    const auto begin = static_cast<double>(second);
    sum += powers[second] * (std::min(to_s, begin + 1) - std::max(from_s, begin));
  }
  return sum / (to_s - from_s);
}

Weighing::Weighing(const audio::StreamFormat& format) : rate_(format.sample_rate), channels_(format.channels) {
  if (rate_ < kLowestRate) return;
  for (int c = 0; c < channels_; c += 2) banks_.emplace_back(rate_);
  for (const auto speaker : format.speakers) weights_.push_back(audio::loudness_weight(speaker));
}

void Weighing::add(const float* rows, std::int64_t stride, int frames) {
  if (banks_.empty()) return;
  for (int done = 0; done < frames;) {
    const auto end = song::frame_of_step(static_cast<std::int64_t>(steps_.size()) + 1, rate_);
    const auto count = static_cast<int>(std::min<std::int64_t>(frames - done, end - at_));
    for (int c = 0; c < channels_; c += 2) {
      const bool single = c + 1 == channels_;
      const float* const first = rows + c * stride + done;
      const auto sums = banks_[static_cast<std::size_t>(c / 2)].process(first, single ? first : first + stride, count);
      k_ += weights_[static_cast<std::size_t>(c)] * sums.k0 + (single ? 0 : weights_[static_cast<std::size_t>(c + 1)] * sums.k1);
      a_ += sums.a0 + (single ? 0 : sums.a1);
    }
    at_ += count, done += count;
    if (at_ == end) close_step();
  }
}

void Weighing::close_step() {
  steps_.push_back(k_ / static_cast<double>(at_ - begun_));
  k_ = 0, begun_ = at_;
  for (auto& bank : banks_) bank.flush_denormals();
  if (steps_.size() % kStepsInASecond != 0) return;
  a_powers_.push_back(static_cast<float>(a_ / static_cast<double>(at_ - second_begun_)));
  a_ = 0, second_begun_ = at_;
}

void Weighing::finish() {
  if (at_ > second_begun_ && !banks_.empty()) a_powers_.push_back(static_cast<float>(a_ / static_cast<double>(at_ - second_begun_)));
}

std::optional<double> Weighing::integrated_lufs() const { return song::integrated(steps_, {0, steps_.size()}); }

}  // namespace sendworthy::desk
