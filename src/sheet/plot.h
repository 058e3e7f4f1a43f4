// Pictures as data, and their drawing as SVG. Knows axes, lines and marks; nothing of files, rules or measurements.
#pragma once

#include <sendworthy/sheet.h>

#include <string>
#include <vector>

namespace sendworthy::sheet {

struct Tick {
  double at = 0;
  std::string text;
};

struct Axis {
  double low = 0, high = 1;
  bool logarithmic = false;
  std::string label;  ///< with its unit
  std::vector<Tick> ticks;
};

/// Points that are not finite break a line. A band lies between y and y2; bars stand on the axis.
struct Series {
  enum class Kind { line, band, bars };
  Kind kind = Kind::line;
  std::string name;
  int style = 0;  ///< 0 … 2; each differs in more than colour
  std::vector<double> x, y, y2;
  double bar_width = 0;  ///< in units of x; on a logarithmic axis a ratio
};

/// A line across: a limit or a target.
struct Limit {
  double y = 0;
  std::string text;
  Status status = Status::note;  ///< of what lies beyond
};

/// A place along x, named by a short text such as the finding's number.
struct Mark {
  double from = 0, to = 0;
  std::string text;
  Status status = Status::note;
};

struct Plot {
  std::string id;    ///< unique in the document; letters, digits, hyphens
  std::string kind;  ///< "waveform", "loudness", …
  std::string title;
  std::string caption;  ///< what is to be seen in this file
  bool over_time = false;
  bool square = false;
  Axis x, y;
  std::vector<Series> series;
  std::vector<Limit> limits;
  std::vector<Mark> marks;
  /// Shares over a grid of cells × cells that fills the axes, first row at the bottom; empty: none.
  int cells = 0;
  std::vector<float> grid;
};

/// One figure element with heading, caption and the SVG. Values can be read back: the svg's `data-x` and `data-y` hold
/// "first-pixel last-pixel low high lin|log", and every mark lies where its axes say.
[[nodiscard]] std::string figure_of(const Plot& plot);

/// Round ticks from low to high, about `count` of them.
[[nodiscard]] std::vector<Tick> round_ticks(double low, double high, int count);
/// Round times, as 0:30.
[[nodiscard]] std::vector<Tick> time_ticks(double low, double high, int count);

}  // namespace sendworthy::sheet
