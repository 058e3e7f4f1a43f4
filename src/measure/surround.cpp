// Which channel of a surround file is the low one, and how far up it reaches.
#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "audio/walk.h"
#include "dsp/biquad.h"
#include "dsp/spectrum.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "channel_layout_known", .title = "Channel layout said", .group = Group::format, .unit = Unit::boolean,
     .what = "Whether the file says which loudspeaker each channel is for.",
     .how = "Mono and stereo say it by their number. More channels need a mask that fits (extensible WAV), a layout chunk (AIFF, CAF) or a codec "
            "with a fixed order. The layout is in the note.",
     .source = "WAVE extensible format; RFC 9639; Vorbis I, 4.3.9", .caveat = "What is said may still be wrong: channel_order_suspect looks for that.",
     .act = "Export with the channel layout set, as extensible WAV, and not as plain multichannel."},
    {.id = "channel_order_suspect", .title = "Channel order", .group = Group::stereo, .unit = Unit::text,
     .what = "Whether a surround file's channels seem to stand in another order than its layout says.",
     .how = "The LFE is the channel with next to nothing above 500 Hz (35 dB or more under its whole, by a fourth-order high-pass). \"ok\" where the LFE's place holds such a "
            "channel; \"swapped: …\" where it holds a full range (less than 25 dB under) or nothing, and another place alone such a channel; else \"unclear: "
            "…\". Where the file gives no layout, 6 and 8 channels are taken as L R C LFE ….",
     .source = "common practice, no source: a heuristic",
     .caveat = "Only the LFE's place is seen: exchanged fronts and surrounds are not. From one second of sound on.",
     .act = "Listen to each channel alone, and set the order in the export: L R C LFE Ls Rs unless another one is asked for."},
    {.id = "lfe_bandwidth", .title = "LFE bandwidth", .group = Group::stereo, .unit = Unit::hz, .better = Better::lower,
     .what = "How far up the low-frequency channel reaches.",
     .how = "Highest frequency round which a third octave holds no less than the strongest third octave less 30 dB, mean over the file, by "
            "steps of a twelfth of an octave.",
     .source = "common practice, no source: a low-pass of 24 dB an octave at 150 Hz is 30 dB down at 360 Hz",
     .caveat = "It reads up to 80 Hz high where the end is sharp. A long rumble hides a short leak: it is a mean. From one second of sound on.",
     .act = "Put a low-pass at 120 Hz, 24 dB an octave, on the LFE bus."},
};

constexpr int kMostChannels = 16;
constexpr int kLowestRate = 8000, kFewestForOrder = 6;
constexpr double kHighFromHz = 500, kLowOnlyDb = -35, kFullRangeDb = -25, kReachDb = 30;
constexpr double kSilentDbfs = -90, kShortestS = 1;

/// What lies above 500 Hz, and the whole, as sums of squares of up to four channels side by side. A spectrum of each
/// would tell as much at three times the cost.
class TrebleSums {
 public:
  static constexpr int kLanes = 4;
  TrebleSums(int sample_rate, int first, int channels) : first_(first), channels_(channels) {
    const auto sections = dsp::butterworth_high_pass(4, kHighFromHz, sample_rate);
    for (std::size_t i = 0; i < 2; ++i) {
      const auto& c = sections[i];
      b0_[i] = static_cast<float>(c.b0), b1_[i] = static_cast<float>(c.b1), b2_[i] = static_cast<float>(c.b2);
      a1_[i] = static_cast<float>(c.a1), a2_[i] = static_cast<float>(c.a2);
    }
  }

  void process(const Block& block) {
    for (int at = 0; at < block.frames;) {
      // Parts end at the same frames of the stream however it is cut into blocks.
      const int count = std::min(kPart - in_part_, block.frames - at);
      run(block, at, count);
      at += count, in_part_ += count;
      if (in_part_ == kPart) close();
    }
  }
  void close() {
    for (std::size_t c = 0; c < kLanes; ++c) high_[c] += static_cast<double>(part_high_[c]), whole_[c] += static_cast<double>(part_whole_[c]);
    part_high_ = part_whole_ = Lanes{};
    in_part_ = 0;
    // What has decayed to nothing is set to nothing: arithmetic on denormal numbers is many times slower.
    for (auto* state : {&s1_[0], &s2_[0], &s1_[1], &s2_[1]}) {
      for (std::size_t c = 0; c < kLanes; ++c)
        if (std::abs((*state)[c]) < 1e-20f) (*state)[c] = 0;
    }
  }

  [[nodiscard]] double high(int channel) const { return high_[static_cast<std::size_t>(channel - first_)]; }
  [[nodiscard]] double whole(int channel) const { return whole_[static_cast<std::size_t>(channel - first_)]; }

 private:
  // The compilers' own vector type, as it is the same on every processor.
  using Lanes = float __attribute__((vector_size(sizeof(float) * kLanes)));
  static constexpr int kPart = 256;

  void run(const Block& block, int from, int count) {
    const float* rows[kLanes];
    for (int c = 0; c < kLanes; ++c) rows[c] = block.row(first_ + std::min(c, channels_ - 1)) + from;
    Lanes p0 = s1_[0], p1 = s2_[0], q0 = s1_[1], q1 = s2_[1], high = part_high_, whole = part_whole_;
    for (int n = 0; n < count; ++n) {
      const Lanes x{rows[0][n], rows[1][n], rows[2][n], rows[3][n]};
      const Lanes y = b0_[0] * x + p0;
      p0 = b1_[0] * x - a1_[0] * y + p1;
      p1 = b2_[0] * x - a2_[0] * y;
      const Lanes z = b0_[1] * y + q0;
      q0 = b1_[1] * y - a1_[1] * z + q1;
      q1 = b2_[1] * y - a2_[1] * z;
      high += z * z;
      whole += x * x;
    }
    s1_[0] = p0, s2_[0] = p1, s1_[1] = q0, s2_[1] = q1, part_high_ = high, part_whole_ = whole;
  }

  const int first_, channels_;
  float b0_[2], b1_[2], b2_[2], a1_[2], a2_[2];
  Lanes s1_[2]{}, s2_[2]{}, part_high_{}, part_whole_{};
  double high_[kLanes]{}, whole_[kLanes]{};
  int in_part_ = 0;
};

class SurroundMeter final : public Meter {
 public:
  explicit SurroundMeter(const Setup& setup) : format_(setup.format) {
    for (int c = 0; c < format_.channels && c < std::ssize(format_.speakers); ++c)
      if (format_.speakers[static_cast<std::size_t>(c)] == audio::Speaker::lfe && lfe_ < 0) lfe_ = c;
    // The order of WAV, by ITU-R BS.775 and SMPTE: the fourth.
    if (lfe_ < 0 && !format_.layout_known && (format_.channels == 6 || format_.channels == 8)) lfe_ = 3, assumed_ = true;
    if (!wants_blocks()) return;
    spectra_ = std::make_unique<dsp::Spectra>(format_.sample_rate, 1);
    bands_ = std::make_unique<dsp::BandSpectrum>(*spectra_);
    if (format_.channels < kFewestForOrder) return;
    for (int c = 0; c < format_.channels; c += TrebleSums::kLanes)
      sums_.push_back(std::make_unique<TrebleSums>(format_.sample_rate, c, std::min(TrebleSums::kLanes, format_.channels - c)));
  }

  [[nodiscard]] bool wants_blocks() const override {
    return lfe_ >= 0 && format_.channels <= kMostChannels && format_.sample_rate >= kLowestRate;
  }

  void process(const Block& block) override {
    spectra_->push(block.row(lfe_), block.stride, block.frames);
    take_spectra();
    for (auto& sums : sums_) sums->process(block);
  }

  void report(const Bus& bus, Report& report) override {
    report.value("channel_layout_known", format_.layout_known).note = format_.layout;
    if (auto reason = unfit(); !reason.empty()) {
      report.not_applicable("channel_order_suspect", reason);
      report.not_applicable("lfe_bandwidth", reason);
      return;
    }
    if (bus.duration_s < kShortestS) {
      report.not_measured("channel_order_suspect", "shorter than a second");
      report.not_measured("lfe_bandwidth", "shorter than a second");
      return;
    }
    spectra_->pad();
    take_spectra();
    for (auto& sums : sums_) sums->close();
    bandwidth(bus, report);
    if (format_.channels < kFewestForOrder)
      report.not_applicable("channel_order_suspect", "fewer than six channels");
    else
      order(bus, report);
  }

 private:
  void take_spectra() {
    while (spectra_->ready()) bands_->add(spectra_->take());
  }

  std::string unfit() const {
    if (format_.channels < 3) return "no surround channels";
    if (format_.channels > kMostChannels) return fmt::format("more than {} channels", kMostChannels);
    if (format_.sample_rate < kLowestRate) return fmt::format("below {} Hz there is no treble to tell channels apart by", kLowestRate);
    if (lfe_ < 0) return format_.layout_known ? "the layout has no LFE" : "the file does not say which channel is the LFE";
    return {};
  }

  static bool silent(const Bus& bus, int channel) { return amplitude_db(bus.peak[static_cast<std::size_t>(channel)]) < kSilentDbfs; }

  std::string assumption() const { return assumed_ ? "the file gives no layout; the fourth channel is taken for the LFE" : ""; }

  void bandwidth(const Bus& bus, Report& report) {
    if (silent(bus, lfe_)) {
      report.not_measured("lfe_bandwidth", "the LFE is silent").note = assumption();
      return;
    }
    const auto& spectrum = *bands_;
    const double half_band = std::pow(2.0, 1.0 / 6), step = std::pow(2.0, 1.0 / 12);
    const double top = 0.45 * format_.sample_rate;
    const auto band = [&](double hz) { return spectrum.line_power(hz / half_band, hz * half_band) * hz; };
    double most = 0;
    for (double hz = 20; hz <= top; hz *= step) most = std::max(most, band(hz));
    double reach = 20;
    for (double hz = 20; hz <= top; hz *= step)
      if (band(hz) >= most * std::pow(10, -kReachDb / 10)) reach = hz;
    report.value("lfe_bandwidth", reach).note = assumption();
  }

  // What lies above 500 Hz against the whole, dB; nothing for a silent channel.
  std::optional<double> high_share_db(const Bus& bus, int channel) const {
    if (silent(bus, channel)) return std::nullopt;
    const auto& sums = *sums_[static_cast<std::size_t>(channel / TrebleSums::kLanes)];
    const double whole = sums.whole(channel);
    return whole > 0 ? std::optional(power_db(sums.high(channel) / whole)) : std::nullopt;
  }

  void order(const Bus& bus, Report& report) {
    std::vector<int> low_only;
    for (int c = 0; c < format_.channels; ++c)
      if (const auto share = high_share_db(bus, c); share && *share <= kLowOnlyDb) low_only.push_back(c);
    const auto own = high_share_db(bus, lfe_);
    const bool right = std::find(low_only.begin(), low_only.end(), lfe_) != low_only.end();
    if (right) {
      report.value("channel_order_suspect", std::string("ok")).note = assumption();
      return;
    }
    if (!own && low_only.size() != 1) {
      report.not_measured("channel_order_suspect", "the LFE is silent, so nothing tells the order").note = assumption();
      return;
    }
    auto text = std::string();
    if (low_only.size() == 1 && (!own || *own > kFullRangeDb)) {
      text = fmt::format("swapped: channel {} holds only bass, and channel {}, the LFE's place, {}{}", low_only.front() + 1, lfe_ + 1,
                         own ? "a full range" : "nothing", known_order(low_only.front()));
    } else if (low_only.empty()) {
      text = fmt::format("unclear: no channel holds only bass; channel {}, the LFE's place, reaches up", lfe_ + 1);
    } else {
      text = fmt::format("unclear: channel {}, the LFE's place, reaches up", lfe_ + 1);
    }
    report.value("channel_order_suspect", text).note = assumption();
  }

  std::string known_order(int low) const {
    if (format_.channels == 6 && low == 5) return ": as in the order L C R Ls Rs LFE";
    if (format_.channels == 6 && low == 3) return ": as in the order L R C LFE Ls Rs";
    if (format_.channels == 8 && low == 7) return ": as in the order L C R Ls Rs Lb Rb LFE";
    if (format_.channels == 8 && low == 3) return ": as in the order L R C LFE Lb Rb Ls Rs";
    return {};
  }

  const audio::StreamFormat format_;
  int lfe_ = -1;
  bool assumed_ = false;
  std::unique_ptr<dsp::Spectra> spectra_;       ///< of the LFE
  std::unique_ptr<dsp::BandSpectrum> bands_;
  std::vector<std::unique_ptr<TrebleSums>> sums_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<SurroundMeter>(setup); }

}  // namespace

extern const MeterModule kSurroundModule{kEntries, create};

}  // namespace sendworthy::measure
