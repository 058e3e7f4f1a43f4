#include "measure/delay.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>

#include "dsp/low_band.h"

namespace sendworthy::measure {
namespace {

constexpr std::size_t kBatchWords = 128;
constexpr std::size_t kHeadFrames = 1 << 17;
constexpr std::int64_t kFollowedFrames = 1 << 20, kFollowedEvery = 4;  // once so much was followed: one block in four
constexpr double kLeastCorrelation = 0.6;  // below, left and right share too little for a common lag
constexpr double kLeastToRefine = 0.45;    // a lag half-way between two slow samples blurs the treble
constexpr double kBetter = 1.1;
constexpr double kLessLeft = 4;            // or what of the differences does not fit falls to a quarter: dull sound
constexpr double kLeastLeft = 2.5e-4;      // less than this is as good as nothing
constexpr double kLeastSound = 0.8;        // the sound itself at the lag, of mono and narrow stereo
constexpr double kSoundSlack = 0.0005;     // lows hardly notice a sample or two
constexpr double kClearMargin = 0.1;       // how far the peak stands above everything 1 ms and more away
constexpr double kClearTimes = 3;          // or of what does not fit there, a third is left at the peak: tones
constexpr double kRepeats = 0.99;          // but what fits so well elsewhere repeats itself

constexpr CatalogEntry kEntries[] = {
    {.id = "inter_channel_delay", .title = "Delay between channels", .group = Group::stereo, .unit = Unit::samples,
     .what = "How many samples the right channel is late behind the left, where the two share one clear lag.",
     .how = "Signs of first differences compared at every lag within 20 ms over the whole file; then correlation of first "
            "differences at the file's own rate around the best lag, all of the first 1048576 frames and a quarter of the rest. A lag other than 0 counts where the correlation of left and "
            "right there is 0.8 or more, and no more than 0.0005 less than without it. Negative: left is late. A heuristic.",
     .source = "definition; arcsine law of polarity coincidence; limits chosen on packaged music",
     .caveat = "Two microphones on one source have a lag by nature. Not applicable where no lag stands out.",
     .act = "Look for a plug-in without delay compensation on one side, or a channel moved in the editor."},
};

}  // namespace

extern const MeterModule kDelayModule{kEntries, nullptr};  // made by the low-band meter, which has the slow copy

DelayFinder::DelayFinder(int sample_rate, int factor)
    : sample_rate_(sample_rate), factor_(factor), range_((sample_rate / factor / 50 / 64 + 1) * 64) {
  equal_.assign(static_cast<std::size_t>(2 * range_), 0);
  // Before the file there is silence: as many words of nothing as the largest lag needs.
  right_.assign(static_cast<std::size_t>(range_ / 64), 0);
}

void DelayFinder::coarse(const std::vector<float>& mid, const std::vector<float>& side) {
  const auto old = slow_left_.size();
  slow_left_.resize(old + mid.size()), slow_right_.resize(old + mid.size());
  for (std::size_t n = 0; n < mid.size(); ++n) {
    slow_left_[old + n] = mid[n] + side[n];
    slow_right_[old + n] = mid[n] - side[n];
  }
  append_words();
  while (left_.size() >= kBatchWords + static_cast<std::size_t>(range_ / 64)) compare();
}

void DelayFinder::append_words() {
  const auto words = (slow_left_.size() - 1) / 64;
  if (words == 0) return;
  const auto old = left_.size(), old_right = right_.size();
  left_.resize(old + words), right_.resize(old_right + words), valid_.resize(old + words);
  std::vector<std::uint64_t> moving(words);
  dsp::signs_of_differences(slow_left_.data() + 1, static_cast<int>(words), left_.data() + old, valid_.data() + old);
  dsp::signs_of_differences(slow_right_.data() + 1, static_cast<int>(words), right_.data() + old_right, moving.data());
  for (std::size_t w = 0; w < words; ++w) valid_[old + w] &= moving[w];
  const auto used = static_cast<std::ptrdiff_t>(64 * words);
  slow_left_.erase(slow_left_.begin(), slow_left_.begin() + used);
  slow_right_.erase(slow_right_.begin(), slow_right_.begin() + used);
}

void DelayFinder::compare() {
  dsp::sign_coincidence(left_.data(), right_.data(), valid_.data(), static_cast<int>(kBatchWords), range_, equal_.data());
  for (std::size_t i = 0; i < kBatchWords; ++i) counted_ += static_cast<std::uint64_t>(std::popcount(valid_[i]));
  const auto drop = static_cast<std::ptrdiff_t>(kBatchWords);
  left_.erase(left_.begin(), left_.begin() + drop);
  right_.erase(right_.begin(), right_.begin() + drop);
  valid_.erase(valid_.begin(), valid_.begin() + drop);
  peak_ = best();
}

double DelayFinder::correlation_at(int lag) const {
  if (counted_ == 0) return 0;
  const double share = static_cast<double>(equal_[static_cast<std::size_t>(lag + range_)]) / static_cast<double>(counted_);
  return std::sin(std::numbers::pi * (std::min(1.0, share) - 0.5));
}

DelayFinder::Peak DelayFinder::best() const {
  // The correlation grows with the share's distance from one half, so only the farthest needs the sine.
  const auto half = static_cast<std::int64_t>(counted_ / 2);
  int lag = 0;
  std::int64_t farthest = -1;
  for (int k = -range_; k < range_; ++k) {
    const auto distance = std::abs(static_cast<std::int64_t>(equal_[static_cast<std::size_t>(k + range_)]) - half);
    if (distance > farthest || (distance == farthest && std::abs(k) < std::abs(lag))) farthest = distance, lag = k;
  }
  const Peak none{0, correlation_at(0)}, peak{lag, correlation_at(lag)};
  // Repetitive sound has many nearly equal peaks: no lag is preferred.
  return std::abs(peak.value) > std::abs(none.value) + 0.02 ? peak : none;
}

bool DelayFinder::worth_refining(const Peak& peak) const {
  return std::abs(peak.value) >= kLeastToRefine;
}

void DelayFinder::start_fine(int lag) {
  candidate_ = lag;
  const auto lags = static_cast<std::size_t>(2 * (factor_ + 2) + 1);
  fine_.assign(lags, 0), sound_.assign(lags, 0);
  fine_frames_ = sound_frames_ = 0;
  left_moves_ = right_moves_ = 0;
  here_ = shifted_ = {};
}

// Every lag needs its neighbour, and every difference the sample before it, so a margin on both sides stays out.
std::int64_t DelayFinder::margin_frames() const {
  return std::abs(*candidate_) * static_cast<std::int64_t>(factor_) + factor_ + 3;
}

void DelayFinder::correlate(const std::vector<float>& left, const std::vector<float>& right) {
  const std::int64_t margin = margin_frames(), usable = static_cast<std::int64_t>(left.size()) - 2 * margin;
  if (usable <= 0) return;
  left_differences_.resize(left.size()), right_differences_.resize(right.size());
  dsp::first_differences(left.data(), static_cast<int>(left.size()), left[0], left_differences_.data());
  dsp::first_differences(right.data(), static_cast<int>(right.size()), right[0], right_differences_.data());
  const int shift = *candidate_ * factor_, frames = static_cast<int>(usable);
  const float* from = left_differences_.data() + margin;
  const float* to = right_differences_.data() + margin;
  dsp::lagged_products(from, to, frames, shift - (factor_ + 2), static_cast<int>(fine_.size()), fine_.data());
  left_moves_ += dsp::row_sums(from, frames).square, right_moves_ += dsp::row_sums(to + shift, frames).square;
  fine_frames_ += usable;
}

void DelayFinder::correlate_sound(const std::vector<float>& left, const std::vector<float>& right) {
  const std::int64_t margin = margin_frames(), usable = static_cast<std::int64_t>(left.size()) - 2 * margin;
  if (usable <= 0) return;
  const int shift = *candidate_ * factor_, frames = static_cast<int>(usable);
  const float* from = left.data() + margin;
  const float* to = right.data() + margin;
  dsp::lagged_products(from, to, frames, shift - (factor_ + 2), static_cast<int>(sound_.size()), sound_.data());
  const auto add = [&](dsp::PairSums& all, const dsp::PairSums& part) {
    all.left += part.left, all.right += part.right, all.product += part.product;
    all.left_square += part.left_square, all.right_square += part.right_square;
  };
  add(here_, dsp::pair_sums(from, to, frames));
  add(shifted_, dsp::pair_sums(from, to + shift, frames));
  sound_frames_ += usable;
}

std::size_t DelayFinder::best_fine() const {
  const auto top = std::max_element(fine_.begin(), fine_.end(), [](double a, double b) { return std::abs(a) < std::abs(b); });
  return static_cast<std::size_t>(top - fine_.begin());
}

double DelayFinder::fit_of_differences(std::size_t at) const {
  const double all = std::sqrt(left_moves_ * right_moves_);
  return all > 0 ? std::min(1.0, std::abs(fine_[at]) / all) : 0;
}

bool DelayFinder::better_than_none(std::size_t top) const {
  const double best = fit_of_differences(top), none = fit_of_differences(static_cast<std::size_t>(factor_ + 2));
  return best > kBetter * none || 1 - none > kLessLeft * std::max(kLeastLeft, 1 - best);
}

bool DelayFinder::sound_fits(std::size_t top) const {
  if (sound_frames_ == 0) return false;
  const auto frames = static_cast<double>(sound_frames_);
  const auto alike = [&](const dsp::PairSums& s, double product) {
    const double left = s.left_square - s.left * s.left / frames, right = s.right_square - s.right * s.right / frames;
    return left > 0 && right > 0 ? std::abs(product - s.left * s.right / frames) / std::sqrt(left * right) : 0.0;
  };
  const double there = alike(shifted_, sound_[top]);
  return there >= kLeastSound && there >= alike(here_, here_.product) - kSoundSlack;
}

void DelayFinder::refine(const Block& block) {
  const bool known = counted_ >= static_cast<std::uint64_t>(sample_rate_ / factor_ / 4);
  const bool worth = known && worth_refining(peak_);
  if (known && !worth) candidate_.reset();
  const auto append = [&](std::vector<float>& left, std::vector<float>& right) {
    left.insert(left.end(), block.row(0), block.row(0) + block.frames);
    right.insert(right.end(), block.row(1), block.row(1) + block.frames);
  };
  if (head_left_.size() < kHeadFrames) append(head_left_, head_right_);
  if (!worth) return;
  if (peak_.lag != candidate_) {
    start_fine(peak_.lag);
    near_left_.clear(), near_right_.clear();
  }
  if (fine_frames_ >= kFollowedFrames) {
    near_left_.clear(), near_right_.clear();
    if (block.first_frame / block.frames % kFollowedEvery != 0) return;
  }
  append(near_left_, near_right_);
  correlate(near_left_, near_right_);
  if (*candidate_ != 0 || better_than_none(best_fine())) correlate_sound(near_left_, near_right_);
  // What the margins left out comes up again with the next block.
  const auto keep = std::min(near_left_.size(), static_cast<std::size_t>(2 * margin_frames()));
  near_left_.erase(near_left_.begin(), near_left_.end() - static_cast<std::ptrdiff_t>(keep));
  near_right_.erase(near_right_.begin(), near_right_.end() - static_cast<std::ptrdiff_t>(keep));
}

void DelayFinder::report(Report& report) {
  // Silence after the end, so that the last words are compared too.
  // Where nothing moves there is no sign to compare: the last word is filled up with the last sample.
  const auto full = (slow_left_.size() + 62) / 64 * 64 + 1;
  slow_left_.resize(full, slow_left_.back()), slow_right_.resize(full, slow_right_.back());
  append_words();
  for (std::size_t i = 0; i < kBatchWords + static_cast<std::size_t>(range_ / 64); ++i)
    left_.push_back(0), right_.push_back(0), valid_.push_back(0);
  while (left_.size() >= kBatchWords + static_cast<std::size_t>(range_ / 64)) compare();

  constexpr std::string_view kId = "inter_channel_delay";
  if (counted_ < static_cast<std::uint64_t>(sample_rate_ / factor_ / 10)) {
    report.not_applicable(kId, "too little sound on both channels to tell");
    return;
  }
  const Peak peak = peak_;
  double elsewhere = 0;
  const int near = std::max(2, sample_rate_ / factor_ / 1000);
  for (int lag = -range_; lag < range_; ++lag) {
    if (std::abs(lag - peak.lag) > near) elsewhere = std::max(elsewhere, std::abs(correlation_at(lag)));
  }
  const char* const none = "left and right have no one clear lag in common";
  if (!worth_refining(peak)) {
    report.not_applicable(kId, none);
    return;
  }
  if (candidate_ != peak.lag || fine_frames_ < static_cast<std::int64_t>(kHeadFrames)) {
    start_fine(peak.lag);
    correlate(head_left_, head_right_);
  }
  double lag = static_cast<double>(peak.lag) * factor_;
  // Next to no lag, a sample or two count only if they fit clearly better than none.
  const auto top = best_fine();
  if (fine_frames_ > 0 && (peak.lag != 0 || better_than_none(top))) lag += static_cast<double>(top) - (factor_ + 2);
  const bool opposed = lag == 0 ? peak.value < 0 : fine_[top] < 0;
  // The lag may have come up late, where a decay is all that was followed: the first seconds must agree.
  bool fits = lag == 0 || sound_frames_ < static_cast<std::int64_t>(kHeadFrames) || sound_fits(top);
  if (lag != 0) {
    sound_.assign(sound_.size(), 0);
    here_ = shifted_ = {};
    sound_frames_ = 0;
    correlate_sound(head_left_, head_right_);
    fits = fits && sound_fits(top);
  }
  const double there = std::abs(peak.value), fit = std::max(there, fit_of_differences(top));
  const bool clear = there >= elsewhere + kClearMargin || (elsewhere <= kRepeats && 1 - elsewhere >= kClearTimes * (1 - fit)) ||
                     (lag == 0 && there > 0.98 && there >= elsewhere);
  if (!clear || (lag == 0 ? there < kLeastCorrelation : !fits)) {
    report.not_applicable(kId, none);
    return;
  }
  auto& m = report.value(kId, lag);
  if (lag != 0) m.note = lag > 0 ? "right is behind left" : "left is behind right";
  if (opposed) m.note += std::string(m.note.empty() ? "" : "; ") + "with opposite polarity";
}

}  // namespace sendworthy::measure
