// Pictures of a song over time: sizes of sections, vocal over bed, kick over bass.
#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "base/text.h"
#include "sheet/song_canvas.h"
#include "sheet/song_plots.h"

namespace sendworthy::sheet {
namespace {

constexpr std::size_t kColumns = 900;  // two points in each at most
constexpr double kSizesHeight = 212, kVocalHeight = 220, kKickHeight = 180;  // between top and times
constexpr double kWidestLu = 36;       // a picture up and down shows no more than this either way
constexpr double kRunOutLu = 12;       // beyond what nearly all words do, single ones run out of the picture
constexpr double kHighestBar = 36;     // LU; softer sections, as in a fade, would flatten all others
constexpr double kThinBar = 7;
constexpr double kNumberWidth = 44, kNumberAcross = 15;

bool sound(const std::optional<double>& value) { return value && std::isfinite(*value); }

std::string quoted(const std::string& name) { return "“" + base::for_terminal(name) + "”"; }

std::string lufs(double value) { return base::fixed(value, 1) + " LUFS"; }

std::string data_of(const Scale& x, const Scale& y) { return " data-x=\"" + x.data() + "\" data-y=\"" + y.data() + "\""; }

/// Down and up to whole steps.
std::pair<double, double> rounded(double low, double high, double step) {
  low = std::floor(low / step) * step, high = std::ceil(high / step) * step;
  return {low, high > low ? high : low + step};
}

class Sizes {
 public:
  Sizes(const SongSheet& song, const std::vector<Numbered>& findings, double length_s) : frame_(song, length_s, kSizesHeight, findings, {"biggest-section", "quiet-to-loud", "percussion-in-biggest"}), canvas_(kSongWidth, frame_.height()) {
    for (const auto& one : song.sections) {
      if (!sound(one.loudness) || !(one.end_s > one.start_s)) continue;
      shown_.push_back(&one);
      if (one.biggest) biggest_ = &one;
      if (one.quietest) quietest_ = &one;
    }
  }

  std::string draw() {
    if (shown_.empty()) return {};
    double low = 1e9, high = -1e9;
    for (const auto* one : shown_) {
      low = std::min(low, *one->loudness);
      high = std::max({high, *one->loudness, sound(one->max_short_term_loudness) ? *one->max_short_term_loudness : -1e9});
    }
    // The foot of the bars is a loudness too, below all: heights compare, their ratios say nothing.
    const auto [foot, head] = rounded(std::max(low - 4, high - kHighestBar), high + 1.5, 6);
    const Scale& x = frame_.x();
    const Scale y{frame_.bottom(), frame_.top(), foot, head, false};
    canvas_.up(x, y, round_ticks(foot, head, 5), "loudness (LUFS)");
    frame_.draw(canvas_);
    std::string short_term;
    for (const auto* one : shown_) bar(*one, x, y, short_term);
    canvas_.path("axis peak", short_term);
    range(x, y);
    frame_.places(canvas_);
    return canvas_.figure({"song-sizes", "song-sizes", "How big the sections are", caption(), "Across: time in the mix. Upwards: integrated loudness in LUFS; the short line over a bar is its loudest three seconds. " + values()}, "wide",
                          data_of(x, y));
  }

 private:
  void bar(const SongSheet::Section& one, const Scale& x, const Scale& y, std::string& short_term) {
    const double from = x.inside(one.start_s) + 1, to = std::max(x.inside(one.end_s) - 1, x.inside(one.start_s) + 1.5), top = y.inside(*one.loudness), width = to - from, middle = (from + to) / 2;
    const auto word = one.biggest ? "biggest" : one.quietest ? "quietest" : "";
    if (*one.loudness <= y.low) {
      ++below_;
      return;
    }
    canvas_.path(std::string(width < kThinBar ? "bar thin" : "bar") + (one.biggest ? " most" : one.quietest ? " least" : ""), "M" + px(from) + " " + px(y.first) + "V" + px(top) + "H" + px(to) + "V" + px(y.first) + "z");
    if (sound(one.max_short_term_loudness)) short_term += "M" + px(from) + " " + px(y.inside(*one.max_short_term_loudness)) + "H" + px(to);
    const std::string css = one.biggest ? "inverse" : "plain";
    if (width >= kNumberWidth) {
      canvas_.text(middle, std::min(top + 16, y.first - 4), css + " name mid", base::fixed(*one.loudness, 1));
      if (y.first - top > 36) canvas_.text(middle, top + 31, css + " mid", fitting(word, width));
      return;
    }
    canvas_.text(middle, std::max(top - 9, frame_.top() + 11), "over name mid", word);
    if (width >= kNumberAcross && y.first - top > 46)
      canvas_.text(middle + 4, top + 6, css + " end", base::fixed(*one.loudness, 1), " transform=\"rotate(-90 " + px(middle + 4) + " " + px(top + 6) + ")\"");
  }

  /// From the quietest to the biggest, right of the bars.
  void range(const Scale& x, const Scale& y) {
    if (biggest_ == nullptr || quietest_ == nullptr) return;
    const double at = x.last + 14, top = y.at(*biggest_->loudness), bottom = y.at(*quietest_->loudness);
    canvas_.path("axis", "M" + px(at - 5) + " " + px(top) + "H" + px(at) + "V" + px(bottom) + "h-5");
    canvas_.text(at + 6, (top + bottom) / 2 - 3, "name", base::fixed(*biggest_->loudness - *quietest_->loudness, 1) + " LU");
    canvas_.text(at + 6, (top + bottom) / 2 + 13, "tick", "quietest");
    canvas_.text(at + 6, (top + bottom) / 2 + 28, "tick", "to biggest");
  }

  std::string caption() const {
    const auto louder = [](const auto* a, const auto* b) { return *a->loudness < *b->loudness; };
    const auto* loudest = *std::ranges::max_element(shown_, louder);
    std::string text;
    if (biggest_ == nullptr) {
      text = "The plan marks no section as the biggest; the loudest is " + quoted(loudest->name) + " at " + lufs(*loudest->loudness);
    } else if (biggest_ != loudest) {
      text = quoted(biggest_->name) + " is meant to be the biggest, yet " + quoted(loudest->name) + " beats it by " + base::fixed(*loudest->loudness - *biggest_->loudness, 1) + " LU";
    } else {
      const SongSheet::Section* next = nullptr;
      for (const auto* one : shown_) {
        if (one != loudest && (next == nullptr || *one->loudness > *next->loudness)) next = one;
      }
      text = quoted(biggest_->name) + " is meant to be the biggest and is, at " + lufs(*biggest_->loudness) + (next == nullptr ? "" : ", " + base::fixed(*biggest_->loudness - *next->loudness, 1) + " LU over " + quoted(next->name));
    }
    if (quietest_ != nullptr) {
      const auto* softest = *std::ranges::min_element(shown_, louder);
      text += softest == quietest_ ? "; " + quoted(quietest_->name) + " is the quietest, as meant" : "; " + quoted(softest->name) + " is softer than " + quoted(quietest_->name) + ", which is meant to be the quietest";
    }
    if (below_ > 0) text += "; " + std::to_string(below_) + " much softer than the rest " + (below_ == 1 ? "has" : "have") + " no bar";
    return text + ".";
  }

  std::string values() const {
    constexpr std::size_t kMost = 40;
    std::string text;
    for (std::size_t i = 0; i < std::min(kMost, shown_.size()); ++i) text += (i == 0 ? "" : "; ") + base::for_terminal(shown_[i]->name) + " " + lufs(*shown_[i]->loudness);
    return text + (shown_.size() > kMost ? "; and " + std::to_string(shown_.size() - kMost) + " more." : ".");
  }

  TimeFrame frame_;
  Canvas canvas_;
  std::vector<const SongSheet::Section*> shown_;
  int below_ = 0;  ///< under the foot of the bars
  const SongSheet::Section *biggest_ = nullptr, *quietest_ = nullptr;
};

/// A line through values at even steps, at most two points a column, broken where there is none.
std::string line_through(const std::vector<float>& values, double step_s, const Scale& x, const Scale& y) {
  std::string d, here;
  std::size_t open = 0;
  const auto close = [&] {
    if (open == 1) d += "L" + here;  // a point alone shows as a dot
    open = 0;
  };
  const auto put = [&](std::size_t i) {
    here = fine(x.inside((static_cast<double>(i) + 0.5) * step_s)) + " " + px(y.at(static_cast<double>(values[i])));
    d += (open > 0 ? "L" : "M") + here;
    ++open;
  };
  const auto columns = std::min(kColumns, values.size());
  for (std::size_t column = 0; column < columns; ++column) {
    const auto from = column * values.size() / columns, to = (column + 1) * values.size() / columns;
    std::size_t least = to, most = to;
    for (auto i = from; i < to; ++i) {
      if (!std::isfinite(values[i])) continue;
      if (least == to || values[i] < values[least]) least = i;
      if (most == to || values[i] > values[most]) most = i;
    }
    if (least == to) {
      close();
      continue;
    }
    put(std::min(least, most));
    if (least != most) put(std::max(least, most));
  }
  close();
  return d;
}

/// The value that `share` of all lie below.
double percentile(std::vector<double> values, double share) {
  const auto at = static_cast<std::size_t>(std::lround(share * static_cast<double>(values.size() - 1)));
  std::ranges::nth_element(values, values.begin() + static_cast<std::ptrdiff_t>(at));
  return values[at];
}

struct WantedSpan {
  double start_s = 0, end_s = 0;
  SongSheet::Wanted range;
};

/// Where the plan says how far the vocal is to stand over the bed: by section, or all over a song without sections.
std::vector<WantedSpan> wanted_of(const SongSheet& song, double length_s) {
  const auto meant = [](const SongSheet::Wanted& range) { return std::isfinite(range.low) && std::isfinite(range.high); };
  std::vector<WantedSpan> spans;
  for (const auto& one : song.sections) {
    if (one.wanted_vocal_over_bed && meant(*one.wanted_vocal_over_bed) && sound(one.start_s) && sound(one.end_s)) spans.push_back({one.start_s, one.end_s, *one.wanted_vocal_over_bed});
  }
  if (song.sections.empty() && song.vocal->wanted && meant(*song.vocal->wanted)) spans.push_back({0, length_s, *song.vocal->wanted});
  return spans;
}

}  // namespace

std::string sizes_figure(const SongSheet& song, const std::vector<Numbered>& findings, double length_s) { return Sizes(song, findings, length_s).draw(); }

std::string vocal_figure(const SongSheet& song, const std::vector<Numbered>& findings, double length_s) {
  if (!song.vocal || !(song.vocal->step_s > 0)) return {};
  std::vector<double> heard;
  for (const float value : song.vocal->over_bed) {
    if (std::isfinite(value)) heard.push_back(static_cast<double>(value));
  }
  if (heard.empty()) return {};
  // Single words over nearly nothing would flatten the rest: they run out of the picture, which says so.
  const auto [softest, loudest] = std::ranges::minmax(heard);
  double low = std::min(0.0, std::max(softest, percentile(heard, 0.05) - kRunOutLu)), high = std::max(0.0, std::min(loudest, percentile(heard, 0.95) + kRunOutLu));
  const SongSheet::Section *most = nullptr, *least = nullptr;
  for (const auto& one : song.sections) {
    if (!sound(one.vocal_over_bed)) continue;
    low = std::min(low, *one.vocal_over_bed), high = std::max(high, *one.vocal_over_bed);
    if (most == nullptr || *one.vocal_over_bed > *most->vocal_over_bed) most = &one;
    if (least == nullptr || *one.vocal_over_bed < *least->vocal_over_bed) least = &one;
  }
  const auto wanted = wanted_of(song, length_s);
  for (const auto& one : wanted) low = std::min(low, one.range.low), high = std::max(high, one.range.high);
  const auto [foot, head] = rounded(std::max(low - 1, -kWidestLu), std::min(high + 1, kWidestLu), 3);
  const TimeFrame frame(song, length_s, kVocalHeight, findings, {"vocal-placement", "backing-placement", "vocal-condition"});
  const Scale& x = frame.x();
  const Scale y{frame.bottom(), frame.top(), foot, head, false};
  Canvas canvas(kSongWidth, frame.height());
  canvas.up(x, y, round_ticks(foot, head, 6), "vocal over the bed (LU)");
  frame.draw(canvas);
  for (const auto& one : wanted) {
    const double from = x.inside(one.start_s), to = x.inside(one.end_s), top = y.inside(one.range.high), bottom = y.inside(one.range.low);
    if (!(to > from)) continue;
    canvas.path("wanted", "M" + px(from) + " " + px(top) + "H" + px(to) + "V" + px(bottom) + "H" + px(from) + "z", " data-low=\"" + base::shortest(one.range.low) + "\" data-high=\"" + base::shortest(one.range.high) + "\"");
  }
  canvas.path("zero", "M" + px(x.first) + " " + px(y.at(0)) + "H" + px(x.last));
  canvas.begin_clip(x, y);
  canvas.path("line s0", line_through(song.vocal->over_bed, song.vocal->step_s, x, y), " data-name=\"vocal over the bed\"");
  canvas.end_clip();
  std::string means;
  for (const auto& one : song.sections) {
    if (!sound(one.vocal_over_bed) || !(one.end_s > one.start_s)) continue;
    const double from = x.inside(one.start_s) + 2, to = x.inside(one.end_s) - 2, at = y.inside(*one.vocal_over_bed);
    if (to > from) means += "M" + px(from) + " " + px(at) + "H" + px(to);
  }
  canvas.path("level halo", means);
  canvas.path("level", means);
  for (const auto& one : song.sections) {
    if (!sound(one.vocal_over_bed)) continue;
    const double from = x.inside(one.start_s), to = x.inside(one.end_s);
    if (to - from > kNumberWidth) canvas.text(to - 6, std::max(y.inside(*one.vocal_over_bed) - 6, frame.top() + 12), "over name end", with_sign(*one.vocal_over_bed, ""));
  }
  std::vector<Canvas::LineName> names{{y.at(0), "level of the bed"}};
  if (!wanted.empty()) names.push_back({(y.inside(wanted.back().range.low) + y.inside(wanted.back().range.high)) / 2, "wanted (shaded)"});
  canvas.names(x.last, names);
  frame.places(canvas);
  std::string caption;
  if (most == nullptr) {
    caption = "While it sings, the lead vocal lies " + with_sign(percentile(heard, 0.5), "LU") + " over the bed at the median";
  } else if (most == least) {
    caption = "In " + quoted(most->name) + " the lead vocal lies " + with_sign(*most->vocal_over_bed, "LU") + " over the bed";
  } else {
    caption = "Over a section the lead vocal stands highest in " + quoted(most->name) + " (" + with_sign(*most->vocal_over_bed, "LU") + " over the bed) and lowest in " + quoted(least->name) + " (" + with_sign(*least->vocal_over_bed, "LU") + ")";
  }
  caption += "; the bed is the " + song.vocal->bed;
  if (loudest > head || softest < foot) caption += "; single words run out of the picture, " + (loudest > head ? "up to " + with_sign(loudest, "LU") : "") + (loudest > head && softest < foot ? " and " : "") + (softest < foot ? "down to " + with_sign(softest, "LU") : "");
  return canvas.figure({"song-vocal", "song-vocal", "The lead vocal over the bed", caption + ".",
                        "Across: time in the mix. Upwards: K-weighted level of the vocal less that of the bed in LU, in windows of 400 ms while it sings; the heavy line is each section's mean" +
                            std::string(wanted.empty() ? "" : "; what the plan wants is shaded") + "."},
                       "wide", data_of(x, y));
}

std::string kick_figure(const SongSheet& song, const std::vector<Numbered>& findings, double length_s) {
  if (!song.low_end || song.low_end->hits.empty()) return {};
  const auto& low_end = *song.low_end;
  struct Dot {
    double at_s, over_db;
  };
  std::vector<Dot> dots;
  std::vector<double> alone, over;
  for (const auto& hit : low_end.hits) {
    if (!sound(hit.at_s) || !sound(hit.kick_db)) continue;
    if (!sound(hit.bass_db)) {
      alone.push_back(hit.at_s);
    } else {
      dots.push_back({hit.at_s, hit.kick_db - *hit.bass_db}), over.push_back(dots.back().over_db);
    }
  }
  if (dots.empty() && alone.empty()) return {};
  double low = 0, high = 0;
  if (!over.empty()) low = std::min(0.0, std::ranges::min(over)), high = std::max(0.0, std::ranges::max(over));
  if (sound(low_end.wanted_kick_over_bass)) low = std::min(low, *low_end.wanted_kick_over_bass), high = std::max(high, *low_end.wanted_kick_over_bass);
  const auto [foot, head] = rounded(std::max(low - 1, -2 * kWidestLu), std::min(high + 1, 2 * kWidestLu), 3);
  const TimeFrame frame(song, length_s, kKickHeight, findings, {"kick-over-bass", "low-end-order", "bass-steadiness", "mono-low-end"});
  const Scale& x = frame.x();
  const Scale y{frame.bottom(), frame.top(), foot, head, false};
  Canvas canvas(kSongWidth, frame.height());
  canvas.up(x, y, round_ticks(foot, head, 5), "kick over bass (dB)");
  frame.draw(canvas);
  canvas.path("zero", "M" + px(x.first) + " " + px(y.at(0)) + "H" + px(x.last));
  // Of very many hits the lowest and the highest of each column are drawn.
  std::string above, below, ticks;
  const auto columns = std::min(kColumns, dots.size());
  for (std::size_t column = 0; column < columns; ++column) {
    const auto first = dots.begin() + static_cast<std::ptrdiff_t>(column * dots.size() / columns), last = dots.begin() + static_cast<std::ptrdiff_t>((column + 1) * dots.size() / columns);
    const auto [least, most] = std::minmax_element(first, last, [](const Dot& a, const Dot& b) { return a.over_db < b.over_db; });
    for (const auto one : {least, most}) {
      const auto at = fine(x.inside(one->at_s)), up = px(y.inside(one->over_db));
      if (one->over_db < 0) {
        below += "M" + px(x.inside(one->at_s) - 3.5) + " " + px(y.inside(one->over_db) - 3.5) + "l7 7m0 -7l-7 7";
      } else {
        above += "M" + at + " " + up + "h0";
      }
      if (least == most) break;
    }
  }
  for (std::size_t i = 0; i < alone.size(); i += std::max<std::size_t>(1, alone.size() / kColumns)) ticks += "M" + fine(x.inside(alone[i])) + " " + px(y.first - 7) + "v7";
  std::vector<Canvas::LineName> names{{y.at(0), "level of bass"}};
  const auto across = [&](const std::optional<double>& value, std::string_view css, const std::string& name) {
    if (!sound(value) || *value < y.low || *value > y.high) return;
    canvas.path(css, "M" + px(x.first) + " " + px(y.at(*value)) + "H" + px(x.last), " data-at=\"" + base::shortest(*value) + "\"");
    names.push_back({y.at(*value), name + " " + base::fixed(*value, 1)});
  };
  // Each section's median, where there are any, is the heavy line as in the other pictures.
  std::string medians;
  for (const auto& one : song.sections) {
    const double from = x.inside(one.start_s) + 2, to = x.inside(one.end_s) - 2;
    if (sound(one.kick_over_bass) && to > from) medians += "M" + px(from) + " " + px(y.inside(*one.kick_over_bass)) + "H" + px(to);
  }
  across(low_end.wanted_kick_over_bass, "wanted", "wanted");
  across(low_end.kick_over_bass, medians.empty() ? "level" : "median", "median");
  across(low_end.kick_over_bass_p10, "tenth", "10th perc.");
  canvas.path("level halo", medians);
  canvas.path("level", medians, " data-name=\"medians of sections\"");
  canvas.path("dots", above);
  canvas.path("crosses", below);
  canvas.path("axis", ticks, " data-name=\"without bass\"");
  canvas.names(x.last, names);
  frame.places(canvas);
  const auto many = [](std::size_t count) { return std::to_string(count) + (count == 1 ? " hit" : " hits"); };
  std::string caption;
  if (dots.empty()) {
    caption = "The bass rests at all of the kick's " + many(alone.size());
  } else {
    const auto under = static_cast<std::size_t>(std::ranges::count_if(over, [](double value) { return value < 0; }));
    caption = "Below " + base::fixed(low_end.below_hz, 0) + " Hz the kick is under the bass (a cross) at " + (under == 0 ? "none" : std::to_string(under)) + " of " + many(dots.size());
    if (sound(low_end.kick_over_bass)) caption += "; the median is " + with_sign(*low_end.kick_over_bass, "dB");
    if (sound(low_end.kick_over_bass_p10)) caption += ", one hit in ten is below " + with_sign(*low_end.kick_over_bass_p10, "dB");
    if (!alone.empty()) caption += "; " + many(alone.size()) + " without bass stand at the foot";
  }
  return canvas.figure({"song-kick", "song-kick", "The kick against the bass, hit by hit", caption + ".", "Across: time in the mix. Upwards: highest level of the kick less that of the bass in the 80 ms of each hit, in dB" + std::string(medians.empty() ? "." : "; the heavy line is each section's median.")}, "wide", data_of(x, y));
}

}  // namespace sendworthy::sheet
