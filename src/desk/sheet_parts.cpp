#include "desk/sheet_parts.h"

#include <charconv>
#include <cstdint>
#include <vector>

#include "base/os.h"

namespace sendworthy::desk {
namespace {

// Text out of files stands escaped in a page, so that none of these can be in it.
constexpr std::string_view kMain = "<main>\n", kFile = "<section class=\"file", kEnd = "</main>\n";

std::vector<std::int64_t> numbers_in(std::string_view text) {
  std::vector<std::int64_t> numbers;
  const char* const end = text.data() + text.size();
  for (const char* at = text.data(); at < end;) {
    std::int64_t number = 0;
    const auto [next, error] = std::from_chars(at, end, number);
    if (error != std::errc()) break;
    numbers.push_back(number);
    at = next < end ? next + 1 : end;
  }
  return numbers;
}

}  // namespace

std::string places_of_parts(std::string_view html) {
  const auto main = html.find(kMain), end = html.rfind(kEnd);
  if (main == html.npos || end == html.npos) return {};
  auto text = std::to_string(main + kMain.size());
  for (auto at = html.find(kFile, main); at != html.npos; at = html.find(kFile, at + 1)) text += " " + std::to_string(at);
  return text + " " + std::to_string(end) + " " + std::to_string(html.size());
}

Result<std::string> page_of_part(const std::string& html_path, std::string_view places, std::size_t part) {
  // The end of the head, where each file begins, where the last one ends, and the end.
  const auto at = numbers_in(places);
  if (part == 0 || at.size() < 4 || part > at.size() - 3) return fail(ErrorCode::missing, "the sheet has no such file; load the page again");
  auto file = base::InputFile::open(html_path);
  if (!file) return tl::unexpected(file.error());
  std::string page;
  const auto add = [&](std::int64_t from, std::int64_t to) {
    if (from < 0 || to < from || to > file->size()) return false;
    const auto before = page.size();
    page.resize(before + static_cast<std::size_t>(to - from));
    return file->read_at(from, page.data() + before, to - from) == to - from;
  };
  const bool whole = add(0, at[0]) && add(at[part], at[part + 1]) && add(at[at.size() - 2], at.back());
  if (!whole) return fail(ErrorCode::unreadable, "the sheet could not be read; check again");
  return page;
}

}  // namespace sendworthy::desk
