#include "desk/head.h"

#include <algorithm>

namespace sendworthy::desk {
namespace {

bool is_named(std::string_view line, std::string_view name) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; };
  return line.size() > name.size() && line[name.size()] == ':' && std::ranges::equal(line.substr(0, name.size()), name, {}, lower, lower);
}

}  // namespace

std::string with_plain_head(std::string_view came) {
  constexpr std::string_view kEnd = "\r\n", kRange = "range";
  std::string out;
  bool folded = false;
  for (bool first = true;; first = false) {
    const auto line = came.substr(0, came.find('\n') + 1);
    if (line.empty() || (!first && line == kEnd)) break;
    came.remove_prefix(line.size());
    if (!first && (line.front() == ' ' || line.front() == '\t')) {
      folded = true;
    } else if (!first && is_named(line, kRange)) {
      out += kRangeHeader;
      out += line.substr(kRange.size());
    } else {
      out += line;
    }
  }
  if (folded) out.append(kFoldedHeader).append(": yes").append(kEnd);
  return out.append(came);
}

}  // namespace sendworthy::desk
