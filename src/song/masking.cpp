#include "song/masking.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <utility>

#include "song/activity.h"
#include "song/masking_passages.h"

namespace sendworthy::song {
namespace {

constexpr std::size_t kBands = BandFrames::kBands;
constexpr float kRelevant = 1e-3f;  // 30 dB under the strongest band
constexpr double kSharedBelow_hz = 100, kSharedOffset_db = 6;
constexpr double kLoudnessPower = 0.3;

float power_of_db(double db) { return static_cast<float>(std::pow(10, db / 10)); }

// Half octaves of power, so steps of about 1.5 dB, from the bits of a float.
int half_octave(float power) { return static_cast<int>(std::bit_cast<std::uint32_t>(power) >> 22); }

// How much of the power in one band reaches the others, by its level.
class Spread {
 public:
  explicit Spread(const MaskingOptions& options) {
    first_ = half_octave(power_of_db(kQuietest_spl - options.full_scale_db_spl));
    const int last = half_octave(power_of_db(kLoudest_spl - options.full_scale_db_spl));
    for (int step = first_; step <= last; ++step) {
      const float power = std::bit_cast<float>(static_cast<std::uint32_t>(step) << 22);
      const double spl = 10 * std::log10(static_cast<double>(power)) + options.full_scale_db_spl;
      auto& gains = gains_.emplace_back();
      for (int distance = -kFurthest; distance <= kFurthest; ++distance)
        gains[static_cast<std::size_t>(distance + kFurthest)] = static_cast<float>(gain(distance, spl));
    }
    while (BandFrames::low_edge_hz(static_cast<int>(shared_)) < kSharedBelow_hz) ++shared_;
    threshold_ = power_of_db(-options.offset_db);
    shared_threshold_ = power_of_db(-kSharedOffset_db);
  }

  // Power under which another part is covered, band by band.
  void threshold(const Bands& powers, Bands& out) const {
    out.fill(0);
    for (std::size_t from = 0; from < kBands; ++from) {
      if (!(powers[from] > 0)) continue;
      const auto step = std::clamp<int>(half_octave(powers[from]) - first_, 0, static_cast<int>(gains_.size()) - 1);
      const float power = powers[from] * threshold_;
      const float* gains = gains_[static_cast<std::size_t>(step)].data() + kFurthest - from;
      for (std::size_t to = 0; to < out.size(); ++to) out[to] += power * gains[to];
    }
    for (std::size_t band = 0; band < shared_; ++band) out[band] = powers[band] * shared_threshold_;
  }

 private:
  // Levels beyond these spread as these do: the formula holds for moderate ones.
  static constexpr double kQuietest_spl = 20, kLoudest_spl = 100;

  static constexpr int kFurthest = BandFrames::kBands;

  // Of a band through the filter `distance` ERB above it. With p = 4·centre/ERB, only the distance in ERB matters: computed about 1 kHz.
  static double gain(int distance, double spl) {
    const double hz = 1000, centre = hz_of_erb_number(erb_number(hz) + distance);
    if (!(centre > 0)) return 0;
    const auto p_at_51 = [](double f) { return 4 * f / erb_hz(f); };
    double p = p_at_51(centre);
    if (hz < centre) p -= 0.35 * p / p_at_51(1000) * (spl - 51);
    const double pg = p * std::abs(centre - hz) / centre;
    return (1 + pg) * std::exp(-pg);
  }

  int first_ = 0;
  std::vector<std::array<float, 2 * kFurthest + 1>> gains_;  ///< by level, and by distance from −kFurthest on
  std::size_t shared_ = 0;  ///< bands that begin below 100 Hz
  float threshold_ = 0, shared_threshold_ = 0;
};

// power^0.3 by the upper bits of a float, in steps of some 0.2 dB of power.
class Loudness {
 public:
  Loudness() : values_(1u << 12) {
    for (std::uint32_t top = 0; top < (255u << 4); ++top)
      values_[top] = static_cast<float>(std::pow(static_cast<double>(std::bit_cast<float>((top << 19) + (1u << 18))), kLoudnessPower));
  }
  [[nodiscard]] float of(float power) const { return values_[std::bit_cast<std::uint32_t>(power) >> 19]; }

 private:
  std::vector<float> values_;
};

void smoothed(const BandFrames& part, std::int64_t t, Bands& out) {
  out.fill(0);
  const auto& powers = BandFrames::powers();
  const auto add = [&](std::int64_t at, float share) {
    if (at < 0 || at >= part.frames()) return;
    const auto codes = part.frame(at);
    for (std::size_t b = 0; b < kBands; ++b) out[b] += share * powers[codes[b]];
  };
  add(t - 1, 0.25f), add(t, 0.5f), add(t + 1, 0.25f);
}

// What one set of maskers covers of one target.
struct Tally {
  explicit Tally(std::size_t spans) : in_spans(spans) {}

  std::array<double, kBands> bands{};
  std::vector<double> in_spans;
  Bands slot{};
  SlotShares shares;

  void add(const Bands& target, const Bands& weights, const Bands& threshold, const std::vector<std::size_t>& spans) {
    float sum = 0;
    for (std::size_t b = 0; b < slot.size(); ++b) {
      const float covered = target[b] < threshold[b] ? weights[b] : 0.0f;
      slot[b] += covered;
      sum += covered;
    }
    for (const auto span : spans) in_spans[span] += static_cast<double>(sum);
  }
  void end_slot(const Bands& weights) {
    auto& share = shares.emplace_back();
    for (std::size_t b = 0; b < kBands; ++b) {
      bands[b] += static_cast<double>(slot[b]);
      if (weights[b] > 0) share[b] = static_cast<std::uint8_t>(std::min(255.0f, std::round(slot[b] / weights[b] * 255)));
    }
    slot.fill(0);
  }
};

double sum_of(const std::array<double, kBands>& values) {
  double sum = 0;
  for (const double value : values) sum += value;
  return sum;
}

class CaseWalk {
 public:
  CaseWalk(const MaskingCase& asked, std::size_t spans)
      : asked_(asked), span_weights_(spans), span_frames_(spans), together_(spans), alone_(asked.maskers.size(), Tally(spans)),
        without_(asked.maskers.size()), running_(asked.maskers.size() + 1) {}

  [[nodiscard]] const MaskingCase& asked() const { return asked_; }
  void find_activity(std::span<const BandFrames* const> parts, std::int64_t frames) {
    std::vector<float> powers(static_cast<std::size_t>(frames));
    Bands part;
    for (const auto number : asked_.target) {
      for (std::int64_t t = 0; t < std::min(frames, parts[number]->frames() + 1); ++t) {
        smoothed(*parts[number], t, part);
        for (const float power : part) powers[static_cast<std::size_t>(t)] += power;
      }
    }
    plays_ = frames_that_play(powers);
  }
  [[nodiscard]] bool plays(std::int64_t t) const { return plays_[static_cast<std::size_t>(t)]; }

  // Smoothed powers and thresholds of all parts in a frame in which the target plays.
  void add(const std::vector<Bands>& powers, const std::vector<Bands>& thresholds, const Loudness& loudness, const std::vector<std::size_t>& spans) {
    Bands target{}, weights{};
    for (const auto number : asked_.target) {
      for (std::size_t b = 0; b < target.size(); ++b) target[b] += powers[number][b];
    }
    const float least = *std::max_element(target.begin(), target.end()) * kRelevant;
    float sum = 0;
    for (std::size_t b = 0; b < kBands; ++b) {
      weights[b] = target[b] >= least ? loudness.of(target[b]) : 0.0f;
      slot_weights_[b] += weights[b];
      sum += weights[b];
    }
    ++frames_;
    for (const auto span : spans) span_weights_[span] += static_cast<double>(sum), ++span_frames_[span];

    // running_[k]: maskers before k; from behind, `after` grows by those that follow it.
    const auto count = asked_.maskers.size();
    running_[0].fill(0);
    for (std::size_t k = 0; k < count; ++k) {
      const auto& own = thresholds[asked_.maskers[k]];
      alone_[k].add(target, weights, own, spans);
      for (std::size_t b = 0; b < own.size(); ++b) running_[k + 1][b] = running_[k][b] + own[b];
    }
    together_.add(target, weights, running_[count], spans);
    Bands after{};
    for (std::size_t k = count; k-- > 0;) {
      const auto& own = thresholds[asked_.maskers[k]];
      float covered = 0;
      for (std::size_t b = 0; b < own.size(); ++b) {
        covered += target[b] < running_[k][b] + after[b] ? weights[b] : 0.0f;
        after[b] += own[b];
      }
      without_[k] += static_cast<double>(covered);
    }
  }
  void end_slot() {
    auto& slot = slots_.emplace_back();
    for (std::size_t b = 0; b < kBands; ++b) {
      slot[b] = slot_weights_[b];
      band_weights_[b] += static_cast<double>(slot_weights_[b]);
    }
    together_.end_slot(slot_weights_);
    for (auto& tally : alone_) tally.end_slot(slot_weights_);
    slot_weights_.fill(0);
  }

  [[nodiscard]] Masking result() const {
    Masking out;
    out.active_s = static_cast<double>(frames_) * BandFrames::kFrame_s;
    for (const auto frames : span_frames_) out.span_active_s.push_back(static_cast<double>(frames) * BandFrames::kFrame_s);
    const double all = sum_of(band_weights_);
    for (std::size_t b = 0; b < kBands; ++b) out.weights[b] = share(band_weights_[b], all);
    out.together = coverage(together_, all);
    for (std::size_t k = 0; k < alone_.size(); ++k)
      out.each.push_back({coverage(alone_[k], all), std::max(0.0, out.together.share - share(without_[k], all))});
    for (std::size_t k = 0; k < out.each.size() && out.together.share > 0; ++k) {
      const auto rank = [&](std::size_t i) { return std::pair(out.each[i].uncovered, out.each[i].alone.share); };
      if (!out.named || rank(k) > rank(*out.named)) out.named = k;
    }
    return out;
  }

 private:
  static double share(double part, double whole) { return whole > 0 ? std::min(1.0, part / whole) : 0; }

  [[nodiscard]] Coverage coverage(const Tally& tally, double all) const {
    Coverage out;
    out.share = share(sum_of(tally.bands), all);
    for (std::size_t b = 0; b < kBands; ++b) out.bands[b] = share(tally.bands[b], band_weights_[b]);
    for (std::size_t s = 0; s < span_weights_.size(); ++s) out.spans.push_back(share(tally.in_spans[s], span_weights_[s]));
    out.passages = covered_passages(slots_, tally.shares);
    return out;
  }

  const MaskingCase& asked_;
  std::vector<bool> plays_;
  std::int64_t frames_ = 0;
  Bands slot_weights_{};
  std::array<double, kBands> band_weights_{};
  std::vector<double> span_weights_;
  std::vector<std::int64_t> span_frames_;
  SlotWeights slots_;
  Tally together_;
  std::vector<Tally> alone_;
  std::vector<double> without_;
  std::vector<Bands> running_;
};

}  // namespace

namespace {

std::vector<Masking> one_walk(std::span<const BandFrames* const> parts, std::int64_t frames, std::span<const MaskingCase> cases,
                              std::span<const TimeSpan> spans, const MaskingOptions& options) {
  std::vector<CaseWalk> walks;
  for (const auto& one : cases) walks.emplace_back(one, spans.size()).find_activity(parts, frames);

  const Spread spread(options);
  const Loudness loudness;
  std::vector<Bands> powers(parts.size()), thresholds(parts.size());
  enum : std::uint8_t { kPower = 1, kThreshold = 2 };
  std::vector<std::uint8_t> wanted(parts.size());
  std::vector<std::size_t> in_spans;
  for (std::int64_t t = 0; t < frames; ++t) {
    std::fill(wanted.begin(), wanted.end(), std::uint8_t{0});
    for (const auto& walk : walks) {
      if (!walk.plays(t)) continue;
      for (const auto number : walk.asked().target) wanted[number] |= kPower;
      for (const auto number : walk.asked().maskers) wanted[number] |= kThreshold;
    }
    for (std::size_t number = 0; number < parts.size(); ++number) {
      if (wanted[number] != 0) smoothed(*parts[number], t, powers[number]);
      if ((wanted[number] & kThreshold) != 0) spread.threshold(powers[number], thresholds[number]);
    }
    in_spans.clear();
    const double middle_s = (static_cast<double>(t) + 0.5) * BandFrames::kFrame_s;
    for (std::size_t s = 0; s < spans.size(); ++s) {
      if (middle_s >= spans[s].start_s && middle_s < spans[s].end_s) in_spans.push_back(s);
    }
    for (auto& walk : walks) {
      if (walk.plays(t)) walk.add(powers, thresholds, loudness, in_spans);
      if ((t + 1) % kSlotFrames == 0 || t + 1 == frames) walk.end_slot();
    }
  }
  std::vector<Masking> results;
  for (const auto& walk : walks) results.push_back(walk.result());
  return results;
}

}  // namespace

std::vector<Masking> measure_masking(std::span<const BandFrames* const> parts, std::span<const MaskingCase> cases,
                                     std::span<const TimeSpan> spans, const MaskingOptions& options) {
  constexpr std::size_t kMostBytes = 64u << 20;  // of shares by slot, which grow with pairs and length: more takes more than one walk
  std::int64_t frames = 0;
  for (const auto* part : parts) frames = std::max(frames, part->frames());
  const auto bytes_a_masker = static_cast<std::size_t>(frames / kSlotFrames + 1) * BandFrames::kBands;
  std::vector<Masking> results;
  for (std::size_t from = 0; from < cases.size();) {
    auto to = from;
    for (std::size_t bytes = 0; to < cases.size() && (to == from || bytes + (cases[to].maskers.size() + 5) * bytes_a_masker <= kMostBytes); ++to)
      bytes += (cases[to].maskers.size() + 5) * bytes_a_masker;  // and the weights, four bytes each, and all together
    for (auto& one : one_walk(parts, frames, cases.subspan(from, to - from), spans, options)) results.push_back(std::move(one));
    from = to;
  }
  return results;
}

}  // namespace sendworthy::song
