// Whole channels: silent, copied, flipped, the same.
#include <algorithm>
#include <cmath>
#include <numeric>
#include <string>

#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr Parameter kSilent[] = {{.name = "threshold_dbfs", .unit = "dBFS", .fallback = -90, .lowest = -144, .highest = -20,
                                  .what = "a channel whose peak stays below this is silent"}};

constexpr CatalogEntry kEntries[] = {
    {.id = "dual_mono", .title = "Both channels the same", .group = Group::stereo, .unit = Unit::boolean,
     .what = "Whether a stereo file is really mono on two channels.",
     .how = "Left equals right to the bit, or the difference lies at least 60 dB under the sum (\"nearly\" in the note).",
     .source = "definition", .caveat = "Whether mono was meant only you know. Two channels that differ by a level alone are not found.", .act = "Check that the pan pots and the bus were stereo at export."},
    {.id = "silent_channels", .title = "Silent channels", .group = Group::stereo, .unit = Unit::count,
     .better = Better::lower, .what = "Channels with nothing on them while another plays.",
     .how = "Number of channels whose sample peak stays below threshold_dbfs while another channel's does not.",
     .source = "definition", .caveat = "Whether a channel is silent on purpose is not known: an LFE or a surround channel often is.",
     .act = "Check the routing of the export, and whether both sides of the bus are connected.", .parameters = kSilent},
    {.id = "copied_channels", .title = "Copied channels", .group = Group::stereo, .unit = Unit::count,
     .better = Better::lower, .what = "Channels that are a copy of another.",
     .how = "Number of channels, silent ones aside, that equal an earlier channel to the bit; in files of more than two channels and "
            "integer samples also those that never stand more than 3 steps of the word apart, as dither makes them, and reach 256 "
            "steps.",
     .source = "definition",
     .caveat = "A copy at another level, or delayed, is not found. In a stereo file this is dual mono to the bit.", .act = "Check which bus feeds which channel."},
    {.id = "inverted_channel", .title = "One channel upside down", .group = Group::stereo, .unit = Unit::boolean,
     .what = "Whether one channel is the other with its polarity flipped.",
     .how = "Left equals minus right to the bit; or at least 6 LU go in mono and phase correlation is -0.7 or less over all with "
            "-0.4 or less below 120 Hz, or -0.5 or less with -0.8 or less; -0.8 or less over all where nothing is below 120 Hz. "
            "A heuristic.",
     .source = "common practice, no source: limits chosen on packaged music, as it is and with one side flipped",
     .caveat = "Wide synthesisers alone reach about -0.3, a few -0.7, but with a low end that holds together. A flipped mix as "
               "wide as that is not told from them.",
     .act = "Flip the polarity of one channel: check cables, the bus and the last plug-ins for a polarity switch."},
};

// Equally loud channels of correlation -0.5 lose this much; noise whose lows alone are opposed loses less, weighted for the ear.
constexpr double kFlippedLossLu = 6;
// Two copies, each with triangular dither of its own, stand at most so far apart; whole sound reaches far beyond it.
constexpr int kDitherSteps = 3, kFewestSteps = 256;

class ChannelMeter final : public Meter {
 public:
  explicit ChannelMeter(const Setup& setup)
      : format_(setup.format), thresholds_(setup.variants("silent_channels")),
        leader_(static_cast<std::size_t>(setup.format.channels), 0),
        near_(leader_),
        look_near_(setup.format.channels > 2 && setup.format.kind == audio::SampleKind::integer && !setup.format.lossy),
        step_(std::int64_t{1} << (32 - std::clamp(setup.format.container_bits, 8, 32))) {}

  [[nodiscard]] bool wants_blocks() const override { return format_.channels > 1; }

  void process(const Block& block) override {
    if (block.codes != nullptr) {
      compare(block.codes, block.frames);
      if (look_near_) sort_apart(near_, block.codes, block.frames, kDitherSteps * step_);
    } else {
      compare(block.reals, block.frames);
    }
  }

  void report(const Bus& bus, Report& report) override {
    const int channels = format_.channels;
    if (channels == 1) {
      for (const auto& entry : kEntries) report.not_applicable(entry.id, "one channel only");
      for (const auto& variant : thresholds_)
        if (!variant.empty()) report.not_applicable("silent_channels", "one channel only", variant);
      return;
    }
    for (const auto& variant : thresholds_) silent(bus, variant, report);
    int copies = 0;
    std::string which;
    for (int c = 1; c < channels; ++c) {
      const auto at = static_cast<std::size_t>(c);
      const bool nearly = leader_[at] == c && near_[at] != c && look_near_ && bus.peak[at] * 0x1p31 >= static_cast<double>(kFewestSteps * step_);
      if ((leader_[at] == c && !nearly) || bus.peak[at] <= 0) continue;
      ++copies;
      which += (which.empty() ? "" : ", ") + std::to_string(c + 1) + " = " + std::to_string((nearly ? near_ : leader_)[at] + 1) +
               (nearly ? " but for dither" : "");
    }
    report.value("copied_channels", static_cast<double>(copies)).note = copies > 0 ? "channels " + which : "";
    if (channels != 2) {
      report.not_applicable("dual_mono", "needs exactly two channels");
      report.not_applicable("inverted_channel", "needs exactly two channels");
      return;
    }
    stereo(bus, report);
  }

 private:
  // Channels that have been equal so far share a leader, the first of them. A channel that differs in this block leaves;
  // those that leave together and are still equal to each other stay together.
  template <class T>
  void compare(const T* x, int frames) {
    const int channels = format_.channels;
    if (channels == 2 && leader_[1] == 1 && !negated_) return;
    sort_apart(leader_, x, frames, 0);
    if (channels == 2 && negated_) {
      for (int n = 0; n < frames && negated_; ++n) negated_ = opposite(x[2 * n], x[2 * n + 1]);
    }
  }

  template <class T>
  void sort_apart(std::vector<int>& leaders, const T* x, int frames, std::int64_t within) const {
    const int channels = format_.channels;
    const auto same = [&](int a, int b) {
      for (int n = 0; n < frames; ++n) {
        const auto* frame = x + static_cast<std::int64_t>(n) * channels;
        if (!alike(heard(frame[a]), heard(frame[b]), within)) return false;
      }
      return true;
    };
    auto now = leaders;
    for (int c = 1; c < channels; ++c) {
      const auto at = static_cast<std::size_t>(c);
      if (leaders[at] == c || same(leaders[at], c)) continue;
      now[at] = c;
      for (int other = 0; other < c; ++other) {
        const auto o = static_cast<std::size_t>(other);
        if (leaders[o] == leaders[at] && now[o] == other && other != leaders[at] && same(other, c)) {
          now[at] = other;
          break;
        }
      }
    }
    leaders = std::move(now);
  }
  static bool alike(std::int32_t a, std::int32_t b, std::int64_t within) { return std::abs(std::int64_t{a} - b) <= within; }
  static bool alike(double a, double b, std::int64_t) { return a == b; }

  // NaN and infinities count as 0 here too, as in every other meter.
  static std::int32_t heard(std::int32_t v) { return v; }
  static double heard(double v) { return std::isfinite(v) ? v : 0; }

  // The lowest code has no opposite; a flip at export turns it into the highest.
  static bool opposite(std::int32_t a, std::int32_t b) {
    const std::int64_t sum = static_cast<std::int64_t>(a) + b;
    if (sum == 0) return true;
    return sum < 0 && (a == INT32_MIN || b == INT32_MIN) && sum >= -(std::int64_t{1} << 24);
  }
  static bool opposite(double a, double b) { return heard(a) == -heard(b); }

  void silent(const Bus& bus, const Parameters& variant, Report& report) {
    const double threshold = number_in(variant, "threshold_dbfs", kSilent[0].fallback);
    int quiet = 0;
    std::string which;
    for (std::size_t c = 0; c < bus.peak.size(); ++c) {
      if (amplitude_db(bus.peak[c]) >= threshold && bus.peak[c] > 0) continue;
      ++quiet;
      which += (which.empty() ? "channel " : ", ") + std::to_string(c + 1);
    }
    // When nothing plays at all the file is silent, which is another finding.
    if (quiet == static_cast<int>(bus.peak.size())) {
      report.value("silent_channels", 0.0, variant).note = "every channel is silent";
      return;
    }
    report.value("silent_channels", static_cast<double>(quiet), variant).note = which;
  }

  void stereo(const Bus& bus, Report& report) {
    const auto& p = bus.pair;
    const double mid = std::max(0.0, p.left_square + p.right_square + 2 * p.product);
    const double side = std::max(0.0, p.left_square + p.right_square - 2 * p.product);
    if (bus.peak[0] <= 0 && bus.peak[1] <= 0) {
      report.not_measured("dual_mono", "silent: digital zero throughout");
      report.not_measured("inverted_channel", "silent: digital zero throughout");
      return;
    }
    const bool identical = leader_[1] == 0;
    const bool nearly = !identical && mid > 0 && side <= 1e-6 * mid;
    auto& dual = report.value("dual_mono", identical || nearly);
    if (identical) dual.note = "identical to the bit";
    if (nearly) {
      const double under = side > 0 ? -10 * std::log10(side / mid) : -kFloorDb;
      dual.note = "nearly: the difference lies " +
                  (under < -kFloorDb ? base::fixed(under, 1) : "more than " + base::fixed(-kFloorDb, 0)) + " dB under the sum";
    }
    if (negated_) {
      report.value("inverted_channel", true).note = "to the bit";
      return;
    }
    const double* whole = reading(report, "phase_correlation");
    const double* low = reading(report, "low_phase_correlation");
    const double* loss = reading(report, "mono_fold_loss");
    const bool flipped = whole != nullptr && loss != nullptr && *loss >= kFlippedLossLu && opposed(*whole, low);
    report.value("inverted_channel", flipped);
  }

  // A widener turns over the highs, a low end upside down cannot be meant; and the wider the mix was before the flip, the more
  // of it must show down there.
  static bool opposed(double whole, const double* low) {
    if (low == nullptr) return whole <= -0.8;
    return (whole <= -0.7 && *low <= -0.4) || (whole <= -0.5 && *low <= -0.8);
  }

  // Those meters stand earlier in the list, so their readings are there.
  static const double* reading(const Report& report, std::string_view key) {
    for (const auto& m : report.measurements) {
      if (m.key != key) continue;
      if (const auto* value = std::get_if<Value>(&m.outcome)) return std::get_if<double>(value);
    }
    return nullptr;
  }

  const audio::StreamFormat format_;
  const std::vector<Parameters> thresholds_;
  std::vector<int> leader_, near_;  ///< the first of those that are equal so far; that differ by dither at most
  const bool look_near_;
  const std::int64_t step_;         ///< of the word, in codes
  bool negated_ = true;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<ChannelMeter>(setup); }

}  // namespace

extern const MeterModule kChannelModule{kEntries, create};

}  // namespace sendworthy::measure
