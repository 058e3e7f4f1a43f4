#include "pair/null.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>
#include <utility>

#include "base/text.h"
#include "dsp/fourier.h"
#include "dsp/planar.h"
#include "pair/delayed.h"
#include "pair/null_gain.h"

namespace sendworthy::pair {
namespace {

constexpr double kBlockS = 0.01;
constexpr std::int64_t kChunk = 16384;
constexpr double kExplained = 0.5;      // of what is left, by a shift
constexpr int kRefinements = 4;
constexpr std::int64_t kFitBlocks = 16, kMostPieces = 1 << 16;
constexpr int kMostBlocks = 1 << 20;    // three hours of 10 ms; longer files get longer blocks
constexpr std::int64_t kLongestLevel = 1 << 20;          // frames of a piece that are looked at
constexpr double kLevelRest = 1e-4, kSameLevelDb = 0.05;
constexpr double kFloorDb = -144;
constexpr double kOverUsualDb = 15, kIslandLeastDb = -50, kConvertedLeastDb = -40, kEqualDb = -100, kSoft = 1e-5;  // soft blocks are held against the loud ones less 50 dB
constexpr double kJoinS = 0.15, kSeamDb = -30;
constexpr std::int64_t kFurthestBack = 1 << 21;  // frames
constexpr double kConverterCut = 0.75;  // times half the lower rate, where the filter lies 6 dB down
constexpr double kQuanta = 4;           // mean square in steps: both dithered, and what gain leaves
constexpr double kOverUsualLeftDb = 15; // over what is usually left, as a level
constexpr std::int64_t kFilterEdge = 4 * kDelayTaps;  // frames
constexpr std::int64_t kLeastFiltered = 4096;
constexpr double kHeard = 1e-8;  // −80 dBFS: of what only one file has
constexpr double kLastOctave = 0.45;
constexpr int kSpectrum = 4096;
constexpr double kSwapClearly = 0.8;    // energy left with channels changed about, over that without
constexpr std::size_t kMostTimes = 4096, kMostIslands = 256;

double db(double ratio) { return ratio <= 0 ? kFloorDb : std::max(kFloorDb, 10 * std::log10(ratio)); }

class Nuller {
 public:
  Nuller(Reader old_file, Reader new_file, const std::string& new_path, const Alignment& alignment, const Hooks& hooks)
      : old_(std::move(old_file)), new_(std::move(new_file)), new_path_(new_path), alignment_(alignment), hooks_(hooks),
        block_(std::max<std::int64_t>({1, std::llround(kBlockS * alignment.rate), alignment.old_frames / kMostBlocks})) {
    stretches_ = alignment.stretches;
    if (!stretches_.empty()) {
      // What lies before the first window that fits and behind the last is held against the other file too.
      stretches_.front().from = 0;
      stretches_.back().to = alignment.old_frames;
    }
    // Too short for a filter, and for a fraction of a frame to mean something.
    if (alignment.old_frames < kLeastFiltered) {
      for (auto& one : stretches_) one.lag = std::round(one.lag);
    }
    blocks_ = static_cast<std::size_t>(alignment.old_frames / block_ + 1);
    // Converters differ near the top; below, they must not.
    if (old_.step() != 1 || new_.step() != 1) cut_ = kConverterCut;
    // A lag between whole frames is read by a filter that fails near the top as well.
    for (const auto& one : stretches_) {
      if (std::abs(one.lag - std::round(one.lag)) >= kWholeFrame) cut_ = kConverterCut;
    }
    null_.exact = cut_ == 1;
    for (const auto* file : {&old_, &new_}) {
      const auto& format = file->format();
      null_.exact = null_.exact && !format.lossy && format.container_bits <= (format.kind == audio::SampleKind::real ? 32 : 24);
      const int bits = format.lossy || format.kind == audio::SampleKind::real ? 24 : std::clamp(format.container_bits, 8, 24);
      const double step = std::ldexp(1.0, 1 - bits);
      quantum_ = std::max(quantum_, step * step);
    }
    channels_ = std::max(old_.channels(), new_.channels());
  }

  Result<Null> run() {
    fit();
    for (int round = 0; round < kRefinements && refine(); ++round) fit();
    residual();
    if (set_limit()) {
      if (stretches_.size() > 1) {
        find_seams();
        residual();
      }
      find_islands();
      spectra();
    }
    if (hooks_.stop != nullptr && hooks_.stop->load(std::memory_order_relaxed)) return fail(ErrorCode::interrupted, "interrupted");
    for (auto* file : {&old_, &new_}) {
      if (file->error()) return tl::unexpected(*file->error());
    }
    null_.speed = alignment_.speed;
    null_.step = std::sqrt(quantum_), null_.floor_dbfs = db(kQuanta * quantum_), null_.converted = old_.step() != 1 || new_.step() != 1;
    null_.stretches = stretches_;
    return null_;
  }

 private:
  // Channel c of the new file stands for this one of the old.
  [[nodiscard]] std::size_t partner(int c) const {
    const int other = null_.mapping.swapped && c < 2 ? 1 - c : c;
    return static_cast<std::size_t>(std::min(other, old_.channels() - 1));
  }
  [[nodiscard]] static const std::vector<float>& row(const Rows& rows, int c) {
    return rows[std::min(static_cast<std::size_t>(c), rows.size() - 1)];
  }

  template <class Take>
  void each_chunk(const Stretch& stretch, double from_share, double share, Take take) {
    Delayed now(old_, 0, cut_), later(new_, stretch.lag, cut_);
    // A whole number of blocks at a time, which all lie on one grid.
    const auto chunk = std::max<std::int64_t>(1, kChunk / block_) * block_;
    for (auto at = stretch.from / block_ * block_; at < stretch.to; at += chunk) {
      if (hooks_.stop != nullptr && hooks_.stop->load(std::memory_order_relaxed)) return;
      const auto frames = std::min(chunk, (stretch.to - at + block_ - 1) / block_ * block_);
      now.read(at, frames, a_);
      later.read(at, frames, b_);
      take(at, frames);
      if (hooks_.progress) hooks_.progress(from_share + share * static_cast<double>(at) / static_cast<double>(std::max<std::int64_t>(1, alignment_.old_frames)));
    }
  }

  // Least squares piece by piece; pieces that the usual gain does not explain are left out of the second round, so that an edit
  // does not bend the gain of everything else.
  void fit() {
    // By channel; as many pieces as an hour has, or longer ones.
    std::vector<std::vector<PieceSums>> pieces(static_cast<std::size_t>(channels_));
    const bool two = channels_ == 2 && old_.channels() == 2 && new_.channels() == 2;
    const auto piece = std::max<std::int64_t>(kFitBlocks, static_cast<std::int64_t>(blocks_) / kMostPieces) * block_;
    std::vector<std::size_t> first_piece;
    to_the_sample_.assign(stretches_.size(), true);
    for (const auto& stretch : stretches_) {
      first_piece.push_back(pieces.front().size());
      each_chunk(stretch, 0.8, 0.1, [&](std::int64_t, std::int64_t frames) {
        for (std::int64_t from = 0; from < frames; from += piece) {
          const auto count = static_cast<int>(std::min(piece, frames - from));
          for (int c = 0; c < channels_; ++c) {
            const auto pair = dsp::pair_sums(row(a_, c).data() + from, row(b_, c).data() + from, count);
            PieceSums sums{pair.left_square, pair.right_square, pair.product};
            if (two) sums.crossed = dsp::pair_sums(row(a_, 1 - c).data() + from, row(b_, c).data() + from, count).product;
            pieces[static_cast<std::size_t>(c)].push_back(sums);
          }
        }
      });
    }
    first_piece.push_back(pieces.front().size());
    null_.mapping = {};
    if (two) {
      const auto left = [&](bool swapped) {
        double sum = 0;
        for (std::size_t c = 0; c < 2; ++c) {
          for (std::size_t i = 0; i < pieces[c].size(); ++i) {
            const double square = pieces[swapped ? 1 - c : c][i].old_square, product = swapped ? pieces[c][i].crossed : pieces[c][i].straight;
            sum += square > 0 ? pieces[c][i].new_square - product * product / square : pieces[c][i].new_square;
          }
        }
        return sum;
      };
      const double straight = left(false);
      // Not for a passage alone, loud as it may be.
      const bool in_place = half_are_equal(pieces[0], static_cast<double>(piece)) && half_are_equal(pieces[1], static_cast<double>(piece));
      null_.mapping.swapped = straight > 0 && !in_place && left(true) < kSwapClearly * straight;
    }
    for (std::size_t c = 0; c < pieces.size(); ++c) {
      // The old channel's own energies stand beside the new channel's.
      auto mine = pieces[c];
      if (null_.mapping.swapped && c < 2) {
        for (std::size_t i = 0; i < mine.size(); ++i) mine[i].old_square = pieces[1 - c][i].old_square, mine[i].straight = mine[i].crossed;
      }
      const auto heard = std::ranges::any_of(mine, [&](const PieceSums& one) { return is_heard(one, static_cast<double>(piece)); });
      null_.mapping.known.push_back(heard);
      null_.mapping.gains.push_back(heard ? gain_of(mine, static_cast<double>(piece)) : 1);
      // Of each stretch by itself: behind a cut the lag may lie between frames where it did not before.
      for (std::size_t s = 0; s < stretches_.size(); ++s) {
        const std::span here(mine.data() + first_piece[s], first_piece[s + 1] - first_piece[s]);
        if (heard && !half_are_equal(here, static_cast<double>(piece))) to_the_sample_[s] = false;
      }
    }
  }

  // What is left of two sounds that lie e frames apart is the slope of the first, times e: by least squares, piece by piece, for
  // every stretch. False where nothing is to be mended.
  bool refine() {
    bool mended = false;
    for (auto& stretch : stretches_) {
      if (to_the_sample_[static_cast<std::size_t>(&stretch - stretches_.data())]) continue;
      struct Piece {
        double at, product, slope, rest;
      };
      std::vector<Piece> pieces;
      each_chunk(stretch, 0.92, 0, [&](std::int64_t at, std::int64_t frames) {
        Piece piece{static_cast<double>(at + frames / 2), 0, 0, 0};
        for (int c = 0; c < channels_; ++c) {
          const auto gain = static_cast<float>(null_.mapping.gains[static_cast<std::size_t>(c)]);
          const float* a = a_[partner(c)].data();
          const float* b = row(b_, c).data();
          slope_.assign(static_cast<std::size_t>(frames), 0.0f), rest_.assign(static_cast<std::size_t>(frames), 0.0f);
          for (std::int64_t n = 1; n + 1 < frames; ++n) {
            slope_[static_cast<std::size_t>(n)] = gain * 0.5f * (a[n + 1] - a[n - 1]);
            rest_[static_cast<std::size_t>(n)] = b[n] - gain * a[n];
          }
          const auto sums = dsp::pair_sums(slope_.data(), rest_.data(), static_cast<int>(frames));
          piece.product += sums.product, piece.slope += sums.left_square, piece.rest += sums.right_square;
        }
        // Where more is left than a shift explains there is an edit.
        if (piece.slope > 0 && piece.product * piece.product >= kExplained * piece.slope * piece.rest) pieces.push_back(piece);
      });
      if (pieces.empty()) continue;
      double weight = 0, x = 0, y = 0, xx = 0, xy = 0;
      for (const auto& piece : pieces) {
        const double off = std::clamp(piece.product / piece.slope, -1.0, 1.0), w = piece.slope;
        weight += w, x += w * piece.at, y += w * off, xx += w * piece.at * piece.at, xy += w * piece.at * off;
      }
      const double spread = weight * xx - x * x;
      const double slope = new_.step() != 1 && stretches_.size() == 1 && pieces.size() >= 8 && spread > 0 ? (weight * xy - x * y) / spread : 0;
      const double off = (y - slope * x) / weight;
      if (std::abs(off) < kWholeFrame && std::abs(slope) * static_cast<double>(alignment_.old_frames) < kWholeFrame) continue;
      // b(n + lag) = a(n + off + slope·n): time of the new file runs that much slower.
      stretch.lag -= off;
      if (slope != 0) {
        alignment_.speed /= 1 + slope;
        auto again = open_new(new_path_, alignment_);
        if (!again) return false;
        new_ = std::move(*again);
      }
      mended = true;
    }
    return mended;
  }

  void residual() {
    expected_.assign(blocks_, 0.0f), left_.assign(blocks_, 0.0f), paired_.assign(blocks_, 0), absent_.assign(blocks_, 0), largest_.assign(blocks_, 0.0f);
    for (const auto& stretch : stretches_) {
      each_chunk(stretch, 0.92, 0.04, [&](std::int64_t at, std::int64_t frames) {
        for (int c = 0; c < channels_; ++c) {
          const auto gain = static_cast<float>(null_.mapping.gains[static_cast<std::size_t>(c)]);
          const float* a = a_[partner(c)].data();
          const float* b = row(b_, c).data();
          rest_.resize(static_cast<std::size_t>(frames));
          for (std::int64_t n = 0; n < frames; ++n) rest_[static_cast<std::size_t>(n)] = b[n] - gain * a[n];
          for (std::int64_t from = 0; from < frames; from += block_) {
            const auto index = static_cast<std::size_t>((at + from) / block_);
            // What the new file holds behind the old one's end is looked at by itself.
            const auto count = static_cast<int>(std::min({block_, frames - from, alignment_.old_frames - at - from}));
            if (index >= blocks_ || count <= 0) break;
            // Filters see an edge of the file that the other file may not have.
            const auto edge = std::min(at + from, alignment_.old_frames - at - from - count);
            if (cut_ != 1 && edge < kFilterEdge) continue;
            const auto sound = dsp::row_sums(a + from, count), rest = dsp::row_sums(rest_.data() + from, count);
            expected_[index] += static_cast<float>(static_cast<double>(gain) * static_cast<double>(gain) * sound.square);
            left_[index] += static_cast<float>(rest.square);
            largest_[index] = std::max(largest_[index], static_cast<float>(rest.peak));
            paired_[index] = 1;
            const auto there = at + from + std::llround(stretch.lag);
            absent_[index] = there + count <= 0 || there >= alignment_.new_frames;
          }
        }
      });
    }
  }

  // From where on a block differs. False where nothing was paired.
  bool set_limit() {
    // A soft block is held against the loud ones, so that noise under a fade is no difference.
    std::vector<float> loud;
    for (std::size_t i = 0; i < blocks_; ++i) {
      if (paired_[i] && !absent_[i]) loud.push_back(expected_[i]);
    }
    if (loud.empty()) return false;
    const auto high = loud.begin() + static_cast<std::ptrdiff_t>(0.95 * static_cast<double>(loud.size() - 1));
    std::nth_element(loud.begin(), high, loud.end());
    soft_ = static_cast<double>(*high) * kSoft + 1e-20;
    std::vector<double> depth;
    for (std::size_t i = 0; i < blocks_; ++i) {
      if (paired_[i] && !absent_[i] && static_cast<double>(expected_[i]) > soft_) depth.push_back(db(static_cast<double>(left_[i]) / static_cast<double>(expected_[i])));
    }
    // The better quarter tells what is usual, since half of a song may differ. What is equal to the last bit shows less.
    std::sort(depth.begin(), depth.end());
    const double usual = depth.empty() ? 0 : depth[depth.size() / 4];
    limit_ = std::max(cut_ != 1 ? kConvertedLeastDb : usual <= kEqualDb ? kEqualDb + kOverUsualDb : kIslandLeastDb, usual + kOverUsualDb);
    std::vector<double> rest;
    for (std::size_t i = 0; i < blocks_; ++i) {
      if (paired_[i] && !absent_[i]) rest.push_back(static_cast<double>(left_[i]));
    }
    std::sort(rest.begin(), rest.end());
    const double usually_left = rest.empty() ? 0 : rest[rest.size() / 4];
    least_ = std::max(kQuanta * quantum_ * static_cast<double>(block_ * channels_), usually_left * std::pow(10, kOverUsualLeftDb / 10));
    return true;
  }

  [[nodiscard]] bool parts(double rest, double sound, double limit_db) const {
    return rest > least_ && db(rest / std::max(soft_, sound)) > limit_db;
  }

  void find_islands() {
    differs_.assign(blocks_, false);
    for (std::size_t i = 0; i < blocks_; ++i) {
      if (paired_[i]) differs_[i] = parts(static_cast<double>(left_[i]), static_cast<double>(expected_[i]), limit_);
    }
    auto marked = differs_;
    // Silence goes with the sound that is missing before or behind it.
    for (std::size_t i = 0; i < blocks_;) {
      std::size_t end = i;
      while (end < blocks_ && absent_[end]) ++end;
      if (std::find(differs_.begin() + static_cast<std::ptrdiff_t>(i), differs_.begin() + static_cast<std::ptrdiff_t>(end), true) != differs_.begin() + static_cast<std::ptrdiff_t>(end))
        std::fill(marked.begin() + static_cast<std::ptrdiff_t>(i), marked.begin() + static_cast<std::ptrdiff_t>(end), true);
      i = std::max(i + 1, end);
    }
    for (const auto& [from, to] : seams_) {
      for (auto k = from; k < std::max(to, from + 1) && k < blocks_; ++k) marked[k] = true;
    }
    const auto join = static_cast<std::size_t>(std::max(1.0, kJoinS * alignment_.rate / static_cast<double>(block_)));
    for (std::size_t i = 0; i < blocks_; ++i) {
      if (!marked[i]) continue;
      std::size_t end = i + 1;
      for (std::size_t k = end; k < blocks_ && k < end + join; ++k) {
        if (marked[k]) end = k + 1;
      }
      const auto from = static_cast<std::int64_t>(i) * block_, to = std::min(static_cast<std::int64_t>(end) * block_, alignment_.old_frames);
      const bool seam_alone = end == i + 1 && std::ranges::any_of(seams_, [&](const auto& seam) { return seam.first == i && seam.second == i; });
      const auto there = [&](std::int64_t frame) { return std::clamp<std::int64_t>(frame, 0, alignment_.new_frames); };
      const auto end_frame = seam_alone ? from : to;
      const auto new_from = there(from + lag_at(from, false)), new_to = std::max(new_from, there(end_frame + lag_at(to, true)));
      add_island({from, end_frame, new_from, new_to, own_level(from, end_frame)});
      i = end;
    }
    sum_up();
    look_outside();
  }

  void add_island(Island island) {
    ++null_.island_total;
    // What the new file does not have is missing, not different.
    if (island.new_to > island.new_from) null_.island_frames += island.old_to - island.old_from;
    if (null_.islands.size() < kMostIslands) null_.islands.push_back(island);
  }

  // Sound of the new file before the old one's first frame and behind its last.
  void look_outside() {
    const auto first = std::min(lag_at(0, true), alignment_.new_frames), last = alignment_.old_frames + lag_at(alignment_.old_frames, false);
    if (sounds(0, first)) {
      null_.islands.insert(null_.islands.begin(), {0, 0, 0, first, std::nullopt});
      ++null_.island_total;
    }
    if (sounds(last, alignment_.new_frames)) add_island({alignment_.old_frames, alignment_.old_frames, std::max<std::int64_t>(0, last), alignment_.new_frames, std::nullopt});
  }

  bool sounds(std::int64_t from, std::int64_t to) {
    for (auto at = from; at < to; at += block_) {
      const auto count = std::min(block_, to - at);
      new_.read(at, count, b_);
      for (const auto& samples : b_) {
        if (dsp::row_sums(samples.data(), static_cast<int>(count)).square > kHeard * static_cast<double>(count)) return true;
      }
      if (hooks_.stop != nullptr && hooks_.stop->load(std::memory_order_relaxed)) return false;
    }
    return false;
  }

  // A fader that was moved: the piece nulls with a gain of its own, one for all channels. Its first and last blocks hold the move.
  std::optional<double> own_level(std::int64_t from, std::int64_t to) {
    const auto stretch = std::ranges::find_if(stretches_, [&](const Stretch& one) { return one.from <= from && one.to >= to; });
    const auto first = from + 2 * block_, count = std::min<std::int64_t>(to - 2 * block_ - first, kLongestLevel);
    if (stretch == stretches_.end() || count < 2 * block_) return std::nullopt;
    Delayed now(old_, 0, cut_), later(new_, stretch->lag, cut_);
    now.read(first, count, a_);
    later.read(first, count, b_);
    std::optional<double> level;
    for (int c = 0; c < channels_; ++c) {
      const double gain = null_.mapping.gains[static_cast<std::size_t>(c)];
      const auto pair = dsp::pair_sums(a_[partner(c)].data(), row(b_, c).data(), static_cast<int>(count));
      if (pair.left_square <= soft_ || gain == 0) continue;
      const double own = pair.product / pair.left_square, rest = pair.right_square - own * pair.product;
      if (own / gain <= 0 || rest > kLevelRest * pair.right_square) return std::nullopt;
      const double here = 20 * std::log10(own / gain);
      if (level && std::abs(here - *level) > kSameLevelDb) return std::nullopt;
      if (!level) level = here;
    }
    return level && std::abs(*level) >= kSameLevelDb ? level : std::nullopt;
  }

  // The lag of the stretch that holds a frame, or of the one nearest: before it (`after` false) or behind it.
  [[nodiscard]] std::int64_t lag_at(std::int64_t frame, bool after) const {
    const Stretch* chosen = after ? &stretches_.back() : &stretches_.front();
    for (const auto& one : stretches_) {
      if (after && one.to > frame) {
        chosen = &one;
        break;
      }
      if (!after && one.from < frame) chosen = &one;
    }
    return std::llround(chosen->lag);
  }

  // Between two stretches the old file's blocks belong to the first as long as they fit it, then to nobody, then to the second.
  void find_seams() {
    const std::int64_t reach = std::llround(0.4 * alignment_.rate);
    const auto on_grid = [&](std::int64_t frame) { return std::max<std::int64_t>(0, frame) / block_ * block_; };
    for (std::size_t s = 0; s + 1 < stretches_.size(); ++s) {
      auto &one = stretches_[s], &next = stretches_[s + 1];
      std::vector<bool> fit;
      // Further back as long as not even the beginning fits: a lag may have seemed to hold beyond its end.
      auto from = on_grid(one.to - reach);
      for (auto back = reach;; back *= 2) {
        fits(from, std::min(one.to + reach, next.to), one.lag, fit);
        if ((!fit.empty() && fit.front()) || from <= one.from || back > kFurthestBack) break;
        from = std::max(on_grid(one.from), on_grid(one.to - 2 * back));
      }
      std::size_t leave = 0;
      while (leave < fit.size() && fit[leave]) ++leave;
      const auto left = from + static_cast<std::int64_t>(leave) * block_;
      // The next one from the left end on, or as far back as it fits.
      auto start = std::max(left, on_grid(next.from - reach));
      std::size_t meet = 0;
      for (auto back = reach;; back *= 2) {
        fits(start, std::min(next.to, next.from + reach), next.lag, fit);
        meet = fit.size();
        while (meet > 0 && fit[meet - 1]) --meet;
        if (meet > 0 || start <= left || back > kFurthestBack) break;
        start = std::max(left, on_grid(next.from - 2 * back));
      }
      auto met = start + static_cast<std::int64_t>(meet) * block_;
      // Both lags fit silence: what the new file does not have was taken out right there.
      const auto missing = std::llround(one.lag - next.lag);
      if (met - left < missing) met = left + (missing + block_ - 1) / block_ * block_;
      one.to = left, next.from = std::min(met, next.to);
      seams_.emplace_back(static_cast<std::size_t>(left / block_), static_cast<std::size_t>(met / block_));
    }
  }

  void fits(std::int64_t from, std::int64_t to, double lag, std::vector<bool>& out) {
    out.clear();
    if (to <= from) return;
    const auto frames = (to - from + block_ - 1) / block_ * block_;
    Delayed now(old_, 0, cut_), later(new_, lag, cut_);
    now.read(from, frames, a_);
    later.read(from, frames, b_);
    out.assign(static_cast<std::size_t>(frames / block_), false);
    for (std::size_t k = 0; k < out.size(); ++k) {
      double sound = 0, rest = 0;
      for (int c = 0; c < channels_; ++c) {
        const double gain = null_.mapping.gains[static_cast<std::size_t>(c)];
        const auto pair = dsp::pair_sums(a_[partner(c)].data() + static_cast<std::int64_t>(k) * block_, row(b_, c).data() + static_cast<std::int64_t>(k) * block_, static_cast<int>(block_));
        sound += gain * gain * pair.left_square;
        rest += pair.right_square - 2 * gain * pair.product + gain * gain * pair.left_square;
      }
      out[k] = !parts(rest, sound, std::max(limit_, kSeamDb));
    }
  }

  void sum_up() {
    double sound = 0, rest = 0, outside_sound = 0, outside_rest = 0;
    std::int64_t outside = 0;
    for (std::size_t i = 0; i < blocks_; ++i) {
      if (!paired_[i]) continue;
      sound += static_cast<double>(expected_[i]), rest += static_cast<double>(left_[i]);
      if (differs_[i]) continue;
      outside_sound += static_cast<double>(expected_[i]), outside_rest += static_cast<double>(left_[i]);
      null_.largest_left = std::max(null_.largest_left, static_cast<double>(largest_[i]));
      ++outside;
    }
    null_.null_db = sound > 0 ? db(rest / sound) : 0;
    null_.outside_db = outside_sound > 0 ? db(outside_rest / outside_sound) : null_.null_db;
    null_.left_dbfs = outside > 0 ? db(outside_rest / (static_cast<double>(outside * block_) * channels_)) : kFloorDb;
    std::vector<float> steady;
    for (std::size_t i = 0; i + 1 < blocks_; ++i) {
      if (paired_[i] && !absent_[i] && !differs_[i]) steady.push_back(left_[i]);
    }
    if (!steady.empty()) {
      std::sort(steady.begin(), steady.end());
      const auto low = steady[steady.size() / 20], high = steady[steady.size() - 1 - steady.size() / 20];
      if (low > 0) null_.steady_db = db(static_cast<double>(high) / static_cast<double>(low));
    }
    const auto together = std::max<std::size_t>(10, (blocks_ + kMostTimes - 1) / kMostTimes);
    null_.step_s = static_cast<double>(together) * static_cast<double>(block_) / alignment_.rate;
    for (std::size_t i = 0; i < blocks_; i += together) {
      double here = 0, there = 0;
      for (auto k = i; k < std::min(blocks_, i + together); ++k) {
        if (paired_[k]) here += static_cast<double>(expected_[k]), there += static_cast<double>(left_[k]);
      }
      null_.over_time.push_back(here > soft_ ? static_cast<float>(db(there / here)) : std::numeric_limits<float>::quiet_NaN());
    }
  }

  // Octaves of both files and of what is left, where the two do not part.
  void spectra() {
    if (differs_.empty()) return;
    dsp::Fourier fourier(kSpectrum);
    std::vector<float> window(kSpectrum), real(kSpectrum), imaginary(kSpectrum), old_lines(kSpectrum / 2 + 1), new_lines(kSpectrum / 2 + 1), rest_lines(kSpectrum / 2 + 1);
    for (int n = 0; n < kSpectrum; ++n) window[static_cast<std::size_t>(n)] = static_cast<float>(0.5 - 0.5 * std::cos(2 * std::numbers::pi * n / kSpectrum));
    const auto add = [&](const float* first, const float* second, std::vector<float>& lines) {
      dsp::multiply(window, first, real.data());
      dsp::multiply(window, second, imaginary.data());
      fourier.forward(real, imaginary);
      dsp::add_pair_powers(real, imaginary, lines);
    };
    std::vector<double> old_power(old_lines.size(), 0), new_power(old_power), rest_power(old_power);
    std::array<std::vector<float>, 2> scaled, rest;
    struct ChannelRest {
      double sound = 0, rest = 0;
      std::int64_t frames = 0;
    };
    std::vector<ChannelRest> by_channel(static_cast<std::size_t>(channels_));
    for (const auto& stretch : stretches_) {
      each_chunk(stretch, 0.96, 0.04, [&](std::int64_t at, std::int64_t frames) {
        std::fill(old_lines.begin(), old_lines.end(), 0.0f), std::fill(new_lines.begin(), new_lines.end(), 0.0f), std::fill(rest_lines.begin(), rest_lines.end(), 0.0f);
        for (std::int64_t from = 0; from + kSpectrum <= frames; from += kSpectrum) {
          const auto first = static_cast<std::size_t>((at + from) / block_), last = std::min(blocks_, static_cast<std::size_t>((at + from + kSpectrum) / block_ + 1));
          if (std::find(differs_.begin() + static_cast<std::ptrdiff_t>(std::min(first, last)), differs_.begin() + static_cast<std::ptrdiff_t>(last), true) != differs_.begin() + static_cast<std::ptrdiff_t>(last)) continue;
          for (int c = 0; c < channels_; c += 2) {
            const int other = std::min(c + 1, channels_ - 1);
            int k = 0;
            for (const int channel : {c, other}) {
              const auto i = static_cast<std::size_t>(k++);
              const auto gain = static_cast<float>(null_.mapping.gains[static_cast<std::size_t>(channel)]);
              scaled[i].resize(kSpectrum), rest[i].resize(kSpectrum);
              const float* a = a_[partner(channel)].data() + from;
              const float* b = row(b_, channel).data() + from;
              for (std::size_t n = 0; n < kSpectrum; ++n) scaled[i][n] = gain * a[n], rest[i][n] = b[n] - gain * a[n];
              if (i == 1 && channel == c) continue;
              auto& mine = by_channel[static_cast<std::size_t>(channel)];
              mine.sound += dsp::row_sums(scaled[i].data(), kSpectrum).square, mine.rest += dsp::row_sums(rest[i].data(), kSpectrum).square, mine.frames += kSpectrum;
            }
            add(scaled[0].data(), scaled[1].data(), old_lines);
            add(rest[0].data(), rest[1].data(), rest_lines);
            add(row(b_, c).data() + from, row(b_, other).data() + from, new_lines);
          }
        }
        for (std::size_t k = 0; k < old_lines.size(); ++k)
          old_power[k] += static_cast<double>(old_lines[k]), new_power[k] += static_cast<double>(new_lines[k]), rest_power[k] += static_cast<double>(rest_lines[k]);
      });
    }
    for (const auto& one : by_channel) {
      // As soft as this, rounding is all that is left.
      if (one.frames == 0 || one.sound <= 0 || db(one.rest / static_cast<double>(one.frames)) <= db(kQuanta * quantum_)) continue;
      null_.worst_channel_db = std::max(null_.worst_channel_db, db(one.rest / one.sound));
    }
    const double line_hz = alignment_.rate / kSpectrum;
    double most = 0;
    for (const double power : old_power) most = std::max(most, power);
    for (int octave = -5; octave <= 6; ++octave) {
      const double centre = 1000 * std::pow(2.0, octave);
      const double from = centre / std::numbers::sqrt2, to = std::min(centre * std::numbers::sqrt2, kLastOctave * alignment_.rate);
      if (from >= to) break;
      double old_sum = 0, new_sum = 0, rest_sum = 0;
      for (auto k = static_cast<std::size_t>(std::ceil(from / line_hz)); k < old_power.size() && static_cast<double>(k) * line_hz < to; ++k)
        old_sum += old_power[k], new_sum += new_power[k], rest_sum += rest_power[k];
      if (old_sum > 1e-12 * most) null_.octaves.push_back({centre, db(rest_sum / old_sum), db(new_sum / old_sum)});
    }
  }

  Reader old_, new_;
  const std::string& new_path_;
  Alignment alignment_;
  const Hooks& hooks_;
  std::vector<Stretch> stretches_;
  std::vector<std::pair<std::size_t, std::size_t>> seams_;  ///< blocks between two stretches: first, one past the last
  const std::int64_t block_;
  std::size_t blocks_ = 0;
  int channels_ = 0;
  Null null_;
  Rows a_, b_;
  std::vector<float> rest_, slope_, expected_, left_, largest_;
  std::vector<char> paired_, absent_;  ///< absent: before the new file's beginning, or behind its end
  std::vector<bool> differs_;
  std::vector<char> to_the_sample_;  ///< by stretch
  double soft_ = 0, limit_ = kIslandLeastDb, least_ = 0, quantum_ = 0, cut_ = 1;
};

}  // namespace

double Mapping::gain_db() const {
  double square = 0, count = 0;
  for (std::size_t c = 0; c < gains.size(); ++c) {
    if (known[c] && gains[c] != 0) square += gains[c] * gains[c], ++count;
  }
  return count == 0 ? 0 : 10 * std::log10(square / count);
}

Result<Null> null_of(const std::string& old_path, const std::string& new_path, const Alignment& alignment, const Hooks& hooks) {
  auto old_file = open_old(old_path, alignment);
  if (!old_file) return tl::unexpected(old_file.error());
  auto new_file = open_new(new_path, alignment);
  if (!new_file) return tl::unexpected(new_file.error());
  return Nuller(std::move(*old_file), std::move(*new_file), new_path, alignment, hooks).run();
}

}  // namespace sendworthy::pair
