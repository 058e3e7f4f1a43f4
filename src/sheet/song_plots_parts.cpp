// Pictures of a song's parts against one another: what covers what, and what is left at a very quiet level.
#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "sheet/song_canvas.h"
#include "sheet/song_plots.h"

namespace sendworthy::sheet {
namespace {

constexpr double kNamesWidth = 262, kNumbersWidth = 128, kRow = 28, kCell = 22, kHead = 52;
constexpr std::size_t kMostBands = 64;
constexpr std::size_t kMostParts = 16;
constexpr double kLevelWidth = 700, kLevelRow = 20;

std::string name_of(double hz) { return !std::isfinite(hz) ? "?" : hz >= 999.5 ? base::shortest(std::round(hz / 100) / 10) + " kHz" : base::shortest(std::round(hz)) + " Hz"; }

std::string named(const std::string& name) { return "“" + base::for_terminal(name) + "”"; }

std::optional<double> finite(const std::optional<double>& value) { return value && std::isfinite(*value) ? value : std::nullopt; }

/// Where a frequency lies among the bands, in bands from the first one's middle.
double position(const std::vector<std::pair<double, double>>& bands, double hz) {
  for (std::size_t i = 0; i + 1 < bands.size(); ++i) {
    const double from = bands[i].first, to = bands[i + 1].first;
    if (hz >= from && hz <= to && from > 0 && to > from) return static_cast<double>(i) + std::log(hz / from) / std::log(to / from);
  }
  return -1;
}

class Masking {
 public:
  explicit Masking(const SongSheet& song) : song_(song), rows_(std::min(kPairsDrawn, song.pairs.size())), canvas_(kSongWidth, kHead + kRow * static_cast<double>(rows_) + 12) {
    for (std::size_t i = 0; i < rows_; ++i) {
      if (song.pairs[i].bands.size() > bands_.size()) bands_ = song.pairs[i].bands;
    }
    if (bands_.size() > kMostBands) bands_.resize(kMostBands);
    step_ = bands_.empty() ? 0 : (kSongWidth - kNamesWidth - kNumbersWidth) / static_cast<double>(bands_.size());
  }

  std::string draw() {
    if (bands_.empty()) return {};
    head();
    std::string empty, low, high;
    for (std::size_t row = 0; row < rows_; ++row) {
      const auto& pair = song_.pairs[row];
      const double foot = kHead + kRow * static_cast<double>(row) + kCell;
      label(pair, foot - 6);
      for (std::size_t i = 0; i < std::min(bands_.size(), pair.bands.size()); ++i) {
        const double x = kNamesWidth + step_ * static_cast<double>(i), share = std::clamp(pair.bands[i].second / 100, 0.0, 1.0);
        const auto box = [&](double height) { return "M" + px(x + 1) + " " + px(foot) + "h" + px(step_ - 2) + "v-" + px(height) + "h-" + px(step_ - 2) + "z"; };
        empty += box(kCell);
        if (share >= 0.005) (share >= 0.5 ? high : low) += box(kCell * share);
      }
      canvas_.text(kSongWidth - kNumbersWidth + 46, foot - 6, "name end", base::fixed(pair.masked, 0) + " %");
      canvas_.text(kSongWidth - 10, foot - 6, "tick end", base::fixed(pair.freed, 0) + " %");
    }
    canvas_.path("room", empty);
    canvas_.path("share", low, " data-name=\"below half\"");
    canvas_.path("share most", high, " data-name=\"half and more\"");
    return canvas_.figure({"song-masking", "song-masking", "What matters less over what matters more, by band", caption(),
                           "A row for each pair, the worst first; across: bands as wide as the ear's, from " + name_of(bands_.front().first) + " to " + name_of(bands_.back().first) + "; each cell is filled to the share of the part's time that is covered."},
                          "wide", {});
  }

 private:
  void head() {
    canvas_.text(8, kHead - 10, "label", "part under what covers it");
    double free_from = 0;
    for (const double hz : {50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0, 15000.0}) {
      const double at = position(bands_, hz);
      if (at < 0) continue;
      const double x = kNamesWidth + step_ * (at + 0.5), half = 0.5 * kSongLetter * static_cast<double>(name_of(hz).size());
      if (x - half < free_from) continue;
      free_from = x + half + 4;
      canvas_.path("rule", "M" + px(x) + " " + px(kHead - 5) + "v5");
      canvas_.text(x, kHead - 10, "tick mid", name_of(hz));
    }
    // The scale, drawn as the cells are.
    const double foot = kCell + 2;
    double x = kNamesWidth;
    for (const int percent : {0, 25, 50, 75, 100}) {
      const auto box = [&](double height) { return "M" + px(x) + " " + px(foot) + "h14v-" + px(height) + "h-14z"; };
      canvas_.path("room", box(kCell));
      if (percent > 0) canvas_.path(percent >= 50 ? "share most" : "share", box(kCell * percent / 100.0));
      canvas_.text(x + 19, foot - 6, "keyname", std::to_string(percent) + " %" + (percent == 100 ? " of its time covered" : ""));
      x += 72;
    }
    canvas_.text(kSongWidth - kNumbersWidth + 46, kHead - 10, "label end", "all");
    canvas_.text(kSongWidth - 10, kHead - 26, "label end", "free");
    canvas_.text(kSongWidth - 10, kHead - 10, "label end", "without");
  }

  void label(const SongSheet::Pair& pair, double y) {
    constexpr std::string_view kUnder = " under ";
    const double room = kNamesWidth - 20 - kSongLetter * static_cast<double>(kUnder.size());
    const double part = kSongLetter * base::columns(base::for_terminal(pair.part)), masker = kSongLetter * base::columns(base::for_terminal(pair.masker));
    // What the shorter name leaves over, the longer one has.
    canvas_.text(8, y, "keyname", fitting(pair.part, std::max(room / 2, room - masker)) + std::string(kUnder) + fitting(pair.masker, std::max(room / 2, room - part)));
  }

  std::string caption() const {
    const auto& worst = song_.pairs.front();
    std::string text = named(worst.part) + " is covered most: " + base::fixed(worst.masked, 0) + " % of its time and bands, by " + named(worst.masker);
    const auto band = std::ranges::max_element(worst.bands, {}, [](const auto& one) { return one.second; });
    if (band != worst.bands.end() && band->second > 0) text += ", most round " + name_of(band->first >= 1000 ? std::round(band->first / 100) * 100 : std::round(band->first));
    text += " (an estimate)";
    if (song_.pairs.size() > rows_) text += "; the worst " + std::to_string(rows_) + " of " + std::to_string(song_.pairs.size()) + " pairs are shown";
    return text + ".";
  }

  const SongSheet& song_;
  std::size_t rows_;
  Canvas canvas_;
  std::vector<std::pair<double, double>> bands_;
  double step_ = 0;
};

/// A part at both levels, each against the mean of the parts that are heard at both.
struct Level {
  const SongSheet::Stem* stem = nullptr;
  double reference = 0;
  std::optional<double> quiet, moved;
  double left_y = 0, right_y = 0;  ///< of the names
};

/// Names apart from one another by a line, in their order, within top and bottom.
void spread(std::vector<Level>& levels, double Level::*y, double top, double bottom) {
  std::ranges::stable_sort(levels, {}, y);
  double last = top - kLevelRow;
  for (auto& one : levels) last = one.*y = std::max(one.*y, last + kLevelRow);
  double next = bottom + kLevelRow;
  for (auto one = levels.rbegin(); one != levels.rend(); ++one) next = (*one).*y = std::min((*one).*y, next - kLevelRow);
}

}  // namespace

std::string masking_figure(const SongSheet& song) { return song.pairs.empty() ? std::string() : Masking(song).draw(); }

std::string quiet_figure(const SongSheet& song) {
  std::vector<Level> levels;
  for (const auto& one : song.stems) {
    if (one.reference_level && std::isfinite(*one.reference_level) && levels.size() < kMostParts) levels.push_back({&one, *one.reference_level, one.disappears ? std::nullopt : finite(one.quiet_level), finite(one.moved), 0, 0});
  }
  if (levels.size() < 2) return {};
  double reference = 0, quiet = 0, count = 0;
  for (const auto& one : levels) {
    if (one.quiet) reference += one.reference, quiet += *one.quiet, ++count;
  }
  if (count > 0) reference /= count, quiet /= count;
  if (count == 0) reference = levels.front().reference;
  double most = 3;
  for (auto& one : levels) {
    one.reference -= reference;
    if (one.quiet) *one.quiet -= quiet, most = std::max(most, std::abs(*one.quiet));
    most = std::max(most, std::abs(one.reference));
  }
  const double height = std::max(250.0, 96 + kLevelRow * static_cast<double>(levels.size())), top = 40, bottom = height - 34, left = 266, right = 420;
  const Scale y{bottom, top, -most, most, false};
  for (auto& one : levels) one.left_y = y.at(one.reference), one.right_y = one.quiet ? y.at(*one.quiet) : bottom + 12;
  spread(levels, &Level::left_y, top, bottom + 16);
  spread(levels, &Level::right_y, top, bottom + 16);
  Canvas canvas(kLevelWidth, height);
  canvas.text(left, 16, "label end", "at " + base::shortest(song.reference_db_spl) + " dB SPL");
  canvas.text(right, 16, "label", "at " + base::shortest(song.quiet_db_spl) + " dB SPL");
  for (const double x : {left, right}) canvas.path("axis", "M" + px(x) + " " + px(top - 12) + "V" + px(bottom + 16));
  const auto moved_most = std::ranges::max_element(levels, {}, [](const Level& one) { return one.moved ? std::abs(*one.moved) : -1.0; });
  for (const auto& one : levels) {
    const auto& stem = *one.stem;
    const double from = y.at(one.reference), to = one.quiet ? y.at(*one.quiet) : bottom + 12;
    const bool stands_out = &one == &*moved_most || !one.quiet;
    canvas.path(!one.quiet ? "slope gone" : stands_out ? "slope most" : "slope", "M" + px(left) + " " + px(from) + "L" + px(right) + " " + px(to));
    canvas.path("dots", "M" + px(left) + " " + px(from) + "h0" + (one.quiet ? "M" + px(right) + " " + px(to) + "h0" : ""));
    if (!one.quiet) canvas.path("crosses", "M" + px(right - 4) + " " + px(to - 4) + "l8 8m0 -8l-8 8");
    canvas.path("lead", "M" + px(left - 4) + " " + px(from) + "L" + px(left - 14) + " " + px(one.left_y) + "M" + px(right + 4) + " " + px(to) + "L" + px(right + 14) + " " + px(one.right_y));
    canvas.text(left - 17, one.left_y + 4, stands_out ? "name end" : "keyname end", fitting(stem.name, left - 100) + "  " + base::fixed(*stem.reference_level, 0) + " dB");
    std::string words = one.quiet ? base::fixed(*stem.quiet_level, 0) + " dB" : "not heard";
    if (one.quiet && one.moved) words += ", moved " + with_sign(*one.moved, "dB");
    canvas.text(right + 17, one.right_y + 4, stands_out ? "name" : "keyname", words);
  }
  canvas.text((left + right) / 2, height - 4, "tick mid", "a level line keeps its place among the others");
  std::string gone, caption;
  for (const auto& one : levels) {
    if (!one.quiet) gone += (gone.empty() ? "" : ", ") + named(one.stem->name);
  }
  if (!gone.empty()) caption = "Very quietly, " + gone + (gone.find(", ") == gone.npos ? " disappears" : " disappear");
  if (moved_most->moved) {
    const double moved = *moved_most->moved;
    caption += (caption.empty() ? "" : "; ") + named(moved_most->stem->name) + (std::abs(moved) < 0.05 ? " moves most and stays where it was" : " moves most: " + base::fixed(std::abs(moved), 1) + " dB " + (moved < 0 ? "back behind" : "out in front of") + " the others");
  }
  if (caption.empty()) caption = "How far the parts move against one another was not measured";
  return canvas.figure({"song-quiet", "song-quiet", "Heard very quietly", caption + " (an estimate).",
                        "Left: leads, kick and snare by their loudness level at the reference level; right: at the quiet level, each about the mean of those heard. A line that falls moves behind the others."},
                       "levels", {});
}

}  // namespace sendworthy::sheet
