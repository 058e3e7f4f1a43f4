// The low end: what of it cannot be heard, and of a stereo file, does it hold together in mono?
#include "dsp/low_band.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <memory>
#include <span>

#include "base/text.h"
#include "dsp/pair_cascade.h"
#include "measure/delay.h"
#include "measure/hum.h"
#include "measure/meter.h"
#include "measure/subsonic.h"
#include "measure/timelines.h"

namespace sendworthy::measure {
namespace {

constexpr Parameter kBelow[] = {
    {.name = "below_hz", .unit = "Hz", .fallback = 120, .lowest = 40, .highest = 500, .what = "upper edge of the low band"}};

constexpr CatalogEntry kEntries[] = {
    {.id = "low_phase_correlation", .title = "Low-end phase correlation", .group = Group::stereo, .unit = Unit::ratio,
     .decimals = 3, .better = Better::higher,
     .what = "How alike left and right are in the low end, where they should be nearly the same.",
     .how = "Phase correlation of the whole file after a 10 Hz second-order high-pass and an eighth-order Butterworth "
            "low-pass at below_hz.",
     .source = "definition", .caveat = "Weighted by energy: one loud bass note may decide. Not measured where the file has next to nothing down there.",
     .act = "Narrow the bass and the kick: mono below the edge named, or a high-pass on the side signal.",
     .parameters = kBelow},
    {.id = "mono_fold_loss_low", .title = "Low-end loss in mono", .group = Group::stereo, .unit = Unit::db, .decimals = 2,
     .better = Better::lower, .what = "How much low end goes when the file is played in mono.",
     .how = "Over the blocks that pass the file's loudness gates, in the low band, unweighted: level of the file minus that "
            "of (L+R)/2 on both channels; capped at 60.",
     .source = "definition", .caveat = "The mean over the file: single notes may lose more. 0 for a mono low end, 3 for unrelated channels.",
     .act = "Look for a widener or a stereo chorus on bass or kick, or for one flipped channel.", .parameters = kBelow},
    {.id = "side_level_low", .title = "Low-end side to mid", .group = Group::stereo, .unit = Unit::db, .decimals = 2,
     .better = Better::lower, .what = "How wide the low end is.",
     .how = "20 log10 of RMS of (L-R)/2 over RMS of (L+R)/2 in the low band, whole file.", .source = "definition",
     .caveat = "Wide is not out of phase: low_phase_correlation tells that. The floor of -144 dB stands for a low end that is mono.",
     .act = "High-pass the side signal at the edge named.", .parameters = kBelow},
    {.id = "mains_hum", .title = "Mains hum", .group = Group::noise, .unit = Unit::db, .decimals = 1, .better = Better::lower,
     .what = "How far hum from the mains stands out of the quiet parts.",
     .how = "Mean of the two strongest of the first eight multiples of 50 or of 60 Hz over the middle of the lines 3 to 14 Hz "
            "beside them, median of all windows of 1.4 s that lie 20 dB under the rest; a line must lie within 0.5 Hz and keep "
            "its level (4 dB) from window to window.",
     .source = "common practice, no source",
     .caveat = "Not measured without at least three quiet windows that are not digital silence. A bass note held through every pause "
               "would count too: evidence.",
     .act = "Listen to the pauses on headphones; find the cable, the pickup or the amplifier that hums, or let mastering know."},
    {.id = "subsonic_level", .title = "Subsonic level", .group = Group::noise, .unit = Unit::db, .decimals = 2,
     .better = Better::lower, .what = "How much of the sound's energy lies below hearing: rumble, wind, handling, slow drift.",
     .how = "Energy of all channels from 2 to 20 Hz (second-order high-pass, twelfth-order Butterworth low-pass) over that of the whole "
            "file less DC, as mean squares; the first second does not count below. Files of 2 s and more.",
     .source = "definition", .caveat = "Deep drops of a synthesiser are meant, and count too. The floor is -144 dB.",
     .act = "High-pass the tracks that rumble at 20 to 30 Hz; it gives back headroom and nothing is missed."},
};
// Of exactly two channels.
constexpr std::span<const CatalogEntry> kPair(kEntries, std::size(kEntries) - 2);

constexpr double kEmptyPower = 1e-10;  // −100 dBFS mean square: nothing but dither (16-bit TPDF leaves −116 below 120 Hz)
constexpr double kSubsonicLeastS = 2;
constexpr double kUnheardShare = 1e-5;  // 50 dB under the whole file: what leaks from above, or rumble nobody hears

class LowBandMeter final : public Meter {
 public:
  explicit LowBandMeter(const Setup& setup)
      : format_(setup.format), pictures_(setup.pictures), ticks_(setup.format.sample_rate), mid_chain_(setup.format.sample_rate),
        side_chain_(setup.format.sample_rate), delay_(setup.format.sample_rate, mid_chain_.middle_factor()) {
    std::vector<Parameters> all{{}};
    for (const auto& entry : kPair) {
      for (const auto& variant : setup.variants(entry.id)) {
        if (std::find(all.begin(), all.end(), variant) == all.end()) all.push_back(variant);
      }
    }
    for (const auto& parameters : all) {
      const double edge = number_in(parameters, "below_hz", kBelow[0].fallback);
      bands_.emplace_back(parameters, edge, mid_chain_.low_rate_hz());
    }
    // Channels of a file that is not stereo go by pairs of their own.
    const auto pairs = format_.channels == 2 ? 0 : (format_.channels + 1) / 2;
    for (int i = 0; i < pairs; ++i) others_.push_back(std::make_unique<Others>(setup.format.sample_rate));
  }

  void process(const Block& block) override {
    if (format_.channels != 2) {
      take_others(block);
      return;
    }
    const auto frames = static_cast<std::size_t>(block.frames);
    mid_.resize(frames), side_.resize(frames);
    dsp::mid_side(block.row(0), block.row(1), block.frames, mid_.data(), side_.data());
    feed();
    delay_.refine(block);
  }

  void publish(Bus& bus) override {
    frames_ = bus.frames;
    if (format_.channels != 2) return;
    // What still stands in the filters: silence after the end brings it out.
    const auto tail = static_cast<std::size_t>(mid_chain_.low_delay_frames()) + 1;
    mid_.assign(tail, 0), side_.assign(tail, 0);
    feed();
    for (auto& band : bands_) band.mid_hops.push_back(static_cast<float>(band.hop_mid)), band.side_hops.push_back(static_cast<float>(band.hop_side));
    if (pictures_) publish_loss(bus);
  }

  // Per hop; nothing where the low end is empty.
  void publish_loss(Bus& bus) const {
    const auto& band = bands_.front();
    if (!band.possible) return;
    const double frames = static_cast<double>(format_.sample_rate) / 10 / mid_chain_.low_factor();
    std::vector<float> line;
    for (std::size_t i = 0; i < band.mid_hops.size(); ++i) {
      const double mid = band.mid_hops[i], side = band.side_hops[i];
      const bool empty = mid + side < kEmptyPower * frames;
      const double loss = mid > 0 ? std::min(60.0, 10 * std::log10((mid + side) / mid)) : 60;
      line.push_back(empty ? std::nanf("") : static_cast<float>(loss));
    }
    bus.timelines.push_back(bounded_timeline("low_mono_loss", "dB", 0, 0, 0.1, std::move(line), Merge::highest));
  }

  void report(const Bus& bus, Report& report) override {
    report_subsonic(bus, report);
    report_hum(report);
    if (format_.channels != 2) {
      for (const auto& band : bands_) {
        for (const auto& entry : kPair) report.not_applicable(entry.id, "needs exactly two channels", band.parameters);
      }
      report.not_applicable("inter_channel_delay", "needs exactly two channels");
      return;
    }
    for (auto& band : bands_) band_report(band, bus, report);
    delay_.report(report);
  }

 private:
  struct Band {
    Parameters parameters;
    double edge_hz;
    bool possible;
    dsp::PairCascade filter;
    double mid_square = 0, side_square = 0, product = 0;
    double hop_mid = 0, hop_side = 0;
    Series mid_hops, side_hops;

    Band(Parameters p, double edge, double rate)
        : parameters(std::move(p)), edge_hz(edge), possible(rate >= 4 * edge), filter(sections(edge, rate)) {}

    void take(const float* mid, const float* side, std::size_t count) {
      const auto sums = filter.sums(mid, side, static_cast<int>(count));
      hop_mid += sums.first, hop_side += sums.second;
      mid_square += sums.first, side_square += sums.second, product += sums.product;
    }

    static std::vector<dsp::Biquad> sections(double edge, double rate) {
      if (rate < 4 * edge) return {};
      auto list = dsp::butterworth_high_pass(2, 10, rate);
      for (const auto& section : dsp::butterworth_low_pass(8, edge, rate)) list.push_back(section);
      return list;
    }
  };

  // The filters want a possible rate even where nobody will look at what they say.
  static double subsonic_rate(const dsp::LowBandChain& chain) { return std::max(3000.0, chain.low_rate_hz()); }

  struct Others {
    explicit Others(int sample_rate) : first(sample_rate), second(sample_rate), subsonic(subsonic_rate(first)), hum(first.low_rate_hz()) {}
    dsp::LowBandChain first, second;
    SubsonicBand subsonic;
    HumFinder hum;
    std::vector<float> low_first, low_second;
  };

  void take_others(const Block& block) {
    for (int c = 0; c < block.channels; c += 2) {
      auto& pair = *others_[static_cast<std::size_t>(c / 2)];
      const auto frames = static_cast<std::size_t>(block.frames);
      pair.first.process({block.row(c), frames}, mid_middle_, pair.low_first);
      if (c + 1 < block.channels) {
        pair.second.process({block.row(c + 1), frames}, side_middle_, pair.low_second);
      } else {
        pair.low_second.assign(pair.low_first.size(), 0.0f);
      }
      pair.subsonic.take(pair.low_first, pair.low_second);
      pair.hum.take(pair.low_first, pair.low_second);
    }
  }

  void report_hum(Report& report) const {
    // The worst pair of channels speaks for the file.
    std::vector<HumFinder::Found> found;
    if (format_.channels == 2) found.push_back(hum_.finish());
    for (const auto& pair : others_) found.push_back(pair->hum.finish());
    const HumFinder::Found* worst = nullptr;
    for (const auto& one : found) {
      if (one.measured && (worst == nullptr || one.over_db > worst->over_db)) worst = &one;
    }
    if (worst == nullptr) {
      report.not_measured("mains_hum", found.empty() ? "no channel" : found.front().reason);
      return;
    }
    auto& m = report.value("mains_hum", worst->over_db);
    if (!worst->lines.empty()) m.note = "of " + std::to_string(worst->mains_hz) + " Hz mains: " + worst->lines;
  }

  void report_subsonic(const Bus& bus, Report& report) const {
    constexpr const char* kId = "subsonic_level";
    double whole = 0;
    double below = format_.channels == 2 ? 2 * subsonic_.mean_square() : 0;  // L² + R² = 2·(M² + S²)
    for (const auto& pair : others_) below += pair->subsonic.mean_square();
    const auto frames = static_cast<double>(bus.frames);
    for (std::size_t c = 0; c < bus.square.size(); ++c) whole += std::max(0.0, bus.square[c] - bus.sum[c] * bus.sum[c] / frames);
    if (!SubsonicBand::possible(mid_chain_.low_rate_hz())) {
      report.not_measured(kId, "the sample rate is too low for this band");
    } else if (frames < kSubsonicLeastS * format_.sample_rate) {
      report.not_measured(kId, "shorter than 2 s");
    } else if (whole < kEmptyPower * frames) {
      report.not_measured(kId, "silent: less than -100 dBFS");
    } else {
      report.value(kId, std::min(0.0, power_db(below * frames / whole)));
    }
  }

  void feed() {
    mid_chain_.process(mid_, mid_middle_, mid_low_);
    side_chain_.process(side_, side_middle_, side_low_);
    subsonic_.take(mid_low_, side_low_);
    hum_.take(mid_low_, side_low_);
    delay_.coarse(mid_middle_, side_middle_);
    for (std::size_t n = 0; n < mid_low_.size();) {
      // As far as this hop goes: an output belongs to the hop of the input frame it stands for.
      while (frame_of(at_) >= ticks_.hop_start(hop_ + 1)) {
        for (auto& band : bands_) {
          band.mid_hops.push_back(static_cast<float>(band.hop_mid));
          band.side_hops.push_back(static_cast<float>(band.hop_side));
          band.hop_mid = band.hop_side = 0;
        }
        ++hop_;
      }
      auto end = n + 1;
      while (end < mid_low_.size() && frame_of(at_ + static_cast<std::int64_t>(end - n)) < ticks_.hop_start(hop_ + 1)) ++end;
      for (auto& band : bands_) band.take(mid_low_.data() + n, side_low_.data() + n, end - n);
      at_ += static_cast<std::int64_t>(end - n);
      n = end;
    }
    for (auto& band : bands_) band.filter.flush_denormals();
  }

  // Half-up rounding of at·factor − delay; the delay is a multiple of one half.
  std::int64_t frame_of(std::int64_t at) const {
    return (2 * at * mid_chain_.low_factor() - twice_delay_ + 1) >> 1;
  }

  void band_report(const Band& band, const Bus& bus, Report& report) {
    const auto& p = band.parameters;
    const auto all = [&](auto say) {
      for (const auto& entry : kPair) say(entry.id);
    };
    if (!band.possible) {
      all([&](auto id) { report.not_measured(id, "the sample rate is too low for this band", p); });
      return;
    }
    const double count = static_cast<double>(frames_) / mid_chain_.low_factor();
    const double low = count < 1 ? 0 : (band.mid_square + band.side_square) / count;
    const double whole = bus.square.size() < 2 ? 0 : (bus.square[0] + bus.square[1]) / 2 / static_cast<double>(frames_);
    const bool empty = low < kEmptyPower;
    const std::string nothing = "nothing below " + base::shortest(band.edge_hz) + " Hz (" +
                                (empty ? "less than -100 dBFS)" : "more than 50 dB under the whole)");
    if (empty || low < kUnheardShare * whole) {
      all([&](auto id) { report.not_applicable(id, nothing, p); });
      return;
    }
    // Left = M + S and right = M − S.
    const double left = band.mid_square + band.side_square + 2 * band.product;
    const double right = band.mid_square + band.side_square - 2 * band.product;
    const double product = band.mid_square - band.side_square;
    if (left / count < kEmptyPower || right / count < kEmptyPower) {
      report.not_measured("low_phase_correlation", "one channel is silent in the low band", p);
    } else {
      report.value("low_phase_correlation", std::clamp(product / std::sqrt(left * right), -1.0, 1.0), p);
    }
    if (band.mid_square <= 0) {
      report.value("side_level_low", -kFloorDb, p).note = "at or above: there is no mid in the low band";
    } else {
      auto& m = report.value("side_level_low", power_db(band.side_square / band.mid_square), p);
      if (band.side_square / band.mid_square <= 1e-14) m.note = "at or below: the low end is mono";
    }
    double mid = 0, side = 0;
    for (std::size_t j = 0; j < bus.gated_blocks.size(); ++j) {
      if (!bus.gated_blocks[j]) continue;
      for (std::size_t k = j; k < std::min(j + 4, band.mid_hops.size()); ++k) mid += band.mid_hops[k], side += band.side_hops[k];
    }
    if (mid + side <= 0) {
      report.not_measured("mono_fold_loss_low", "no block passes the loudness gates", p);
    } else {
      const double loss = mid > 0 ? 10 * std::log10((mid + side) / mid) : 60;
      auto& m = report.value("mono_fold_loss_low", std::clamp(loss, 0.0, 60.0), p);
      if (loss >= 60) m.note = "at or above: nothing is left in mono";
    }
  }

  const audio::StreamFormat format_;
  const bool pictures_;
  Ticks ticks_;
  dsp::LowBandChain mid_chain_, side_chain_;
  std::vector<Band> bands_;
  DelayFinder delay_;
  SubsonicBand subsonic_{subsonic_rate(mid_chain_)};
  HumFinder hum_{mid_chain_.low_rate_hz()};
  std::vector<std::unique_ptr<Others>> others_;
  std::vector<float> mid_, side_, mid_middle_, side_middle_, mid_low_, side_low_;
  std::int64_t at_ = 0, hop_ = 0, frames_ = 0;
  const std::int64_t twice_delay_ = std::llround(2 * mid_chain_.low_delay_frames());
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<LowBandMeter>(setup); }

}  // namespace

extern const MeterModule kLowBandModule{kEntries, create};

}  // namespace sendworthy::measure
