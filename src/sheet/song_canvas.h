// What the pictures of a song have in common: one frame round each, and one axis of time with the song's sections above it, so
// that pictures over time stand under one another and can be read down.
#pragma once

#include <sendworthy/song.h>

#include <string>
#include <string_view>
#include <vector>

#include "sheet/file_plots.h"
#include "sheet/plot.h"
#include "sheet/svg.h"

namespace sendworthy::sheet {

constexpr double kSongWidth = 1000;  // of the pictures over the whole page, in their own units
constexpr double kSongLetter = 7.6;  // about as wide as letters get in them

/// Cut to what fits into `width`, with a sign that something is left out; empty where nothing is to be read.
[[nodiscard]] std::string fitting(std::string_view text, double width);

/// A value with its sign, as "+3.5 dB" or "−0.4 LU".
[[nodiscard]] std::string with_sign(double value, std::string_view unit);

class Canvas {
 public:
  Canvas(double width, double height) : width_(width), height_(height) {}

  void text(double x, double y, std::string_view css, std::string_view words, std::string_view more = {});
  void path(std::string_view css, const std::string& d, const std::string& more = {});
  void raw(std::string_view svg) { out_ += svg; }

  /// From here on only what lies between the scales is seen, until end_clip.
  void begin_clip(const Scale& x, const Scale& y);
  void end_clip() { out_ += "</svg>\n"; }

  /// Rules across with their values, the axis, and its name along the left edge.
  void up(const Scale& x, const Scale& y, const std::vector<Tick>& ticks, std::string_view label);

  /// Names of lines, right of the frame, none over another.
  struct LineName {
    double y = 0;
    std::string text;
  };
  void names(double x, std::vector<LineName> names);

  struct Words {
    std::string id, kind, title;
    std::string caption;  ///< one sentence: what is to be read here
    std::string more;     ///< for those who cannot see it: axes and values
  };
  /// A figure with heading, sentence and the drawing; leaves the canvas empty. `data`: attributes of the svg.
  [[nodiscard]] std::string figure(const Words& words, std::string_view css, const std::string& data);

 private:
  double width_, height_;
  std::string out_;
};

/// The frame of a picture over time.
class TimeFrame {
 public:
  /// `height`: between the sections' names and the times. Of the findings, those by `rules` that have a place are shown below.
  TimeFrame(const SongSheet& song, double length_s, double height, const std::vector<Numbered>& findings, const std::vector<std::string_view>& rules);

  [[nodiscard]] const Scale& x() const { return x_; }
  [[nodiscard]] double top() const { return top_; }
  [[nodiscard]] double bottom() const { return bottom_; }
  [[nodiscard]] double height() const;  ///< of the whole picture
  /// Sections above, their borders, and the times below.
  void draw(Canvas& canvas) const;
  /// Places of the findings, by number.
  void places(Canvas& canvas) const;

 private:
  [[nodiscard]] std::size_t rows() const;  ///< of places

  const SongSheet& song_;
  Scale x_;
  double top_, bottom_, length_s_;
  std::vector<Numbered> findings_;
};

}  // namespace sendworthy::sheet
