#include "base/lines.h"

#include "base/table.h"
#include "base/text.h"

namespace sendworthy::base {

std::vector<std::string> lines_for_terminal(std::string_view bytes) {
  std::vector<std::string> lines;
  while (!bytes.empty()) {
    const auto end = bytes.find('\n');
    auto line = bytes.substr(0, end);
    if (line.ends_with('\r')) line.remove_suffix(1);
    if (!is_blank(line)) lines.push_back(for_terminal(line));
    bytes.remove_prefix(end == bytes.npos ? bytes.size() : end + 1);
  }
  return lines;
}

}  // namespace sendworthy::base
