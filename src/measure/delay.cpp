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
constexpr double kLeastCorrelation = 0.6;  // below, left and right share too little for a common lag
constexpr double kBetter = 1.1;
constexpr double kSurelyOne = 0.85;        // one sound on both sides, whatever its polarity
constexpr double kClearMargin = 0.1;       // how far the peak stands above everything 1 ms and more away

constexpr CatalogEntry kEntries[] = {
    {.id = "inter_channel_delay", .title = "Delay between channels", .group = Group::stereo, .unit = Unit::samples,
     .what = "How many samples the right channel is late behind the left, where the two share one clear lag.",
     .how = "Signs of first differences compared at every lag within 20 ms over the whole file; then correlation of first "
            "differences at the file's own rate around the best lag. Negative: left is late.",
     .source = "definition; arcsine law of polarity coincidence",
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
  return factor_ > 1 && std::abs(peak.value) >= kLeastCorrelation;
}

void DelayFinder::start_fine(int lag) {
  candidate_ = lag;
  fine_.assign(static_cast<std::size_t>(2 * (factor_ + 2) + 1), 0);
  fine_frames_ = 0;
}

void DelayFinder::correlate(const std::vector<float>& left, const std::vector<float>& right) {
  // Every lag needs its neighbour, so a margin on both sides stays out.
  const int reach = factor_ + 2;
  const int lowest = *candidate_ * factor_ - reach, count = 2 * reach + 1;
  const std::int64_t margin = std::abs(*candidate_) * static_cast<std::int64_t>(factor_) + reach + 1;
  const std::int64_t usable = static_cast<std::int64_t>(left.size()) - 2 * margin;
  if (usable <= 0) return;
  dsp::lagged_products(left.data() + margin, right.data() + margin, static_cast<int>(usable), lowest, count, fine_.data());
  fine_frames_ += usable;
}

void DelayFinder::refine(const Block& block) {
  const bool known = counted_ >= static_cast<std::uint64_t>(sample_rate_ / factor_ / 4);
  const bool head = head_left_.size() < kHeadFrames;
  const bool worth = known && worth_refining(peak_);
  if (known && !worth) candidate_.reset();
  if (head || worth) {
    const auto frames = static_cast<std::size_t>(block.frames);
    block_left_.resize(frames), block_right_.resize(frames);
    dsp::first_differences(block.row(0), block.frames, last_left_, block_left_.data());
    dsp::first_differences(block.row(1), block.frames, last_right_, block_right_.data());
  }
  last_left_ = block.row(0)[block.frames - 1], last_right_ = block.row(1)[block.frames - 1];
  if (head) {
    head_left_.insert(head_left_.end(), block_left_.begin(), block_left_.end());
    head_right_.insert(head_right_.end(), block_right_.begin(), block_right_.end());
  }
  if (!worth) return;
  if (peak_.lag != candidate_) {
    start_fine(peak_.lag);
    near_left_.clear(), near_right_.clear();
  }
  near_left_.insert(near_left_.end(), block_left_.begin(), block_left_.end());
  near_right_.insert(near_right_.end(), block_right_.begin(), block_right_.end());
  correlate(near_left_, near_right_);
  // What the margins left out comes up again with the next block.
  const auto keep = std::min(near_left_.size(), static_cast<std::size_t>(2 * (std::abs(*candidate_) * factor_ + factor_ + 3)));
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
  const bool clear = std::abs(peak.value) >= elsewhere + kClearMargin || (peak.lag == 0 && std::abs(peak.value) > 0.98);
  if (std::abs(peak.value) < kLeastCorrelation || !clear) {
    report.not_applicable(kId, "left and right have no one clear lag in common");
    return;
  }
  double lag = static_cast<double>(peak.lag) * factor_;
  std::string note;
  if (worth_refining(peak)) {
    if (candidate_ != peak.lag || fine_frames_ < static_cast<std::int64_t>(kHeadFrames)) {
      start_fine(peak.lag);
      correlate(head_left_, head_right_);
    }
    const auto top = std::max_element(fine_.begin(), fine_.end(),
                                      [](double a, double b) { return std::abs(a) < std::abs(b); }) - fine_.begin();
    // Next to no lag, a sample or two count only if they fit clearly better than none.
    const auto none = static_cast<std::size_t>(factor_ + 2);
    const bool better = peak.lag != 0 || std::abs(fine_[static_cast<std::size_t>(top)]) > kBetter * std::abs(fine_[none]);
    if (better) lag += static_cast<double>(top) - (factor_ + 2);
  }
  if (lag != 0 && std::abs(lag) <= factor_ && peak.value < 0 && peak.value > -kSurelyOne) {
    // Sides that work against each other correlate best next to no lag, too.
    report.not_applicable(kId, "left and right are opposed in polarity; next to none, a lag of theirs cannot be told");
    return;
  }
  auto& m = report.value(kId, lag);
  if (lag != 0) m.note = lag > 0 ? "right is behind left" : "left is behind right";
  if (peak.value < 0) m.note += std::string(m.note.empty() ? "" : "; ") + "with opposite polarity";
}

}  // namespace sendworthy::measure
