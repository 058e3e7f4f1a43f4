#include "desk/outline.h"

#include <algorithm>
#include <cmath>
#include <span>
#include <string_view>
#include <utility>

#include "base/os.h"
#include "dsp/planar.h"

namespace sendworthy::desk {
namespace {

constexpr int kPartsOfAStretch = 8;
constexpr std::int64_t kStretchesOfAColumn = 4;
static_assert(kOutlineSteps.front() == dsp::kSubBlock);

std::string level_path(const std::string& folder, std::size_t level) { return folder + "/outline." + std::to_string(level); }

void merge(Extent& into, const Extent& other) {
  into.low = std::min(into.low, other.low);
  into.high = std::max(into.high, other.high);
  into.squares += other.squares;
}

/// Reads values of one file from anywhere.
template <class Value>
Result<std::vector<Value>> read_values(const std::string& path, std::int64_t first, std::int64_t count) {
  auto file = base::InputFile::open(path);
  if (!file) return tl::unexpected(file.error());
  std::vector<Value> values(static_cast<std::size_t>(count));
  const auto bytes = count * static_cast<std::int64_t>(sizeof(Value));
  if (file->read_at(first * static_cast<std::int64_t>(sizeof(Value)), values.data(), bytes) != bytes)
    return fail(ErrorCode::unreadable, "what was decoded of the sound cannot be read any more; load the page again");
  return values;
}

OutlineColumn column_of(const Extent& extent, double samples) {
  return {extent.low, extent.high, std::sqrt(std::max(0.0, extent.squares / samples))};
}

std::int64_t border(std::int64_t from, std::int64_t to, int column, int columns) {
  return from + (to - from) * column / columns;
}

Extent extent_of(std::span<const float> samples) {
  Extent extent{samples.front(), samples.front(), 0};
  for (const float x : samples) merge(extent, {x, x, static_cast<double>(x) * x});
  return extent;
}

}  // namespace

Result<OutlineWriter> OutlineWriter::make(const std::string& folder, int channels) {
  std::vector<Level> levels;
  for (std::size_t level = 0; level < kOutlineSteps.size(); ++level) {
    auto file = base::NewFile::make(level_path(folder, level));
    if (!file) return tl::unexpected(file.error());
    levels.push_back({std::move(*file), {}, {}, 0});
  }
  return OutlineWriter(std::move(levels), channels);
}

void OutlineWriter::put(std::size_t level, const Extent& extent) {
  levels_[level].ready.push_back(extent);
  if (level + 1 == levels_.size()) return;
  auto& next = levels_[level + 1];
  if (next.parts == 0) {
    next.open = extent;
  } else {
    merge(next.open, extent);
  }
  if (++next.parts < kPartsOfAStretch) return;
  next.parts = 0;
  put(level + 1, next.open);
}

Result<void> OutlineWriter::flush() {
  for (auto& level : levels_) {
    const auto* const bytes = reinterpret_cast<const char*>(level.ready.data());
    if (auto ok = level.file.write({bytes, level.ready.size() * sizeof(Extent)}); !ok) return ok;
    level.ready.clear();
  }
  return {};
}

Result<void> OutlineWriter::add(const float* rows, std::int64_t stride, int frames) {
  const auto subs = static_cast<std::size_t>((frames + dsp::kSubBlock - 1) / dsp::kSubBlock);
  std::vector<Extent> extents(subs);
  low_.resize(subs), high_.resize(subs), squares_.resize(subs);
  for (int c = 0; c < channels_; ++c) {
    dsp::sub_extremes(rows + c * stride, frames, high_.data(), low_.data(), squares_.data());
    for (std::size_t i = 0; i < subs; ++i) {
      const Extent own{low_[i], high_[i], squares_[i]};
      if (c == 0) extents[i] = own;
      else merge(extents[i], own);
    }
  }
  for (const auto& extent : extents) put(0, extent);
  return flush();
}

Result<void> OutlineWriter::finish() {
  for (std::size_t level = 1; level < levels_.size(); ++level) {
    if (std::exchange(levels_[level].parts, 0) > 0) put(level, levels_[level].open);
  }
  return flush();
}

std::optional<std::size_t> outline_level(std::int64_t frames_per_column) {
  std::optional<std::size_t> found;
  for (std::size_t level = 0; level < kOutlineSteps.size(); ++level) {
    if (frames_per_column >= kStretchesOfAColumn * kOutlineSteps[level]) found = level;
  }
  return found;
}

std::int64_t outline_needs(std::int64_t from, std::int64_t to, int columns) {
  const auto level = outline_level((to - from) / columns);
  if (!level) return to;
  const auto step = kOutlineSteps[*level];
  return (to + step - 1) / step * step;
}

Result<Outline> read_outline(const std::string& folder, const std::string& samples, int channels, std::int64_t decoded, std::int64_t from,
                             std::int64_t to, int columns) {
  Outline outline;
  outline.columns.reserve(static_cast<std::size_t>(columns));
  const auto level = outline_level((to - from) / columns);
  if (!level) {
    const auto values = read_values<float>(samples, from * channels, (to - from) * channels);
    if (!values) return tl::unexpected(values.error());
    outline.looked_at = static_cast<std::int64_t>(values->size());
    for (int column = 0; column < columns; ++column) {
      const auto begin = (border(from, to, column, columns) - from) * channels, end = (border(from, to, column + 1, columns) - from) * channels;
      const auto own = std::span(*values).subspan(static_cast<std::size_t>(begin), static_cast<std::size_t>(end - begin));
      outline.columns.push_back(column_of(extent_of(own), static_cast<double>(own.size())));
    }
    return outline;
  }
  const auto step = kOutlineSteps[*level];
  const auto first = from / step, last = (to + step - 1) / step;
  const auto extents = read_values<Extent>(level_path(folder, *level), first, last - first);
  if (!extents) return tl::unexpected(extents.error());
  outline.looked_at = last - first;
  for (int column = 0; column < columns; ++column) {
    const auto begin = border(from, to, column, columns) / step, end = (border(from, to, column + 1, columns) + step - 1) / step;
    auto extent = (*extents)[static_cast<std::size_t>(begin - first)];
    for (auto i = begin + 1; i < end; ++i) merge(extent, (*extents)[static_cast<std::size_t>(i - first)]);
    outline.columns.push_back(column_of(extent, static_cast<double>((std::min(end * step, decoded) - begin * step) * channels)));
  }
  return outline;
}

}  // namespace sendworthy::desk
