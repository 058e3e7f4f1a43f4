#include "song/read_song.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "base/text.h"
#include "dsp/planar.h"
#include "measure/crew.h"
#include "song/parts.h"

namespace sendworthy::song {
namespace {

constexpr double kLongestS = 3600;
constexpr double kAbsent = 1e-3;                    // a gain of less is none
constexpr double kMostBytes = 512.0 * 1024 * 1024;  // of all band frames

/// The sum of some stems, and of the mix less them, sample by sample.
class SumOfParts {
 public:
  SumOfParts(std::vector<std::size_t> added, std::vector<std::size_t> taken_out) : added_(std::move(added)), taken_out_(std::move(taken_out)) {}
  [[nodiscard]] bool empty() const { return added_.empty(); }

  ChannelRows of(const std::vector<ChannelRows>& parts, std::int64_t frames) {
    const auto channels = parts.front().size();
    sums_.resize(channels), rows_.clear();
    for (std::size_t c = 0; c < channels; ++c) {
      const float* first = parts[added_.front()][c];
      sums_[c].assign(first, first + frames);
      for (std::size_t i = 1; i < added_.size(); ++i) add(parts[added_[i]][c], 1.0f, sums_[c]);
      for (const auto part : taken_out_) add(parts[part][c], -1.0f, sums_[c]);
      rows_.push_back(sums_[c].data());
    }
    return rows_;
  }

 private:
  static void add(const float* row, float gain, std::vector<float>& sum) {
    for (std::size_t n = 0; n < sum.size(); ++n) sum[n] += gain * row[n];
  }
  std::vector<std::size_t> added_, taken_out_;
  std::vector<std::vector<float>> sums_;
  std::vector<const float*> rows_;
};

std::vector<std::size_t> parts_with(const Plan& plan, const std::function<bool(Role)>& is) {
  std::vector<std::size_t> parts;
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (is(plan.stems[i].role)) parts.push_back(i + 1);
  }
  return parts;
}

class Walk {
 public:
  Walk(const Plan& plan, Parts parts, int jobs, const pair::Hooks& hooks) : plan_(plan), parts_(std::move(parts)), hooks_(hooks), crew_(jobs), mix_(parts_.rate(), parts_.channels()) {
    const double rate = parts_.rate();
    const int channels = parts_.channels();
    for (const auto& stem : plan_.stems) {
      auto& meters = stems_.emplace_back(StemMeters{LoudnessMeter(rate, channels), BandAnalyser(rate, channels), {}});
      if (stands_in_front(stem.role)) meters.spectrum.emplace(static_cast<int>(rate), channels);
    }
    const auto lead = parts_with(plan_, [](Role role) { return role == Role::lead_vocal; });
    add_sum(lead, {}, &SongReading::lead);
    add_sum(parts_with(plan_, [](Role role) { return role == Role::backing_vocal; }), {}, &SongReading::backing);
    const auto drums = parts_with(plan_, is_drum);
    add_sum(drums, {}, &SongReading::drums);
    if (!drums.empty()) {
      add_sum(parts_with(plan_, [](Role role) { return !is_drum(role); }), {}, &SongReading::without_drums);
      add_sum({0}, drums, &SongReading::mix_without_drums);
    }
    if (!lead.empty()) {
      add_sum(parts_with(plan_, [](Role role) { return role != Role::lead_vocal; }), {}, &SongReading::bed_of_stems);
      add_sum({0}, lead, &SongReading::bed_of_mix);
    }
    const auto kick = parts_with(plan_, [](Role role) { return role == Role::kick; }), bass = parts_with(plan_, [](Role role) { return role == Role::bass; });
    kick_.emplace(kick, std::vector<std::size_t>{}), bass_.emplace(bass, std::vector<std::size_t>{});
    low_end_.emplace(rate, plan_.low_end.below_hz, LowEndMeter::Channels{channels, kick.empty() ? 0 : channels, bass.empty() ? 0 : channels});
  }

  Result<SongReading> run() {
    const double rate = parts_.rate();
    const auto block = static_cast<std::int64_t>(std::ceil(rate));
    const double bytes_a_second = BandFrames::kBands / BandFrames::kFrame_s * static_cast<double>(std::max<std::size_t>(1, plan_.stems.size()));
    const double longest_s = std::min(kLongestS, kMostBytes / bytes_a_second);
    std::int64_t at = 0;
    std::vector<ChannelRows> rows(parts_.size());
    for (std::int64_t frames; (frames = parts_.reach(at, block)) > 0; at += frames) {
      if (hooks_.stop != nullptr && hooks_.stop->load()) return fail(ErrorCode::interrupted, base::for_terminal(plan_.mix) + ": interrupted");
      if (static_cast<double>(at) / rate > longest_s) {
        SongReading none;
        none.too_long = fmt::format("the mix is longer than {} minutes, which is the most {} are measured for", std::floor(longest_s / 60), plan_.stems.empty() ? "a plan's songs" : "so many stems");
        return none;
      }
      crew_.run(parts_.size(), [&](std::size_t part) {
        rows[part] = parts_.see(part, at, frames);
        take(part, rows[part], frames);
      });
      crew_.run(sums_.size() + 1, [&](std::size_t i) {
        if (i == sums_.size()) return take_low_end(rows, frames);
        const auto sum = sums_[i].sum.of(rows, frames);
        sums_[i].meter.push(sum, frames);
        if (sums_[i].target == &SongReading::lead) lead_.take(sum, rows.front(), frames);
      });
      if (hooks_.progress) hooks_.progress(std::min(1.0, static_cast<double>(at) / static_cast<double>(std::max<std::int64_t>(1, parts_.expected()))));
    }
    if (const auto* error = parts_.error()) return tl::unexpected(*error);
    return finish(static_cast<double>(at) / rate);
  }

 private:
  struct StemMeters {
    LoudnessMeter loudness;
    BandAnalyser bands;
    std::optional<PartSpectrum> spectrum;
  };
  struct Sum {
    SumOfParts sum;
    LoudnessMeter meter;
    Loudness SongReading::* target;
  };

  void add_sum(const std::vector<std::size_t>& added, const std::vector<std::size_t>& taken_out, Loudness SongReading::* target) {
    if (!added.empty()) sums_.push_back({SumOfParts(added, taken_out), LoudnessMeter(parts_.rate(), parts_.channels()), target});
  }

  void take(std::size_t part, ChannelRows rows, std::int64_t frames) {
    if (part == 0) {
      mix_.push(rows, frames);
      return;
    }
    auto& meters = stems_[part - 1];
    meters.loudness.push(rows, frames);
    meters.bands.take(rows, static_cast<int>(frames));
    if (meters.spectrum) meters.spectrum->take(rows, static_cast<int>(frames));
  }

  /// The gain of a part in the mix by least squares.
  class InMix {
   public:
    void take(ChannelRows part, ChannelRows mix, std::int64_t frames) {
      for (std::size_t c = 0; c < part.size(); ++c) {
        const auto sums = dsp::pair_sums(part[c], mix[c], static_cast<int>(frames));
        power_ += sums.left_square, product_ += sums.product;
      }
    }
    [[nodiscard]] std::optional<double> gain_db() const {
      if (power_ <= 0) return std::nullopt;
      return 20 * std::log10(std::max(kAbsent, product_ / power_));
    }

   private:
    double power_ = 0, product_ = 0;  ///< of all channels
  };

  void take_low_end(const std::vector<ChannelRows>& rows, std::int64_t frames) {
    if (rows.size() == 2) only_.take(rows.back(), rows.front(), frames);
    const auto kick = kick_->empty() ? ChannelRows() : kick_->of(rows, frames), bass = bass_->empty() ? ChannelRows() : bass_->of(rows, frames);
    low_end_->take(rows.front(), kick, bass, static_cast<int>(frames));
  }

  SongReading finish(double duration_s) {
    SongReading reading;
    reading.rate = parts_.rate(), reading.duration_s = duration_s, reading.channels = parts_.channels();
    reading.mix = mix_.finish();
    for (auto& meters : stems_) {
      auto& stem = reading.stems.emplace_back();
      stem.loudness = meters.loudness.take();
      stem.bands = meters.bands.finish();
      if (meters.spectrum) stem.spectrum = meters.spectrum->finish();
    }
    for (auto& one : sums_) reading.*one.target = one.meter.take();
    reading.lead_in_mix_db = lead_.gain_db();
    if (plan_.stems.size() == 1) reading.only_stem_in_mix_db = only_.gain_db();
    reading.low_end = low_end_->finish();
    return reading;
  }

  const Plan& plan_;
  Parts parts_;
  const pair::Hooks& hooks_;
  measure::Crew crew_;
  MixMeter mix_;
  std::vector<StemMeters> stems_;
  std::vector<Sum> sums_;
  InMix lead_, only_;
  std::optional<SumOfParts> kick_, bass_;
  std::optional<LowEndMeter> low_end_;
};

}  // namespace

bool is_drum(Role role) { return role == Role::kick || role == Role::snare || role == Role::drums || role == Role::percussion; }
bool stands_in_front(Role role) { return role == Role::lead_vocal || role == Role::lead || role == Role::kick || role == Role::snare; }

std::vector<std::optional<MonoLoss>> low_loss_of_stems(const Plan& plan, const std::atomic<bool>* stop) {
  std::vector<std::optional<MonoLoss>> losses;
  for (const auto& stem : plan.stems) {
    auto& loss = losses.emplace_back();
    auto alone = Parts::open(stem.file, {});
    if (!alone || alone->channels() < 2) continue;
    MonoLowMeter meter(alone->rate(), plan.low_end.below_hz);
    const auto block = static_cast<std::int64_t>(std::ceil(alone->rate()));
    std::int64_t at = 0;
    for (std::int64_t frames; at < kLongestS * alone->rate() && (frames = alone->reach(at, block)) > 0; at += frames) {
      if (stop != nullptr && stop->load()) return losses;
      meter.take(alone->see(0, at, frames), static_cast<int>(frames));
    }
    if (alone->error() == nullptr) loss = meter.finish();
  }
  return losses;
}

Result<SongReading> read_song(const Plan& plan, int jobs, const pair::Hooks& hooks) {
  std::vector<std::string> stems;
  for (const auto& stem : plan.stems) stems.push_back(stem.file);
  auto parts = Parts::open(plan.mix, stems);
  if (!parts) return tl::unexpected(parts.error());
  return Walk(plan, std::move(*parts), jobs, hooks).run();
}

}  // namespace sendworthy::song
