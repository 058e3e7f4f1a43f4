// Left against right: correlation, mono fold, width, balance.
#include <algorithm>
#include <array>
#include <cmath>

#include "measure/meter.h"
#include "measure/timelines.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "phase_correlation", .title = "Phase correlation", .group = Group::stereo, .unit = Unit::ratio, .decimals = 3,
     .better = Better::higher,
     .what = "How alike left and right are: +1 the same, 0 unrelated, -1 the same upside down.",
     .how = "Sum of L R over the root of sum of L squared times sum of R squared, whole file, DC removed. Silence adds "
            "nothing.",
     .source = "common practice, no source", .caveat = "Weighted by energy, so the low end and the loud parts decide.",
     .act = "If negative, look for one flipped channel or a widener driven too far."},
    {.id = "min_phase_correlation", .title = "Lowest phase correlation", .group = Group::stereo, .unit = Unit::ratio,
     .decimals = 3, .better = Better::higher, .what = "How alike left and right are in the three seconds where they agree least: -1 is upside down.",
     .how = "Lowest phase correlation over 3 s windows every 100 ms in which each channel's RMS is above -60 dBFS.",
     .source = "common practice, no source", .caveat = "Whether it is meant is not known: a part panned hard to both sides with a delay may go below 0.",
     .act = "Listen to the place named in mono and narrow the part that disappears."},
    {.id = "mono_fold_loss", .title = "Loss in mono", .group = Group::stereo, .unit = Unit::lu, .decimals = 2,
     .better = Better::lower, .what = "How much loudness goes when left and right are folded to mono.",
     .how = "Over the blocks that pass the file's loudness gates: K-weighted level of the file minus that of (L+R)/2 on both "
            "channels. 0 for identical channels, 3 for unrelated or hard-panned ones; capped at 60.",
     .source = "definition", .caveat = "One number for the whole file: a part that vanishes for a moment hardly moves it, see min_phase_correlation. "
               "Beyond 3 LU something cancels.",
     .act = "Find the wide part that cancels: stereo synth, chorus, widener; or flip one channel back."},
    {.id = "side_to_mid", .title = "Side to mid", .group = Group::stereo, .unit = Unit::db, .decimals = 2,
     .what = "How wide the mix is: side over mid.",
     .how = "20 log10 of RMS of (L-R)/2 over RMS of (L+R)/2, whole file, unweighted.", .source = "definition",
     .caveat = "Not weighted for the ear: low, loud sound decides. Above 0 dB the sides outweigh the middle. The floor of -144 dB "
               "stands for no side at all.",
     .act = "If high, bring up what is in the middle or narrow the widest part."},
    {.id = "channel_balance", .title = "Channel balance", .group = Group::stereo, .unit = Unit::db, .decimals = 2,
     .what = "How much louder left is than right.",
     .how = "K-weighted level of left minus right over the blocks that pass the file's loudness gates.",
     .source = "definition", .caveat = "A song may lean on purpose for a while; this is the whole of it.",
     .act = "Check the master panner and whether one side of a stereo part is muted."},
};

constexpr int kWindowHops = 30;
constexpr double kQuietPower = 1e-6;  // −60 dBFS, mean square

// Nothing where a channel holds no more than an offset: what is left of its power without the offset is then the rounding
// of the sums, which grows to some 1e-11 of the whole over a day.
std::optional<double> correlation(const dsp::PairSums& s, double frames) {
  constexpr double kRounding = 1e-10;
  const double ll = s.left_square - s.left * s.left / frames;
  const double rr = s.right_square - s.right * s.right / frames;
  const double lr = s.product - s.left * s.right / frames;
  if (ll <= kRounding * s.left_square || rr <= kRounding * s.right_square) return std::nullopt;
  return std::clamp(lr / std::sqrt(ll * rr), -1.0, 1.0);
}

void add(dsp::PairSums& to, const dsp::PairSums& from) {
  to.left += from.left, to.right += from.right, to.product += from.product;
  to.left_square += from.left_square, to.right_square += from.right_square;
}

class StereoMeter final : public Meter {
 public:
  explicit StereoMeter(const Setup& setup)
      : format_(setup.format), ticks_(setup.format.sample_rate), timelines_(setup.timelines) {}

  [[nodiscard]] bool wants_blocks() const override { return format_.channels == 2; }

  void process(const Block& block) override {
    ticks_.cut(
        block.first_frame, block.frames,
        [&](int offset, int count) { add(hop_, dsp::pair_sums(block.row(0) + offset, block.row(1) + offset, count)); },
        [&] {
          if (ticks_.tick() % 10 == 0) close_hop();
        });
  }

  void publish(Bus& bus) override {
    add(total_, hop_);
    bus.pair = total_;
    if (timelines_ && format_.channels == 2)
      bus.timelines.push_back(bounded_timeline("correlation", "", 0, 0, 0.1, std::move(line_), Merge::lowest, 2));
  }

  void report(const Bus& bus, Report& report) override {
    if (format_.channels != 2) {
      for (const auto& entry : kEntries) report.not_applicable(entry.id, "needs exactly two channels");
      return;
    }
    const double frames = static_cast<double>(bus.frames);
    const bool left = bus.peak[0] > 0, right = bus.peak[1] > 0;
    if (!left || !right) {
      report.not_measured("phase_correlation", left || right ? "one channel is silent" : "silent");
    } else if (const auto r = correlation(total_, frames)) {
      report.value("phase_correlation", *r);
    } else {
      report.not_measured("phase_correlation", "a channel holds nothing but a constant offset");
    }
    if (lowest_ <= 1) {
      auto& m = report.value("min_phase_correlation", lowest_);
      m.where.push_back(place(ticks_.hop_start(lowest_hop_), ticks_.hop_start(lowest_hop_ + kWindowHops), format_.sample_rate));
      m.where_total = 1;
    } else {
      report.not_measured("min_phase_correlation", bus.duration_s < 3
                                                       ? "too short: it needs at least 3 s"
                                                       : "no 3 s in which both channels are above -60 dBFS");
    }
    width(report);
    gated(bus, report);
  }

 private:
  void close_hop() {
    const auto hop = ticks_.tick() / 10;  // closed so far
    ring_[static_cast<std::size_t>((hop - 1) % kWindowHops)] = hop_;
    add(total_, hop_);
    hop_ = {};
    float value = std::nanf("");
    if (hop >= kWindowHops) {
      dsp::PairSums window;
      for (const auto& part : ring_) add(window, part);
      const auto frames = static_cast<double>(ticks_.hop_start(hop) - ticks_.hop_start(hop - kWindowHops));
      // Without their DC: a constant is no sound, and what is left of it after subtraction is rounding.
      const double left = window.left_square - window.left * window.left / frames;
      const double right = window.right_square - window.right * window.right / frames;
      if (left > kQuietPower * frames && right > kQuietPower * frames) {
        const auto r = correlation(window, frames);
        if (r) value = static_cast<float>(*r);
        if (r && *r < lowest_) lowest_ = *r, lowest_hop_ = hop - kWindowHops;
      }
    }
    if (timelines_) line_.push_back(value);
  }

  void width(Report& report) {
    const double mid = std::max(0.0, total_.left_square + total_.right_square + 2 * total_.product);
    const double side = std::max(0.0, total_.left_square + total_.right_square - 2 * total_.product);
    if (mid <= 0 && side <= 0) {
      report.not_measured("side_to_mid", "silent: digital zero throughout");
      return;
    }
    if (mid <= 0) {
      report.value("side_to_mid", -kFloorDb).note = "at or above: there is no mid at all";
      return;
    }
    auto& m = report.value("side_to_mid", power_db(side / mid));
    if (side / mid <= 1e-14) m.note = "at or below: there is no side";
  }

  void gated(const Bus& bus, Report& report) {
    if (!bus.integrated_lufs) {
      report.not_measured("mono_fold_loss", "no block passes the loudness gates");
      report.not_measured("channel_balance", "no block passes the loudness gates");
      return;
    }
    double left = 0, right = 0, product = 0;
    for (std::size_t j = 0; j < bus.gated_blocks.size(); ++j) {
      if (!bus.gated_blocks[j]) continue;
      for (std::size_t k = j; k < j + 4; ++k)
        left += bus.k_left[k], right += bus.k_right[k], product += bus.k_product[k];
    }
    const double fold = (left + right + 2 * product) / 2;
    const double loss = fold > 0 ? 10 * std::log10((left + right) / fold) : 60;
    auto& m = report.value("mono_fold_loss", std::clamp(loss, 0.0, 60.0));
    if (loss >= 60) m.note = "at or above: nothing is left in mono";
    if (left <= 0 || right <= 0) {
      report.value("channel_balance", left > 0 ? -kFloorDb : kFloorDb).note = "one channel is silent";
    } else {
      report.value("channel_balance", std::clamp(10 * std::log10(left / right), kFloorDb, -kFloorDb));
    }
  }

  const audio::StreamFormat format_;
  Ticks ticks_;
  const bool timelines_;
  dsp::PairSums hop_, total_;
  std::array<dsp::PairSums, kWindowHops> ring_;
  double lowest_ = 2;
  std::int64_t lowest_hop_ = 0;
  std::vector<float> line_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<StereoMeter>(setup); }

}  // namespace

extern const MeterModule kStereoModule{kEntries, create};

}  // namespace sendworthy::measure
