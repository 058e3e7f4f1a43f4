#include "pair/sum.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/text.h"
#include "dsp/products.h"
#include "pair/sum_sides.h"
#include "pair/summer.h"

namespace sendworthy::pair {
namespace {

constexpr std::size_t kMostParts = 128;
constexpr double kNullDb = -90;        // identical up to dither and word length (own reading)
constexpr double kOverFloorDb = 10;    // truncation in place of dither, and its offset in many parts
constexpr double kConvertedDb = -40;   // converters differ near the top
constexpr double kDither = 0.25;       // of a step squared: a dithered word's error
constexpr double kSilent = 1e-9;       // mean square of the loudest block: −90 dBFS
constexpr double kHopeless = 1e-2, kLevelsAlike = 0.9999;  // energy left, over the mix's; a correlation, squared

double square_step(int bits) { return std::ldexp(1.0, 2 - 2 * bits); }

}  // namespace

Result<Sum> Summer::run() {
  lags_.assign(input_.count(), 0.0);
  const auto as_they_are = add_up();
  if (!as_they_are) return tl::unexpected(as_they_are.error());
  if (*as_they_are) return std::move(sum_);
  auto heard = grams_of(input_, {}, 0.1, 0.25, hooks_);
  if (!heard) return tl::unexpected(heard.error());
  grams_ = std::move(*heard);
  if (!describe()) return std::move(sum_);
  try_gains("");
  if (!nulls()) {
    if (auto found = explain(); !found) return tl::unexpected(found.error());
  } else if (chosen_ > 1) {
    // A sound that was panned alone stands in line by two gains as well; exchanged channels need none.
    if (auto found = exchange(find_mirrored(input_, grams_, steps_[chosen_].gains, wanted())); !found) return tl::unexpected(found.error());
  }
  conclude();
  return std::move(sum_);
}

Result<bool> Summer::add_up() {
  auto plain = plain_sums_of(input_, kHopeless, 0, 0.1, hooks_);
  if (!plain) return tl::unexpected(plain.error());
  if (!*plain) return false;
  grams_ = std::move((*plain)->grams);
  if (!describe()) return true;
  const bool copies = std::ranges::any_of(sum_.parts, [&](const SumPart& part) { return may_be_a_copy(static_cast<std::size_t>(&part - sum_.parts.data())); });
  if (copies || power_db((*plain)->left() / mix_) > sum_.limit_db) {
    mix_ = 0;
    return false;
  }
  const double product = (*plain)->product, energy = (*plain)->sum, gain = product / energy;
  add_known_step("as they are", plain_gains(), (*plain)->left());
  add_known_step("one gain", plain_gains(gain), std::max(0.0, (*plain)->mix - gain * product));
  chosen_ = 0;
  conclude();
  return true;
}

bool Summer::may_be_a_copy(std::size_t i) const {
  const auto energy = [&](std::size_t block, std::size_t part) {
    double sum = 0;
    for (std::size_t c = 0; c < grams_.channels; ++c) sum += grams_.at(block, c)[dsp::product_at(part, part)];
    return sum;
  };
  for (std::size_t j = 0; j < i && !sum_.parts[i].silent; ++j) {
    if (sum_.parts[j].silent) continue;
    double own = 0, other = 0, both = 0;
    for (std::size_t b = 0; b < grams_.blocks(); ++b) {
      const double x = energy(b, i), y = energy(b, j);
      own += x * x, other += y * y, both += x * y;
    }
    if (both * both >= kLevelsAlike * own * other) return true;
  }
  return false;
}

void Summer::fill_files() {
  sum_.parts.clear();
  sum_.rate = input_.rate(), sum_.channels = static_cast<int>(input_.channels()), sum_.frames = grams_.frames;
  sum_.mixed_rates = input_.mixed_rates();
  for (std::size_t i = 0; i < input_.count(); ++i) {
    auto& file = input_.reader(i);
    SumPart part;
    part.path = paths_[i], part.channels = file.format().channels, part.sample_rate = file.format().sample_rate;
    part.frames = file.step() == 1 ? file.length() : std::llround(static_cast<double>(file.length()) * file.step());
    sum_.parts.push_back(std::move(part));
  }
}

bool Summer::describe() {
  fill_files();
  describe_parts(input_, grams_, sum_);
  double loudest = 0;
  const auto mix_at = dsp::product_at(grams_.rows - 1, grams_.rows - 1);
  std::size_t sounding = 0;
  for (std::size_t b = 0; b < grams_.blocks(); ++b) {
    double here = 0;
    for (std::size_t c = 0; c < grams_.channels; ++c) here = std::max(here, grams_.at(b, c)[mix_at]), mix_ += grams_.at(b, c)[mix_at];
    loudest = std::max(loudest, here), sounding += here > 0 ? 1 : 0;
  }
  const double frames = static_cast<double>(std::max<std::int64_t>(1, grams_.frames)), channels = static_cast<double>(grams_.channels);
  sum_.mix_dbfs = std::max(-144.0, power_db(mix_ / frames / channels));
  if (loudest <= kSilent * static_cast<double>(grams_.block)) sum_.not_measured = "the mix is silent";
  else if (std::ranges::all_of(sum_.parts, [](const SumPart& part) { return part.silent; })) sum_.not_measured = "all parts are silent";
  if (sum_.not_measured) return false;
  double floor = kDither * square_step(input_.mix_bits());
  for (std::size_t i = 0; i < input_.count(); ++i) floor += kDither * square_step(input_.bits(i));
  sum_.floor_db = power_db(floor * channels * static_cast<double>(sounding) * static_cast<double>(grams_.block) / mix_);
  sum_.limit_db = std::max(kNullDb, sum_.floor_db + kOverFloorDb);
  if (sum_.mixed_rates) sum_.limit_db = std::max(sum_.limit_db, kConvertedDb);
  return true;
}

void Summer::conclude() {
  auto step = steps_[chosen_];
  // How well gains of their own are known tells how well it is known that parts need none.
  const auto own = std::find_if(steps_.begin() + static_cast<std::ptrdiff_t>(first_choice_), steps_.end(), [](const Step& one) { return one.fitted; });
  if (!step.fitted && !step.leaves_out && own != steps_.end()) step.errors = own->errors, step.tied_to = own->tied_to, step.fitted = true;
  sum_.step = chosen_, sum_.residual_db = power_db(step.left / mix_), sum_.nulls = nulls();
  for (const auto& one : steps_) sum_.ladder.push_back({one.name, power_db(one.left / mix_)});
  auto causes = read_parts(input_, grams_, step, std::max(step.left, allowed()), sum_);
  sum_.common_delay_frames = 0;
  if (crossed_) causes.insert(causes.begin(), SumCause::crossed);
  if (shifted_) {
    read_lags();
    // Beside much that is left, fractions of a frame come to none.
    const bool any = std::ranges::any_of(sum_.parts, [](const SumPart& part) { return part.delay_frames != 0; });
    if (any) causes.insert(causes.begin(), SumCause::delay);
  }
  if (left_at_ends(step.gains) > allowed()) {
    sum_.ends = SumEnds{ends_.start, ends_.end};
    beyond_files();
    causes.push_back(SumCause::ends);
  }
  const bool nothing = chosen_ == 0 && sum_.nulls;
  if (cause_) {
    // What the ladder removed before comes first where it was the greater part.
    const bool first = causes.empty() || left() > kExplained * steps_.front().left || cause_ == SumCause::bus_processing || cause_ == SumCause::doubled || cause_ == SumCause::gap || cause_ == SumCause::folded || cause_ == SumCause::each_processing || sum_.ceiling;
    if (first) causes.insert(causes.begin(), *cause_);
    else if (*cause_ != SumCause::unexplained) causes.push_back(*cause_);
  }
  if (std::ranges::any_of(sum_.parts, [](const SumPart& part) { return part.whole_mix; })) causes.insert(causes.begin(), SumCause::whole_mix);
  if (std::ranges::any_of(sum_.parts, [](const SumPart& part) { return part.silent; })) causes.push_back(SumCause::silent);
  if (nothing) causes.insert(causes.begin(), SumCause::sums);
  else if (causes.empty()) causes.push_back(SumCause::unexplained);
  sum_.cause = causes.front();
  for (std::size_t k = 1; k < causes.size(); ++k) {
    if (causes[k] != sum_.cause && std::ranges::find(sum_.also, causes[k]) == sum_.also.end()) sum_.also.push_back(causes[k]);
  }
  if (rest_ && (!sum_.nulls || cause_)) sum_.rest = std::move(rest_->rest);
  if (sum_.cause != SumCause::gap && sum_.cause != SumCause::missing) sum_.gaps.clear();
}

std::string_view to_string(SumCause cause) {
  switch (cause) {
    case SumCause::sums: return "sums";
    case SumCause::one_gain: return "one gain";
    case SumCause::faders: return "faders";
    case SumCause::pan: return "pan";
    case SumCause::polarity: return "polarity";
    case SumCause::delay: return "delay";
    case SumCause::silent: return "silent part";
    case SumCause::missing: return "missing part";
    case SumCause::doubled: return "doubled";
    case SumCause::not_in_mix: return "not in the mix";
    case SumCause::crossed: return "channels exchanged";
    case SumCause::folded: return "folded to mono";
    case SumCause::gap: return "gap in a part";
    case SumCause::ends: return "missing at an end";
    case SumCause::whole_mix: return "whole mix";
    case SumCause::part_processing: return "processing of a part";
    case SumCause::bus_processing: return "processing of the sum";
    case SumCause::each_processing: return "processing of each";
    case SumCause::bus_filter: return "filter over the sum";
    case SumCause::bus_distortion: return "distortion of the sum";
    case SumCause::unexplained: return "unexplained";
  }
  return "unexplained";
}

Result<Sum> sum_of(const std::string& mix, const std::vector<std::string>& parts, const Hooks& hooks) {
  if (parts.empty()) return fail(ErrorCode::usage, base::for_terminal(mix) + ": no parts to add up; name at least two");
  Sum sum;
  if (parts.size() == 1) sum.not_measured = "one part alone is no sum";
  if (parts.size() > kMostParts) sum.not_measured = std::to_string(parts.size()) + " parts; at most " + std::to_string(kMostParts) + " are added up";
  if (sum.not_measured) return sum;
  auto input = SumInput::open(mix, parts);
  if (!input) return tl::unexpected(input.error());
  if (input->trouble()) {
    sum.not_measured = input->trouble();
    return sum;
  }
  return Summer(std::move(*input), parts, hooks).run();
}

}  // namespace sendworthy::pair
