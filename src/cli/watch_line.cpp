#include "cli/watch_line.h"

#include <algorithm>
#include <cstdint>
#include <limits>
#include <vector>

#include "base/text.h"
#include "sheet/layout.h"
#include "sheet/phrases.h"

namespace sendworthy::cli {
namespace {

constexpr std::size_t kShown = 3;
constexpr int kVerdictHang = 6;
constexpr int kNoSheetHang = 10;

std::string with_space(std::string text) { return text.empty() ? text : ": " + text; }

}  // namespace

std::string worst_of(const FileSheet& file, const Catalog& catalog) {
  std::vector<std::string> lines;
  for (const auto wanted : {Verdict::fail, Verdict::warn}) {
    for (const auto& finding : file.findings) {
      if (verdict_of({finding}) != wanted) continue;
      auto words = sheet::headline(finding, catalog);
      // Two rule sets may ask for the same.
      if (std::find(lines.begin(), lines.end(), words) == lines.end()) lines.push_back(std::move(words));
    }
  }
  std::string text;
  for (std::size_t i = 0; i < std::min(lines.size(), kShown); ++i) text += (i == 0 ? "" : "; ") + lines[i];
  if (lines.size() > kShown) text += "; " + sheet::and_more(kShown, static_cast<std::int64_t>(lines.size()));
  return text;
}

std::string watch_line(const FileSheet& file, const Catalog& catalog, double seconds, Colour colour, bool quiet) {
  // A line that is never wrapped: what reads it reads lines.
  sheet::Page page(std::numeric_limits<int>::max() / 2, colour);
  const auto name = sheet::unbroken(sheet::path_of(file));
  if (file.error) {
    page.paragraph(0, "NO SHEET", kNoSheetHang, name + (quiet ? "" : with_space(base::for_terminal(file.error->text))),
                   sheet::Ink::fail);
    return page.take();
  }
  const auto took = " (" + base::fixed(seconds, 1) + " s)";
  const auto what = with_space(sheet::counts_text(sheet::count(file.findings))) + with_space(worst_of(file, catalog)) + took;
  page.paragraph(0, sheet::verdict_word(file.verdict), kVerdictHang, name + (quiet ? "" : what), sheet::ink_of(file.verdict));
  return page.take();
}

}  // namespace sendworthy::cli
