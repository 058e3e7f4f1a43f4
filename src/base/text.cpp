#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>

namespace sendworthy::base {
namespace {

constexpr std::string_view kReplacement = "\xEF\xBF\xBD";
constexpr std::size_t kLongestWord = 64;  // longer words are no slips of the hand, and comparing them is quadratic

struct Decoded {
  char32_t code_point = 0;
  int length = 1;  // bytes taken
  bool valid = false;
};

// One code point as in table 3-7 of the Unicode standard: no overlong forms, no surrogates, nothing above 10FFFF.
Decoded decode(std::string_view bytes, std::size_t at) {
  const auto byte = [&](std::size_t i) -> unsigned {
    return i < bytes.size() ? static_cast<unsigned char>(bytes[i]) : 0u;
  };
  const auto continues = [&](std::size_t i) { return (byte(i) & 0xC0u) == 0x80u; };
  const unsigned first = byte(at);
  if (first < 0x80) return {first, 1, true};
  if (first >= 0xC2 && first <= 0xDF && continues(at + 1))
    return {((first & 0x1Fu) << 6) | (byte(at + 1) & 0x3Fu), 2, true};
  if (first >= 0xE0 && first <= 0xEF && continues(at + 1) && continues(at + 2)) {
    const char32_t code = ((first & 0x0Fu) << 12) | ((byte(at + 1) & 0x3Fu) << 6) | (byte(at + 2) & 0x3Fu);
    if (code >= 0x800 && (code < 0xD800 || code > 0xDFFF)) return {code, 3, true};
  }
  if (first >= 0xF0 && first <= 0xF4 && continues(at + 1) && continues(at + 2) && continues(at + 3)) {
    const char32_t code = ((first & 0x07u) << 18) | ((byte(at + 1) & 0x3Fu) << 12) | ((byte(at + 2) & 0x3Fu) << 6) |
                          (byte(at + 3) & 0x3Fu);
    if (code >= 0x10000 && code <= 0x10FFFF) return {code, 4, true};
  }
  return {0xFFFD, 1, false};
}

template <class Visit>
void each_code_point(std::string_view bytes, Visit visit) {
  for (std::size_t at = 0; at < bytes.size();) {
    const auto decoded = decode(bytes, at);
    visit(decoded, bytes.substr(at, static_cast<std::size_t>(decoded.length)));
    at += static_cast<std::size_t>(decoded.length);
  }
}

struct Range {
  char32_t first, last;
};

template <std::size_t N>
bool in_ranges(char32_t code, const std::array<Range, N>& ranges) {
  return std::any_of(ranges.begin(), ranges.end(), [&](const Range& r) { return code >= r.first && code <= r.last; });
}

// Characters that move text about without being seen: a file name must not be able to reorder a line of the sheet.
bool reorders(char32_t code) {
  constexpr std::array<Range, 7> kRanges{
      {{0x061C, 0x061C}, {0x200B, 0x200B}, {0x200E, 0x200F}, {0x2060, 0x2064}, {0x2028, 0x202E}, {0x2066, 0x2069}, {0xFEFF, 0xFEFF}}};
  return in_ranges(code, kRanges);
}

// Columns by blocks, not by single characters: good enough to keep tables straight in the scripts names are written in.
int columns_of(char32_t code) {
  constexpr std::array<Range, 24> kZero{
      {{0x0300, 0x036F}, {0x0483, 0x0489}, {0x0591, 0x05BD}, {0x05BF, 0x05BF}, {0x05C1, 0x05C2}, {0x0610, 0x061A},
       {0x064B, 0x065F}, {0x0670, 0x0670}, {0x06D6, 0x06DC}, {0x0900, 0x0902}, {0x093C, 0x093C}, {0x0941, 0x0948},
       {0x094D, 0x094D}, {0x0E31, 0x0E31}, {0x0E34, 0x0E3A}, {0x0E47, 0x0E4E}, {0x1AB0, 0x1AFF}, {0x1DC0, 0x1DFF},
       {0x200B, 0x200F}, {0x202A, 0x202E}, {0x2060, 0x206F}, {0x20D0, 0x20FF}, {0xFE00, 0xFE0F}, {0xFE20, 0xFE2F}}};
  constexpr std::array<Range, 12> kWide{{{0x1100, 0x115F},
                                         {0x2E80, 0x303E},
                                         {0x3041, 0x33FF},
                                         {0x3400, 0x4DBF},
                                         {0x4E00, 0x9FFF},
                                         {0xA000, 0xA4CF},
                                         {0xAC00, 0xD7A3},
                                         {0xF900, 0xFAFF},
                                         {0xFE30, 0xFE6F},
                                         {0xFF00, 0xFF60},
                                         {0x1F300, 0x1FAFF},
                                         {0x20000, 0x3FFFD}}};
  if (code < 0x20 || (code >= 0x7F && code < 0xA0)) return 0;
  if (code < 0x300) return 1;
  if (in_ranges(code, kZero)) return 0;
  return in_ranges(code, kWide) ? 2 : 1;
}

// Hyphens, underscores and case are what people mix up first, so they count as the same letter.
char folded(char c) {
  if (c == '-' || c == ' ') return '_';
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

// Edit distance with neighbours swapped as one edit (optimal string alignment).
int distance(std::string_view a, std::string_view b) {
  const std::size_t n = b.size();
  std::vector<int> before(n + 1), previous(n + 1), current(n + 1);
  for (std::size_t j = 0; j <= n; ++j) previous[j] = static_cast<int>(j);
  for (std::size_t i = 1; i <= a.size(); ++i) {
    current[0] = static_cast<int>(i);
    for (std::size_t j = 1; j <= n; ++j) {
      const int change = folded(a[i - 1]) == folded(b[j - 1]) ? 0 : 1;
      current[j] = std::min({previous[j] + 1, current[j - 1] + 1, previous[j - 1] + change});
      if (i > 1 && j > 1 && folded(a[i - 1]) == folded(b[j - 2]) && folded(a[i - 2]) == folded(b[j - 1]))
        current[j] = std::min(current[j], before[j - 2] + 1);
    }
    std::swap(before, previous);
    std::swap(previous, current);
  }
  return previous[n];
}

}  // namespace

std::string clean_utf8(std::string_view bytes) {
  std::string out;
  out.reserve(bytes.size());
  each_code_point(bytes, [&](const Decoded& d, std::string_view as_is) { out += d.valid ? as_is : kReplacement; });
  return out;
}

std::vector<CodePoint> code_points(std::string_view bytes) {
  std::vector<CodePoint> points;
  each_code_point(bytes, [&](const Decoded& d, std::string_view as_is) { points.push_back({d.code_point, d.valid, as_is}); });
  return points;
}

std::string percent_encoded(std::string_view bytes) {
  static constexpr char kHex[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte > 0x20 && byte < 0x7F && c != '%') {
      out += c;
    } else {
      out += '%';
      out += kHex[byte >> 4];
      out += kHex[byte & 15];
    }
  }
  return out;
}

std::string percent_decoded(std::string_view text) {
  const auto digit = [](char c) { return c >= '0' && c <= '9' ? c - '0' : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1; };
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '%' && i + 2 < text.size() && digit(text[i + 1]) >= 0 && digit(text[i + 2]) >= 0) {
      out += static_cast<char>(digit(text[i + 1]) * 16 + digit(text[i + 2]));
      i += 2;
    } else {
      out += text[i];
    }
  }
  return out;
}

std::string for_terminal(std::string_view bytes) {
  std::string out;
  out.reserve(bytes.size());
  each_code_point(bytes, [&](const Decoded& d, std::string_view as_is) {
    const auto code = d.code_point;
    if (!d.valid) {
      out += kReplacement;
    } else if (code == '\n') {
      out += "\\n";
    } else if (code == '\r') {
      out += "\\r";
    } else if (code == '\t') {
      out += "\\t";
    } else if (code < 0x20 || (code >= 0x7F && code < 0xA0) || reorders(code)) {
      out += fmt::format("\\u{{{:x}}}", static_cast<unsigned>(code));
    } else {
      out += as_is;
    }
  });
  return out;
}

std::string for_xml(std::string_view bytes) {
  std::string out;
  out.reserve(bytes.size());
  each_code_point(bytes, [&](const Decoded& d, std::string_view as_is) {
    const auto code = d.code_point;
    const bool allowed = d.valid && (code >= 0x20 || code == '\t' || code == '\n' || code == '\r') && code != 0xFFFE &&
                         code != 0xFFFF;  // production [2] of XML 1.0
    if (!allowed) {
      out += kReplacement;
    } else if (code == '&') {
      out += "&amp;";
    } else if (code == '<') {
      out += "&lt;";
    } else if (code == '>') {
      out += "&gt;";
    } else if (code == '"') {
      out += "&quot;";
    } else if (code == '\'') {
      out += "&apos;";
    } else if (code < 0x20) {
      // As references they survive the normalisation of attribute values and line ends.
      out += fmt::format("&#{};", static_cast<unsigned>(code));
    } else {
      out += as_is;
    }
  });
  return out;
}

std::string for_csv(std::string_view bytes) {
  std::string text = clean_utf8(bytes);
  std::replace(text.begin(), text.end(), '\0', ' ');
  if (!text.empty() && std::string_view("=+-@\t\r").find(text.front()) != std::string_view::npos)
    text.insert(text.begin(), '\'');
  if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + "\"";
}

std::string toml_text(std::string_view bytes) {
  const auto unseen = [](char32_t code) {
    return code < 0x20 || code == 0x7F || (code >= 0x200B && code <= 0x200F) || (code >= 0x2028 && code <= 0x202E) ||
           (code >= 0x2066 && code <= 0x2069) || code == 0xFEFF;
  };
  std::string out = "\"";
  each_code_point(bytes, [&](const Decoded& d, std::string_view as_is) {
    if (!d.valid) {
      out += kReplacement;
    } else if (d.code_point == U'"' || d.code_point == U'\\') {
      out += '\\';
      out += as_is;
    } else if (unseen(d.code_point)) {
      out += fmt::format("\\u{:04x}", static_cast<unsigned>(d.code_point));
    } else {
      out += as_is;
    }
  });
  return out + "\"";
}

std::string fixed(double value, int decimals) {
  if (std::isnan(value)) return "nan";
  if (std::isinf(value)) return value < 0 ? "-inf" : "inf";
  decimals = std::clamp(decimals, 0, 40);
  const double magnitude = std::fabs(value);
  std::string text;
  // A double lies exactly half way between two decimals only if it ends with the next digit; those few are rounded
  // by hand, because formatting rounds them to even.
  const double scaled = std::ldexp(magnitude, decimals + 1);
  if (std::isfinite(scaled) && scaled == std::floor(scaled)) {
    text = fmt::format("{:.{}f}", magnitude, decimals + 1);
    const bool up = text.back() >= '5';
    text.pop_back();
    if (text.back() == '.') text.pop_back();
    for (auto at = text.size(); up && at-- > 0;) {
      if (text[at] == '.') continue;
      if (text[at] != '9') {
        ++text[at];
        break;
      }
      text[at] = '0';
      if (at == 0) text.insert(text.begin(), '1');
    }
  } else {
    text = fmt::format("{:.{}f}", magnitude, decimals);
  }
  const bool zero = text.find_first_not_of("0.") == std::string::npos;
  return value < 0 && !zero ? "-" + text : text;
}

std::string shortest(double value) { return value == 0 ? "0" : fmt::format("{}", value); }

std::string clock_time(double seconds, int decimals) {
  constexpr double kLongest = 1e9;  // 31 years: beyond that the number says it better
  if (!std::isfinite(seconds) || std::fabs(seconds) >= kLongest) return shortest(seconds) + " s";
  decimals = std::clamp(decimals, 0, 9);
  const double unit = std::pow(10.0, decimals);
  const auto units = static_cast<long long>(std::floor(std::fabs(seconds) * unit + 0.5));
  const auto per_second = static_cast<long long>(unit);
  const long long whole = units / per_second;
  std::string text = seconds < 0 && units > 0 ? "-" : "";
  if (whole >= 3600) {
    text += fmt::format("{}:{:02}:{:02}", whole / 3600, whole / 60 % 60, whole % 60);
  } else {
    text += fmt::format("{}:{:02}", whole / 60, whole % 60);
  }
  if (decimals > 0) text += fmt::format(".{:0{}}", units % per_second, decimals);
  return text;
}

int columns(std::string_view text) {
  int count = 0;
  each_code_point(text, [&](const Decoded& d, std::string_view) { count += columns_of(d.code_point); });
  return count;
}

std::vector<std::string> wrap(std::string_view text, int width) {
  width = std::max(width, 1);
  std::vector<std::string> lines;
  std::string line, word;
  int line_columns = 0, word_columns = 0;
  const auto end_line = [&] {
    lines.push_back(line);
    line.clear();
    line_columns = 0;
  };
  const auto end_word = [&] {
    if (word.empty()) return;
    if (!line.empty() && line_columns + 1 + word_columns > width) end_line();
    if (!line.empty()) {
      line += ' ';
      ++line_columns;
    }
    line += word;
    line_columns += word_columns;
    word.clear();
    word_columns = 0;
  };
  each_code_point(text, [&](const Decoded& d, std::string_view as_is) {
    if (d.valid && d.code_point == '\n') {
      end_word();
      end_line();
    } else if (d.valid && (d.code_point == ' ' || d.code_point == '\t' || d.code_point == '\r')) {
      end_word();
    } else {
      const int more = columns_of(d.code_point);
      if (word_columns > 0 && word_columns + more > width) {  // a word longer than a line is cut
        end_word();
        end_line();
      }
      word += d.valid ? as_is : kReplacement;
      word_columns += more;
    }
  });
  end_word();
  if (!line.empty()) end_line();
  return lines;
}

std::string_view nearest(std::string_view word, const std::vector<std::string_view>& candidates) {
  if (word.empty() || word.size() > kLongestWord) return {};
  std::string_view best;
  int best_distance = std::numeric_limits<int>::max();
  for (const auto candidate : candidates) {
    if (candidate.empty() || candidate.size() > kLongestWord) continue;
    const int allowed = std::max(1, static_cast<int>(std::max(word.size(), candidate.size())) / 3);
    const int edits = distance(word, candidate);
    if (edits <= allowed && edits < best_distance) {
      best = candidate;
      best_distance = edits;
    }
  }
  if (!best.empty() || word.size() < 4) return best;
  // Half a name is no slip of the hand, but it is clear what was meant when the name begins or ends with it.
  for (const auto candidate : candidates) {
    if (candidate.size() <= word.size() || candidate.size() > kLongestWord) continue;
    if (distance(candidate.substr(0, word.size()), word) == 0 ||
        distance(candidate.substr(candidate.size() - word.size()), word) == 0) {
      if (best.empty() || candidate.size() < best.size()) best = candidate;
    }
  }
  return best;
}

bool matches_pattern(std::string_view pattern, std::string_view text) {
  // On a mismatch only the last star can take one character more: earlier ones never need to be tried again.
  constexpr auto kNone = std::string_view::npos;
  std::size_t p = 0, t = 0, star = kNone, star_text = 0;
  while (t < text.size()) {
    const auto in_text = decode(text, t);
    if (p < pattern.size() && pattern[p] == '*') {
      star = p++;
      star_text = t;
      continue;
    }
    if (p < pattern.size()) {
      const auto in_pattern = decode(pattern, p);
      const auto text_bytes = text.substr(t, static_cast<std::size_t>(in_text.length));
      const auto pattern_bytes = pattern.substr(p, static_cast<std::size_t>(in_pattern.length));
      if (pattern[p] == '?' || text_bytes == pattern_bytes) {
        p += pattern_bytes.size();
        t += text_bytes.size();
        continue;
      }
    }
    if (star == kNone) return false;
    star_text += static_cast<std::size_t>(decode(text, star_text).length);
    t = star_text;
    p = star + 1;
  }
  while (p < pattern.size() && pattern[p] == '*') ++p;
  return p == pattern.size();
}

}  // namespace sendworthy::base
