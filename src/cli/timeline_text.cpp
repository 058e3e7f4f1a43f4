#include "cli/timeline_text.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "base/text.h"

namespace sendworthy::cli {
namespace {

constexpr double kMaxRows = 120;
constexpr int kCellColumns = 14;

std::string right(std::string_view text, int width) {
  const int used = base::columns(text);
  return std::string(static_cast<std::size_t>(std::max(width - used, 0)), ' ') + std::string(text);
}

std::string cell(const Timeline& timeline, double from_s, double to_s) {
  const bool lowest = timeline.id == "correlation";
  double chosen = std::numeric_limits<double>::quiet_NaN();
  // Half a step of slack, so that a point on the border belongs to exactly one row whatever the rounding.
  const double slack = timeline.step_s / 2;
  const auto first = static_cast<std::int64_t>(std::ceil((from_s - timeline.start_s - slack) / timeline.step_s));
  const auto last = static_cast<std::int64_t>(std::ceil((to_s - timeline.start_s - slack) / timeline.step_s));
  const auto size = static_cast<std::int64_t>(timeline.values.size());
  for (auto i = std::max<std::int64_t>(first, 0); i < std::min(last, size); ++i) {
    const double value = timeline.values[static_cast<std::size_t>(i)];
    if (!std::isfinite(value)) continue;
    if (std::isnan(chosen) || (lowest ? value < chosen : value > chosen)) chosen = value;
  }
  return std::isnan(chosen) ? "-" : base::fixed(chosen, timeline.decimals);
}

std::string table(const FileSheet& file) {
  std::vector<const Timeline*> shown;
  double end_s = 0;
  for (const auto& timeline : file.timelines) {
    if (timeline.step_s <= 0 || timeline.values.empty()) continue;
    end_s = std::max(end_s, timeline.start_s + timeline.step_s * static_cast<double>(timeline.values.size()));
    // The envelope of each channel is for plots; JSON and CSV have it.
    if (timeline.channel == 0) shown.push_back(&timeline);
  }
  if (shown.empty()) return {};
  std::string text = "\n" + base::for_terminal(file.path) + " over time\n" + right("from", 9);
  std::string units = right("", 9);
  for (const auto* timeline : shown) {
    auto title = timeline->id;
    std::replace(title.begin(), title.end(), '_', ' ');
    text += right(title, kCellColumns);
    units += right(timeline->unit, kCellColumns);
  }
  text += "\n" + units + "\n";
  const double step_s = std::max(1.0, std::ceil(end_s / kMaxRows));
  for (double from_s = 0; from_s < end_s; from_s += step_s) {
    text += right(base::clock_time(from_s, 0), 9);
    for (const auto* timeline : shown) text += right(cell(*timeline, from_s, from_s + step_s), kCellColumns);
    text += "\n";
  }
  return text;
}

}  // namespace

std::string timelines_as_csv(const Sheet& sheet) {
  std::string text = "file,series,channel,time_s,value,unit\r\n";
  for (const auto& file : sheet.files) {
    const auto path = base::for_csv(file.path);
    for (const auto& timeline : file.timelines) {
      const auto head = path + "," + base::for_csv(timeline.id) + "," + std::to_string(timeline.channel) + ",";
      const auto tail = "," + base::for_csv(timeline.unit) + "\r\n";
      for (std::size_t i = 0; i < timeline.values.size(); ++i) {
        const double value = timeline.values[i];
        text += head + base::fixed(timeline.start_s + timeline.step_s * static_cast<double>(i), 3) + ",";
        if (std::isfinite(value)) text += base::fixed(value, timeline.decimals);
        text += tail;
      }
    }
  }
  return text;
}

std::string timelines_as_text(const Sheet& sheet) {
  std::string text;
  for (const auto& file : sheet.files) text += table(file);
  return text;
}

}  // namespace sendworthy::cli
