#include "sheet/markdown.h"

#include <cctype>

#include "base/text.h"

namespace sendworthy::sheet {
namespace {

bool is_word(char c) {
  return std::isalnum(static_cast<unsigned char>(c)) != 0 || static_cast<unsigned char>(c) >= 0x80;
}

}  // namespace

std::string md(std::string_view bytes) {
  const std::string text = base::for_terminal(bytes);
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    const bool inside = i > 0 && i + 1 < text.size() && is_word(text[i - 1]) && is_word(text[i + 1]);
    const bool marks = std::string_view("\\`*[]<>|&~#$").find(c) != std::string_view::npos || (c == '_' && !inside);
    if (marks) out += '\\';
    out += c;
  }
  return out;
}

}  // namespace sendworthy::sheet
