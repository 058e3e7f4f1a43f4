#include "desk/kept_lines.h"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <span>
#include <unordered_map>
#include <utility>
#include <vector>

#include "base/text.h"

namespace sendworthy::desk {
namespace {

constexpr std::size_t kMostChanged = 1000, kMostSteps = 1u << 26;

struct Line {
  std::string_view words, end;
};

std::vector<Line> lines_of(std::string_view text) {
  std::vector<Line> lines;
  for (std::size_t begin = 0;;) {
    const auto feed = text.find('\n', begin);
    if (feed == std::string_view::npos) {
      lines.push_back({text.substr(begin), {}});
      return lines;
    }
    const bool two = feed > begin && text[feed - 1] == '\r';
    lines.push_back({text.substr(begin, feed - begin - (two ? 1 : 0)), text.substr(feed - (two ? 1 : 0), two ? 2 : 1)});
    begin = feed + 1;
  }
}

using Ids = std::span<const std::size_t>;

/// The pairs of lines that are the same in a shortest way from one to the other; none where that changes too much.
/// Myers, An O(ND) difference algorithm and its variations, 1986.
std::vector<std::pair<std::size_t, std::size_t>> kept_pairs(Ids old, Ids fresh) {
  const auto old_lines = std::ssize(old), fresh_lines = std::ssize(fresh);
  const auto most = static_cast<std::ptrdiff_t>(std::min({kMostChanged, kMostSteps / (old.size() + fresh.size() + 1), old.size() + fresh.size()}));
  // How far into the old lines so many changes reach, by how many more old than new lines are behind.
  std::vector<std::vector<std::ptrdiff_t>> reached;
  const auto start = [&](std::ptrdiff_t changes, std::ptrdiff_t diagonal) -> std::pair<std::ptrdiff_t, std::ptrdiff_t> {
    if (changes == 0) return {0, 0};
    const auto& last = reached[static_cast<std::size_t>(changes - 1)];
    const auto at = [&](std::ptrdiff_t d) { return last[static_cast<std::size_t>(d + changes - 1)]; };
    const bool adds = diagonal == -changes || (diagonal != changes && at(diagonal - 1) < at(diagonal + 1));
    return adds ? std::pair{at(diagonal + 1), diagonal + 1} : std::pair{at(diagonal - 1), diagonal - 1};
  };
  for (std::ptrdiff_t changes = 0; changes <= most; ++changes) {
    std::vector<std::ptrdiff_t> now(static_cast<std::size_t>(2 * changes + 1), 0);
    for (auto diagonal = -changes; diagonal <= changes; diagonal += 2) {
      const auto [from, above] = start(changes, diagonal);
      auto x = from + (above < diagonal ? 1 : 0);
      while (x < old_lines && x - diagonal < fresh_lines && old[static_cast<std::size_t>(x)] == fresh[static_cast<std::size_t>(x - diagonal)]) ++x;
      now[static_cast<std::size_t>(diagonal + changes)] = x;
      if (x != old_lines || x - diagonal != fresh_lines) continue;
      std::vector<std::pair<std::size_t, std::size_t>> pairs;
      auto d = diagonal;
      for (auto left = changes; left >= 0; --left) {
        const auto [begin, before] = start(left, d);
        for (const auto first = begin + (before < d ? 1 : 0); x > first; --x) pairs.emplace_back(x - 1, x - 1 - d);
        x = begin;
        d = before;
      }
      std::ranges::reverse(pairs);
      return pairs;
    }
    reached.push_back(std::move(now));
  }
  return {};
}

}  // namespace

std::string with_lines_of(std::string_view before, std::string_view edited) {
  const auto old = lines_of(before), fresh = lines_of(edited);
  std::unordered_map<std::string, std::size_t> known;
  const auto id_of = [&](std::string words) { return known.try_emplace(std::move(words), known.size()).first->second; };
  std::vector<std::size_t> old_ids, fresh_ids;
  for (const auto& line : old) old_ids.push_back(id_of(base::clean_utf8(line.words)));
  for (const auto& line : fresh) fresh_ids.push_back(id_of(std::string(line.words)));
  const auto most = std::min(old.size(), fresh.size());
  std::size_t head = 0, tail = 0;
  while (head < most && old_ids[head] == fresh_ids[head]) ++head;
  while (tail < most - head && old_ids[old.size() - 1 - tail] == fresh_ids[fresh.size() - 1 - tail]) ++tail;

  std::vector<std::optional<std::size_t>> kept(fresh.size());
  for (std::size_t i = 0; i < head; ++i) kept[i] = i;
  for (std::size_t i = 1; i <= tail; ++i) kept[fresh.size() - i] = old.size() - i;
  const auto middle = [&](const std::vector<std::size_t>& ids) { return Ids(ids).subspan(head, ids.size() - head - tail); };
  for (const auto& [from, to] : kept_pairs(middle(old_ids), middle(fresh_ids))) kept[head + to] = head + from;
  // Before which old line those stand that were changed or added.
  std::vector<std::size_t> until(fresh.size(), old.size());
  for (std::size_t i = fresh.size() - 1; i-- > 0;) until[i] = kept[i + 1].value_or(until[i + 1]);

  std::string_view usual = old.front().end.empty() ? "\n" : old.front().end;
  std::string text;
  std::size_t next = 0;
  for (std::size_t i = 0; i < fresh.size(); ++i) {
    text += kept[i] ? old[*kept[i]].words : fresh[i].words;
    if (i + 1 == fresh.size()) break;
    const auto place = kept[i].value_or(next);
    if (kept[i] || place < until[i]) {
      if (!old[place].end.empty()) usual = old[place].end;
      next = place + 1;
    }
    text += usual;
  }
  return text;
}

}  // namespace sendworthy::desk
