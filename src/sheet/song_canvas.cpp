#include "sheet/song_canvas.h"

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "sheet/html_findings.h"

namespace sendworthy::sheet {
namespace {

constexpr double kLeft = 66, kRight = 132;     // of pictures over time
constexpr double kStripTop = 2, kStrip = 22;   // the sections' names
constexpr double kTimes = 42;                   // below the frame: times and their name
constexpr double kPlaceRow = 17, kMark = 9;     // rows of places of findings, and how high a place is
constexpr double kLine = 15;                   // between lines of text
constexpr double kThinnest = 7;                // of a section that gets borders
constexpr double kBold = 1.2;                  // wider than other letters
constexpr std::size_t kMostRows = 24;
constexpr std::size_t kMostBorders = 400;

bool sound(double value) { return std::isfinite(value); }

}  // namespace

std::string fitting(std::string_view text, double width) {
  const auto clean = base::for_terminal(text);
  const auto room = static_cast<int>(width / kSongLetter);
  if (base::columns(clean) <= room) return clean;
  if (room < 3) return {};
  std::string kept;
  for (const auto& point : base::code_points(clean)) {
    if (base::columns(kept + std::string(point.bytes)) >= room) break;
    kept += point.bytes;
  }
  return kept + "…";
}

std::string with_sign(double value, std::string_view unit) {
  const auto digits = base::fixed(value, 1);
  return (digits.starts_with('-') || digits == "0.0" ? "" : "+") + digits + " " + std::string(unit);
}

void Canvas::text(double x, double y, std::string_view css, std::string_view words, std::string_view more) {
  if (words.empty()) return;
  out_ += "<text class=\"" + std::string(css) + "\" x=\"" + px(x) + "\" y=\"" + px(y) + "\"" + std::string(more) + ">" + svg_text(words) + "</text>\n";
}

void Canvas::path(std::string_view css, const std::string& d, const std::string& more) {
  if (!d.empty()) out_ += "<path class=\"" + std::string(css) + "\"" + more + " d=\"" + d + "\"/>\n";
}

void Canvas::begin_clip(const Scale& x, const Scale& y) {
  const auto box = px(x.first) + " " + px(y.last) + " " + px(x.last - x.first) + " " + px(y.first - y.last);
  out_ += "<svg x=\"" + px(x.first) + "\" y=\"" + px(y.last) + "\" width=\"" + px(x.last - x.first) + "\" height=\"" + px(y.first - y.last) + "\" viewBox=\"" + box + "\">\n";
}

void Canvas::up(const Scale& x, const Scale& y, const std::vector<Tick>& ticks, std::string_view label) {
  for (const auto& tick : ticks) {
    path("rule", "M" + px(x.first) + " " + px(y.at(tick.at)) + "H" + px(x.last));
    text(x.first - 6, y.at(tick.at) + 4, "tick end", tick.text);
  }
  path("axis", "M" + px(x.first) + " " + px(y.last) + "V" + px(y.first) + "H" + px(x.last));
  const auto middle = px((y.first + y.last) / 2);
  text(14, (y.first + y.last) / 2, "label mid", label, " transform=\"rotate(-90 14 " + middle + ")\"");
}

void Canvas::names(double x, std::vector<LineName> names) {
  std::ranges::stable_sort(names, {}, &LineName::y);
  double last = -1e9;
  for (auto& name : names) {
    const double at = std::max(name.y + 4, last + kLine);
    path("lead", "M" + px(x) + " " + px(name.y) + "L" + px(x + 8) + " " + px(at - 4));
    text(x + 11, at, "limitname", name.text);
    last = at;
  }
}

std::string Canvas::figure(const Words& words, std::string_view css, const std::string& data) {
  const auto id = svg_text(words.id), title = svg_text(words.title);
  // Without a script nothing tells whether the box scrolls: it can always be reached with the keyboard.
  auto out = "<figure id=\"" + id + "\" class=\"picture\" data-kind=\"" + svg_text(words.kind) + "\">\n<figcaption><h3>" + title + "</h3><p>" + svg_text(words.caption) +
             "</p></figcaption>\n<div class=\"scroll\" role=\"group\" tabindex=\"0\" aria-label=\"" + title + ", picture\">\n<svg class=\"plot " + std::string(css) +
             "\" role=\"img\" aria-labelledby=\"" + id + "-t " + id + "-d\" viewBox=\"0 0 " + px(width_) + " " + px(height_) + "\"" + data + ">\n<title id=\"" + id + "-t\">" + title +
             "</title>\n<desc id=\"" + id + "-d\">" + svg_text(words.caption + (words.more.empty() ? "" : " " + words.more)) + "</desc>\n" + out_ + "</svg>\n</div>\n</figure>\n";
  out_.clear();
  return out;
}

TimeFrame::TimeFrame(const SongSheet& song, double length_s, double height, const std::vector<Numbered>& findings, const std::vector<std::string_view>& rules)
    : song_(song), x_{kLeft, kSongWidth - kRight, 0, std::max(0.001, length_s), false}, top_(song.sections.empty() ? 10 : kStripTop + kStrip + 6), bottom_(top_ + height), length_s_(x_.high) {
  for (const auto& one : findings) {
    if (one.finding->status != Status::pass && !one.finding->where.empty() && std::ranges::find(rules, one.finding->rule) != rules.end()) findings_.push_back(one);
  }
}

std::size_t TimeFrame::rows() const { return std::min(kMostRows, findings_.size()); }

double TimeFrame::height() const {
  const auto lines = static_cast<double>(rows() + (rows() < findings_.size() ? 1 : 0));
  return bottom_ + kTimes + (lines > 0 ? kPlaceRow * lines + 2 : 0);
}

void TimeFrame::draw(Canvas& canvas) const {
  for (const auto& tick : time_ticks(0, length_s_, 8)) {
    canvas.path("rule", "M" + px(x_.at(tick.at)) + " " + px(bottom_) + "v5");
    canvas.text(x_.at(tick.at), bottom_ + 18, "tick mid", tick.text);
  }
  canvas.text((x_.first + x_.last) / 2, bottom_ + 35, "label mid", "time in the mix (minutes:seconds)");
  std::string borders, boxes;
  for (std::size_t i = 0; i < std::min(kMostBorders, song_.sections.size()); ++i) {
    const auto& section = song_.sections[i];
    if (!sound(section.start_s) || !sound(section.end_s) || section.end_s <= section.start_s) continue;
    const double from = x_.inside(section.start_s), to = x_.inside(section.end_s), width = to - from;
    const bool marked = section.biggest || section.quietest;
    if (width < kThinnest) continue;  // borders side by side would be all that is seen
    for (const double x : {from, to}) borders += "M" + px(x) + " " + px(top_) + "V" + px(bottom_);
    boxes += "M" + px(from) + " " + px(kStripTop) + "H" + px(to) + "v" + px(kStrip) + "H" + px(from) + "z";
    auto name = fitting(section.name, (width - 8) / (marked ? kBold : 1));
    // A name that does not fit gives way to the section's number, which the table has too.
    if (const auto number = std::to_string(i + 1); name.empty() && kSongLetter * static_cast<double>(number.size()) < width - 2) name = number;
    canvas.text((from + to) / 2, kStripTop + 15, marked ? "part name mid" : "part mid", name);
  }
  canvas.path("rule strip", boxes);
  canvas.path("rule border", borders);
}

void TimeFrame::places(Canvas& canvas) const {
  // A row for each finding, so that places at the same time do not cover one another and each can be told by its number.
  double y = bottom_ + kTimes + 2;
  for (std::size_t i = 0; i < rows(); ++i, y += kPlaceRow) {
    const auto& one = findings_[i];
    const std::string css(gravity_of(*one.finding)), number = std::to_string(one.number);
    canvas.path("rule", "M" + px(x_.first) + " " + px(y + kMark / 2) + "H" + px(x_.last));
    canvas.text(x_.first - 6, y + kMark - 1, "name end", number);
    for (const auto& where : one.finding->where) {
      if (!sound(where.start_s) || !sound(where.end_s)) continue;
      const double from = x_.inside(where.start_s), to = std::max(x_.inside(where.end_s), from + 2);
      canvas.path("mark " + css, "M" + px(from) + " " + px(y) + "H" + px(to) + "v" + px(kMark) + "H" + px(from) + "z",
                  " data-n=\"" + number + "\" data-from=\"" + base::shortest(where.start_s) + "\" data-to=\"" + base::shortest(where.end_s) + "\"");
    }
  }
  if (rows() == 0) return;
  canvas.text(x_.last + 11, bottom_ + kTimes + kMark + 1, "tick", rows() == 1 ? "finding" : "findings");
  if (rows() < findings_.size()) canvas.text(x_.first, y + kMark, "tick", "and " + std::to_string(findings_.size() - rows()) + " more findings");
}

}  // namespace sendworthy::sheet
