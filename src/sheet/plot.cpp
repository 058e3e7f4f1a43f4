#include "sheet/plot.h"

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "sheet/svg.h"

namespace sendworthy::sheet {
namespace {

constexpr double kWidth = 600, kHeight = 204, kSquareWidth = 360, kSquareHeight = 344;
constexpr double kLeft = 60, kRight = 20, kNames = 180, kTop = 20, kBottom = 44;
constexpr double kLine = 14;            // between lines of text
constexpr double kLetter = 8;           // about as wide as letters get
constexpr std::size_t kColumns = 1200;  // more points than two a column are not even seen closer up

class Drawing {
 public:
  explicit Drawing(const Plot& plot)
      : plot_(plot),
        width_(plot.square ? kSquareWidth : kWidth),
        height_(plot.square ? kSquareHeight : kHeight),
        x_{kLeft, width_ - (plot.limits.empty() ? kRight : kNames), plot.x.low, plot.x.high, plot.x.logarithmic},
        y_{height_ - kBottom, kTop + (has_legend(plot) ? kLine : 0), plot.y.low, plot.y.high, plot.y.logarithmic} {}

  std::string draw() {
    const auto id = svg_text(plot_.id);
    out_ += "<svg id=\"" + id + "-svg\" class=\"plot" + (plot_.over_time ? " time" : "") +
            (plot_.square ? " square" : "") + "\" role=\"img\" aria-labelledby=\"" + id + "-t " + id +
            "-d\" viewBox=\"0 0 " + px(width_) + " " + px(height_) + "\" data-x=\"" + x_.data() + "\" data-y=\"" +
            y_.data() + "\">\n<title id=\"" + id + "-t\">" + svg_text(plot_.title) + "</title>\n<desc id=\"" + id +
            "-d\">" +
            svg_text(plot_.caption + " Across: " + plot_.x.label + ". Upwards: " + plot_.y.label + "." +
                      words_of_lines() + words_of_marks()) +
            "</desc>\n";
    axes();
    // What moves when the reader looks closer stands in a frame of its own.
    const double w = x_.last - x_.first, h = y_.first - y_.last;
    out_ += "<svg class=\"data\" x=\"" + px(x_.first) + "\" y=\"" + px(y_.last) + "\" width=\"" + px(w) +
            "\" height=\"" + px(h) + "\" viewBox=\"" + px(x_.first) + " " + px(y_.last) + " " + px(w) + " " + px(h) +
            "\" preserveAspectRatio=\"none\">\n";
    cells();
    for (const auto& series : plot_.series) draw(series);
    // The gravest on top.
    for (const auto status :
         {Status::pass, Status::waived, Status::note, Status::warn, Status::not_measured, Status::fail}) {
      for (const auto& mark : plot_.marks) {
        if (mark.status == status) band_of(mark);
      }
    }
    for (const auto& limit : plot_.limits) {
      if (limit.y >= plot_.y.low && limit.y <= plot_.y.high)
        out_ += "<path class=\"limit " + std::string(css_of(limit.status)) + "\" data-at=\"" + base::shortest(limit.y) +
                "\" d=\"M" + px(x_.first) + " " + px(y_.at(limit.y)) + "H" + px(x_.last) + "\"/>\n";
    }
    out_ += "</svg>\n";
    limit_names();
    mark_names();
    legend();
    out_ += "</svg>\n";
    return std::move(out_);
  }

 private:
  void text(double x, double y, std::string_view css, std::string_view words, std::string_view more = "") {
    out_ += "<text class=\"" + std::string(css) + "\" x=\"" + px(x) + "\" y=\"" + px(y) + "\"" + std::string(more) +
            ">" + svg_text(words) + "</text>\n";
  }

  std::string words_of_lines() const {
    std::string words;
    for (const auto& limit : plot_.limits) words += (words.empty() ? " Lines across: " : ", ") + limit.text;
    return words.empty() ? "" : words + ".";
  }

  std::string words_of_marks() const {
    constexpr std::size_t kMost = 12;
    std::string words;
    for (std::size_t i = 0; i < std::min(kMost, plot_.marks.size()); ++i) {
      const auto& mark = plot_.marks[i];
      words += (i == 0 ? " Marks: " : "; ") + mark.text +
               (plot_.over_time && std::isfinite(mark.from) ? " at " + base::clock_time(mark.from) : "");
    }
    if (plot_.marks.size() > kMost) words += "; and " + std::to_string(plot_.marks.size() - kMost) + " more";
    return words.empty() ? "" : words + ".";
  }

  void axes() {
    const double bottom = y_.first, top = y_.last;
    for (const auto& tick : plot_.y.ticks) {
      const double y = y_.at(tick.at);
      out_ += "<path class=\"rule\" d=\"M" + px(x_.first) + " " + px(y) + "H" + px(x_.last) + "\"/>\n";
      if (!tick.text.empty()) text(x_.first - 6, y + 4, "tick end", tick.text);
    }
    out_ += "<g class=\"xticks\">\n";
    for (const auto& tick : plot_.x.ticks) {
      const double x = x_.at(tick.at);
      out_ += "<path class=\"rule\" d=\"M" + px(x) + " " + px(top) + "V" + px(bottom) + "\"/>\n";
      // A text that would be cut at the edge ends there.
      const bool fits = x + 0.5 * kLetter * base::columns(tick.text) < width_;
      text(fits ? x : width_ - 1, bottom + 16, fits ? "tick mid" : "tick end", tick.text);
    }
    out_ += "</g>\n<path class=\"axis\" d=\"M" + px(x_.first) + " " + px(top) + "V" + px(bottom) + "H" + px(x_.last) +
            "\"/>\n";
    text((x_.first + x_.last) / 2, height_ - 8, "label mid", plot_.x.label);
    const double middle = (top + bottom) / 2;
    text(14, middle, "label mid", plot_.y.label, " transform=\"rotate(-90 14 " + px(middle) + ")\"");
  }

  void cells() {
    if (plot_.cells <= 0 ||
        plot_.grid.size() < static_cast<std::size_t>(plot_.cells) * static_cast<std::size_t>(plot_.cells))
      return;
    const double most =
        plot_.grid.empty() ? 0 : static_cast<double>(*std::max_element(plot_.grid.begin(), plot_.grid.end()));
    if (most <= 0) return;
    const double w = (x_.last - x_.first) / plot_.cells, h = (y_.first - y_.last) / plot_.cells;
    // One path per shade: 60 dB of shares in nine steps.
    constexpr int kShades = 9;
    std::vector<std::string> shades(kShades);
    for (int row = 0; row < plot_.cells; ++row) {
      for (int column = 0; column < plot_.cells; ++column) {
        const double share = static_cast<double>(plot_.grid[static_cast<std::size_t>(row * plot_.cells + column)]);
        if (share <= 0) continue;
        const double db = 10 * std::log10(share / most);
        const int shade = std::clamp(static_cast<int>((db + 50) / 50 * kShades), 0, kShades - 1);
        shades[static_cast<std::size_t>(shade)] += "M" + px(x_.first + column * w) + " " +
                                                   px(y_.first - (row + 1) * h) + "h" + px(w) + "v" + px(h) + "h-" +
                                                   px(w) + "z";
      }
    }
    for (int shade = 0; shade < kShades; ++shade) {
      if (!shades[static_cast<std::size_t>(shade)].empty())
        out_ += "<path class=\"cell\" fill-opacity=\"" + base::fixed(0.12 + 0.88 * shade / (kShades - 1), 2) +
                "\" d=\"" + shades[static_cast<std::size_t>(shade)] + "\"/>\n";
    }
  }

  static std::string_view css_of(Status status) {
    switch (status) {
      case Status::fail:
      case Status::not_measured:
        return "fail";
      case Status::warn:
        return "warn";
      case Status::note:
        return "note";
      case Status::pass:
        return "pass";
      case Status::waived:
        return "waived";
    }
    return "fail";
  }

  void band_of(const Mark& mark) {
    if (!std::isfinite(mark.from) || !std::isfinite(mark.to)) return;
    const double from = x_.inside(mark.from), to = x_.inside(mark.to);
    // A thin mark gets an edge of paper, so that it is seen on whatever it lies.
    const bool thin = to <= from + 1;
    // Very many would hide what they mark: they stand at the upper edge only.
    constexpr std::size_t kMany = 24;
    const bool many = plot_.marks.size() > kMany;
    const auto line = px(from) + " " + px(y_.last) + "V" + px(many ? y_.last + 0.12 * (y_.first - y_.last) : y_.first);
    if (thin && !many) out_ += "<path class=\"halo\" d=\"M" + line + "\"/>\n";
    out_ += "<path class=\"mark " + std::string(css_of(mark.status)) + "\" data-n=\"" + svg_text(mark.text) +
            "\" data-from=\"" + base::shortest(mark.from) + "\" data-to=\"" + base::shortest(mark.to) + "\" d=\"M" +
            line + (thin ? "" : "H" + px(to) + "V" + px(y_.last) + "z") + "\"/>\n";
  }

  // Marks that stand too close for names of their own share one: every number once, neighbours as 3–5.
  static std::string joined(std::vector<std::string> names) {
    std::vector<int> numbers;
    std::string words;
    for (const auto& name : names) {
      const bool number = !name.empty() && name.size() < 6 && name.find_first_not_of("0123456789") == name.npos;
      if (number) {
        numbers.push_back(std::stoi(name));
      } else if (words.find(name) == words.npos) {
        words += (words.empty() ? "" : ", ") + name;
      }
    }
    std::sort(numbers.begin(), numbers.end());
    numbers.erase(std::unique(numbers.begin(), numbers.end()), numbers.end());
    for (std::size_t i = 0; i < numbers.size();) {
      auto j = i;
      while (j + 1 < numbers.size() && numbers[j + 1] == numbers[j] + 1) ++j;
      words += (words.empty() ? "" : ", ") + std::to_string(numbers[i]);
      if (j == i + 1) words += ", " + std::to_string(numbers[j]);
      if (j > i + 1) words += "–" + std::to_string(numbers[j]);
      i = j + 1;
    }
    return words;
  }

  void mark_names() {
    auto marks = plot_.marks;
    std::erase_if(marks, [](const Mark& mark) { return !std::isfinite(mark.from) || !std::isfinite(mark.to); });
    std::stable_sort(marks.begin(), marks.end(), [](const Mark& a, const Mark& b) { return a.from < b.from; });
    if (marks.empty()) return;
    out_ += "<g class=\"marknames\">\n";
    for (std::size_t i = 0; i < marks.size();) {
      const double x = x_.inside(marks[i].from);
      std::vector<std::string> names{marks[i].text};
      auto j = i + 1;
      while (j < marks.size() && x_.inside(marks[j].from) - x < 0.5 * kLetter * base::columns(joined(names)) + 12)
        names.push_back(marks[j++].text);
      const auto name = joined(names);
      const double half = 0.5 * kLetter * base::columns(name);
      text(std::clamp(x, half, std::max(half, width_ - half)), y_.last - 5, "name mid", name);
      i = j;
    }
    out_ += "</g>\n";
  }

  // In a column of their own on the right, each tied to its line; lines of one value share a name.
  void limit_names() {
    struct Name {
      double line, y;
      std::string text;
    };
    std::vector<Name> names;
    auto limits = plot_.limits;
    std::erase_if(limits, [&](const Limit& one) { return !(one.y >= plot_.y.low && one.y <= plot_.y.high); });
    std::stable_sort(limits.begin(), limits.end(), [](const Limit& a, const Limit& b) { return a.y > b.y; });
    for (const auto& limit : limits) names.push_back({y_.at(limit.y), y_.at(limit.y) + 4, limit.text});
    if (names.empty()) return;
    // Down from the top, then up again where the last ones fell off the picture.
    double last = y_.last - kLine;
    for (auto& name : names) last = name.y = std::max(name.y, last + kLine);
    double next = std::max(height_ - 2, last - 1e6);
    for (auto i = names.size(); i-- > 0;) next = names[i].y = std::min(names[i].y, next), next -= kLine;
    for (const auto& name : names) {
      const double x = x_.last;
      out_ += "<path class=\"lead\" d=\"M" + px(x) + " " + px(name.line) + "L" + px(x + 8) + " " + px(name.y - 4) +
              "\"/>\n";
      text(x + 10, name.y, "limitname", name.text);
    }
  }

  /// Bands stand in lanes that the axis names.
  static bool has_legend(const Plot& plot) {
    return plot.series.size() > 1 && plot.series.front().kind != Series::Kind::band;
  }

  void legend() {
    if (!has_legend(plot_)) return;
    double x = x_.first;
    for (const auto& series : plot_.series) {
      if (series.name.empty()) continue;
      out_ += "<path class=\"s" + std::to_string(series.style) + " key\" d=\"M" + px(x) + " 8h22\"/>\n";
      text(x + 26, 12, "keyname", series.name);
      x += 26 + 7.6 * base::columns(series.name) + 16;
    }
  }

  /// At most two points a column, the lowest and the highest, in the order they come.
  static std::vector<std::size_t> seen(const Series& series) {
    std::vector<std::size_t> chosen;
    const auto count = series.y.size();
    if (count <= 2 * kColumns || series.kind != Series::Kind::line) {
      for (std::size_t i = 0; i < count; ++i) chosen.push_back(i);
      return chosen;
    }
    for (std::size_t column = 0; column < kColumns; ++column) {
      const auto from = column * count / kColumns, to = (column + 1) * count / kColumns;
      std::size_t low = to, high = to;
      for (std::size_t i = from; i < to; ++i) {
        if (!std::isfinite(series.y[i])) continue;
        if (low == to || series.y[i] < series.y[low]) low = i;
        if (high == to || series.y[i] > series.y[high]) high = i;
      }
      if (low == to) {
        chosen.push_back(from);  // a gap stays one
        continue;
      }
      chosen.push_back(std::min(low, high));
      if (low != high) chosen.push_back(std::max(low, high));
    }
    return chosen;
  }

  void draw(const Series& series) {
    const auto css = "s" + std::to_string(series.style);
    const auto name = svg_text(series.name);
    std::string d;
    if (series.kind == Series::Kind::line) {
      // What lies outside the axes is not drawn as if it lay on their edge; a line only runs out to it.
      const auto points = seen(series);
      const auto inside = [&](std::size_t at) {
        return at < points.size() && std::isfinite(series.y[points[at]]) && series.y[points[at]] >= plot_.y.low &&
               series.y[points[at]] <= plot_.y.high;
      };
      std::size_t drawn = 0;  // points of the line that is open
      std::string here;
      const auto close = [&] {
        if (drawn == 1) d += "L" + here;  // a point alone shows as a dot
        drawn = 0;
      };
      for (std::size_t at = 0; at < points.size(); ++at) {
        const auto i = points[at];
        const bool shown = std::isfinite(series.y[i]) && (inside(at) || inside(at + 1) || (at > 0 && inside(at - 1)));
        if (!shown) {
          close();
          continue;
        }
        here = fine(x_.inside(series.x[i])) + " " + px(y_.inside(series.y[i]));
        d += (drawn > 0 ? "L" : "M") + here;
        ++drawn;
      }
      close();
      out_ += "<path class=\"line " + css + "\" data-name=\"" + name + "\" d=\"" + d + "\"/>\n";
    } else if (series.kind == Series::Kind::band) {
      // Forth along the upper edge and back along the lower, a column at a time.
      const auto count = series.y.size(), columns = std::min(count, kColumns);
      std::vector<std::string> back;
      for (std::size_t column = 0; column < columns; ++column) {
        const auto from = column * count / columns, to = std::max(from + 1, (column + 1) * count / columns);
        double high = series.y[from], low = series.y2[from];
        for (auto i = from; i < to; ++i) high = std::max(high, series.y[i]), low = std::min(low, series.y2[i]);
        const auto x = fine(x_.inside(series.x[from]));
        d += (d.empty() ? "M" : "L") + x + " " + px(y_.inside(high));
        back.push_back("L" + x + " " + px(y_.inside(low)));
      }
      const bool any = !d.empty();
      for (auto i = back.size(); i-- > 0;) d += back[i];
      if (any) d += "z";
      out_ += "<path class=\"band " + css + "\" data-name=\"" + name + "\" d=\"" + d + "\"/>\n";
    } else {
      for (std::size_t i = 0; i < series.y.size(); ++i) {
        if (!std::isfinite(series.y[i]) || series.y[i] <= plot_.y.low) continue;
        const double half = series.bar_width;
        const double from = x_.inside(plot_.x.logarithmic ? series.x[i] / half : series.x[i] - half);
        const double to = x_.inside(plot_.x.logarithmic ? series.x[i] * half : series.x[i] + half);
        d += "M" + px(from + 0.5) + " " + px(y_.first) + "V" + px(y_.inside(series.y[i])) + "H" + px(to - 0.5) + "V" +
             px(y_.first) + "z";
      }
      out_ += "<path class=\"bars " + css + "\" data-name=\"" + name + "\" d=\"" + d + "\"/>\n";
    }
  }

  const Plot& plot_;
  const double width_, height_;
  const Scale x_, y_;
  std::string out_;
};

}  // namespace

std::vector<Tick> round_ticks(double low, double high, int count) {
  std::vector<Tick> ticks;
  if (!(high > low) || count < 1 || !std::isfinite(high - low) ||
      std::max(std::abs(low), std::abs(high)) / (high - low) > 1e6)
    return ticks;
  const double raw = (high - low) / count;
  const double power = std::pow(10, std::floor(std::log10(raw)));
  double step = power;
  for (const double factor : {1.0, 2.0, 5.0, 10.0}) {
    step = factor * power;
    if (step >= raw) break;
  }
  for (auto k = static_cast<std::int64_t>(std::ceil(low / step - 1e-9));
       static_cast<double>(k) * step <= high + step * 1e-9; ++k) {
    const double at = static_cast<double>(k) * step;
    const int decimals = std::max(0, static_cast<int>(std::ceil(-std::log10(step) - 1e-9)));
    ticks.push_back({at, base::fixed(at, decimals)});
  }
  return ticks;
}

std::vector<Tick> time_ticks(double low, double high, int count) {
  constexpr double kSteps[] = {0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1,    2,    5,    10,   15,
                               30,   60,   120,  300, 600, 900, 1800, 3600, 7200, 14400};
  const double raw = (high - low) / std::max(1, count);
  double step = kSteps[0];
  for (const double candidate : kSteps) {
    step = candidate;
    if (candidate >= raw) break;
  }
  std::vector<Tick> ticks;
  if (!(high > low) || !((high - low) / step < 1000) || low < 0) return ticks;
  for (auto k = static_cast<std::int64_t>(std::ceil(low / step - 1e-9)); static_cast<double>(k) * step <= high + 1e-9;
       ++k)
    ticks.push_back({static_cast<double>(k) * step, base::clock_time(static_cast<double>(k) * step, step < 0.1 ? 2
                                                                                                    : step < 1 ? 1
                                                                                                               : 0)});
  return ticks;
}

std::string figure_of(const Plot& plot) {
  const auto id = svg_text(plot.id);
  return "<figure id=\"" + id + "\" class=\"picture\" data-kind=\"" + svg_text(plot.kind) + "\">\n<figcaption><h4>" +
         svg_text(plot.title) + "</h4><p>" + svg_text(plot.caption) +
         "</p></figcaption>\n<div class=\"scroll\" role=\"group\" aria-label=\"" + svg_text(plot.title) +
         ", picture\">\n" + Drawing(plot).draw() + "</div>\n</figure>\n";
}

}  // namespace sendworthy::sheet
