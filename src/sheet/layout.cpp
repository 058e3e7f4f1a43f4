#include "sheet/layout.h"

#include <algorithm>
#include <array>

#include "base/text.h"

namespace sendworthy::sheet {
namespace {

constexpr int kNarrowest = 20;                       // narrower than this, words are more often cut than not
constexpr int kLeastText = 16;                       // columns a text gets before its indent gives way
constexpr std::string_view kSpace = "\xEE\x83\xB0";  // U+E0F0, private use: one column, no word ends at it

std::string with_spaces(std::string text) {
  for (auto at = text.find(kSpace); at != std::string::npos; at = text.find(kSpace, at + 1))
    text.replace(at, kSpace.size(), " ");
  while (!text.empty() && text.back() == ' ') text.pop_back();  // a long name was cut there
  return text;
}

std::string_view code_of(Ink ink) {
  switch (ink) {
    case Ink::none:
      return "";
    case Ink::strong:
      return "1";
    case Ink::pass:
      return "1;36";
    case Ink::warn:
      return "1;33";
    case Ink::fail:
      return "1;7";
    case Ink::not_measured:
      return "1;35";
    case Ink::faint:
      return "2";
  }
  return "";
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Numbers stay whole: no line ends inside "11 808 000", nor between a number and its unit.
std::string with_whole_numbers(std::string_view text) {
  static constexpr std::array<std::string_view, 11> kUnits{"dB", "LU", "LUFS", "dBTP", "dBFS", "dB(A)", "Hz", "kHz", "s", "h", "%"};
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    bool whole = text[i] == ' ' && i > 0 && is_digit(text[i - 1]) && i + 1 < text.size();
    if (whole && !is_digit(text[i + 1])) {
      const auto word = text.substr(i + 1, text.find_first_of(" ,;.:)", i + 1) - i - 1);
      whole = std::find(kUnits.begin(), kUnits.end(), word) != kUnits.end() || text.substr(i + 1).starts_with("dB(A)");
    } else if (whole) {
      // Three digits follow, and no fourth: a group of thousands.
      whole = i + 3 < text.size() && is_digit(text[i + 2]) && is_digit(text[i + 3]) && (i + 4 == text.size() || !is_digit(text[i + 4]));
    }
    whole ? out.append(kSpace) : out += std::string_view(&text[i], 1);
  }
  return out;
}

}  // namespace

Ink ink_of(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return Ink::pass;
    case Verdict::warn:
      return Ink::warn;
    case Verdict::fail:
      return Ink::fail;
  }
  return Ink::fail;
}

Page::Page(int width, Colour colour) : width_(std::max(width, kNarrowest)), colour_(colour == Colour::on) {}

void Page::blank() {
  if (!out_.empty() && !out_.ends_with("\n\n")) out_ += '\n';
}

std::string Page::inked(std::string_view text, Ink ink) const {
  const auto code = code_of(ink);
  if (!colour_ || code.empty() || text.empty()) return std::string(text);
  return "\x1b[" + std::string(code) + "m" + std::string(text) + "\x1b[0m";
}

void Page::paragraph(int indent, std::string_view label, int hang, std::string_view text, Ink label_ink, Ink text_ink) {
  const int label_columns = base::columns(label);
  if (width_ - indent - hang < kLeastText) {
    indent = std::clamp(width_ - hang - kLeastText, 0, indent);
    if (width_ - indent - hang < kLeastText) hang = std::max(0, width_ - indent - kLeastText);
  }
  const int start = indent + hang;
  const int gap = label_columns == 0 ? hang : hang - label_columns;
  const std::string margin(static_cast<std::size_t>(indent), ' ');
  auto lines = base::wrap(with_whole_numbers(text), width_ - start);
  if (label_columns > 0 && gap < 1) {  // the label has a line of its own
    for (const auto& part : base::wrap(label, width_ - indent))
      out_ += margin + inked(with_spaces(part), label_ink) + '\n';
    label = "";
  }
  bool first = true;
  if (lines.empty() && !label.empty()) lines.emplace_back();
  for (const auto& part : lines) {
    out_ += margin;
    if (first && !label.empty()) {
      out_ += inked(with_spaces(std::string(label)), label_ink);
      if (!part.empty()) out_.append(static_cast<std::size_t>(gap), ' ');
    } else {
      out_.append(static_cast<std::size_t>(hang), ' ');
    }
    out_ += inked(with_spaces(part), text_ink) + '\n';
    first = false;
  }
}

std::string unbroken(std::string_view text) {
  std::string out;
  for (const char c : text) c == ' ' ? out.append(kSpace) : out += std::string_view(&c, 1);
  return out;
}

}  // namespace sendworthy::sheet
