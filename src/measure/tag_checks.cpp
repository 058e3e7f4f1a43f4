#include "measure/tag_checks.h"

#include <algorithm>
#include <optional>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/text.h"

namespace sendworthy::measure {
namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_upper(char c) { return c >= 'A' && c <= 'Z'; }
bool is_letter(char c) { return is_upper(c) || (c >= 'a' && c <= 'z'); }
bool is_alnum(char c) { return is_letter(c) || is_digit(c); }
char upper(char c) { return c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c; }

constexpr std::size_t kIsrcLength = 12;
// ISO 3901: two letters, three letters or digits, then year and designation in digits.
bool fits_isrc(char c, std::size_t at) { return at < 2 ? is_upper(c) : at < 5 ? is_upper(c) || is_digit(c) : is_digit(c); }

// The byte that Windows-1252 has for a character; nothing where it has none.
std::optional<unsigned char> western_byte(char32_t code) {
  static constexpr char32_t kHigh[32] = {0x20AC, 0,      0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160,
                                         0x2039, 0x0152, 0,      0x017D, 0,      0,      0x2018, 0x2019, 0x201C, 0x201D, 0x2022,
                                         0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0,      0x017E, 0x0178};
  if (code < 0x100) return static_cast<unsigned char>(code);
  for (std::size_t i = 0; i < 32; ++i)
    if (kHigh[i] == code) return static_cast<unsigned char>(0x80 + i);
  return std::nullopt;
}

bool word_before(std::string_view text, std::size_t at) { return at > 0 && is_alnum(text[at - 1]); }

// The first Macintosh systems parted folders with colons, and some exports still do: the disk's default name in front, or three
// names and more without a blank behind the colon, the last of them with an ending. "Take 1: ok" and "10:00:00" are none.
bool has_colon_path(std::string_view text) {
  constexpr std::string_view kDisk = "Macintosh HD:";
  const auto disk = text.find(kDisk);
  if (disk != std::string_view::npos && disk + kDisk.size() < text.size() && text[disk + kDisk.size()] > ' ') return true;
  for (std::size_t at = 0; at < text.size();) {
    auto end = text.find_first_of("\r\n\t\"<>", at);
    if (end == std::string_view::npos) end = text.size();
    const auto line = text.substr(at, end - at);
    at = end + 1;
    int colons = 0;
    bool names = !line.empty() && is_letter(line.front()) && line.find("//") == std::string_view::npos;
    for (std::size_t i = 0; names && i < line.size(); ++i) {
      if (line[i] != ':') continue;
      ++colons;
      names = i + 1 < line.size() && (is_alnum(line[i + 1]) || static_cast<unsigned char>(line[i + 1]) >= 0x80 || line[i + 1] == '_');
    }
    if (!names || colons < 2) continue;
    const auto last = line.substr(line.rfind(':') + 1);
    const auto dot = last.rfind('.');
    const auto ending = dot == std::string_view::npos ? std::string_view() : last.substr(dot + 1);
    if (dot > 0 && ending.size() >= 2 && ending.size() <= 5 && is_letter(ending.front()) && std::all_of(ending.begin(), ending.end(), is_alnum))
      return true;
  }
  return false;
}

bool has_path(std::string_view text) {
  if (has_colon_path(text)) return true;
  for (const std::string_view root : {"/Users/", "/home/", "/Volumes/", "/private/", "/var/folders/", "/mnt/", "/media/", "file://"}) {
    for (auto at = text.find(root); at != std::string_view::npos; at = text.find(root, at + 1)) {
      const bool goes_on = at + root.size() < text.size() && text[at + root.size()] > ' ';
      // "https://host/home/" is an address on the web.
      const bool inside = word_before(text, at) && root.front() == '/';
      if (goes_on && !inside) return true;
    }
  }
  for (std::size_t at = 0; at + 3 < text.size(); ++at) {
    const auto rest = text.substr(at);
    if (is_letter(rest[0]) && rest[1] == ':' && !word_before(text, at)) {
      if (rest[2] == '\\' && is_alnum(rest[3])) return true;
      if (rest[2] == '/' && rest.size() > 4 && is_alnum(rest[3]) && is_alnum(rest[4])) return true;
    }
    if (rest.starts_with("\\\\") && is_alnum(rest[2]) && rest.find('\\', 3) != std::string_view::npos && (at == 0 || text[at - 1] != '\\'))
      return true;
  }
  return false;
}

bool has_mail(std::string_view text) {
  const auto local = [](char c) { return is_alnum(c) || c == '.' || c == '_' || c == '%' || c == '+' || c == '-'; };
  for (auto at = text.find('@'); at != std::string_view::npos; at = text.find('@', at + 1)) {
    if (at == 0 || !local(text[at - 1])) continue;
    auto end = at + 1;
    while (end < text.size() && (is_alnum(text[end]) || text[end] == '-' || text[end] == '.')) ++end;
    auto host = text.substr(at + 1, end - at - 1);
    while (host.ends_with('.')) host.remove_suffix(1);
    const auto dot = host.rfind('.');
    if (dot == std::string_view::npos || dot == 0) continue;
    const auto ending = host.substr(dot + 1);
    if (ending.size() >= 2 && std::all_of(ending.begin(), ending.end(), is_letter)) return true;
  }
  return false;
}

// What computers are called when nobody named them: a stock word and a random ending, or a name in the local network.
bool has_machine(std::string_view text) {
  for (const std::string_view stock : {"DESKTOP-", "LAPTOP-", "WIN-"}) {
    for (auto at = text.find(stock); at != std::string_view::npos; at = text.find(stock, at + 1)) {
      std::size_t random = 0;
      bool digit = false;
      for (auto i = at + stock.size(); i < text.size() && (is_upper(text[i]) || is_digit(text[i])); ++i, ++random) digit = digit || is_digit(text[i]);
      if (random >= 7 && random <= 11 && digit && !word_before(text, at)) return true;
    }
  }
  for (auto at = text.find(".local"); at != std::string_view::npos; at = text.find(".local", at + 1)) {
    const auto behind = at + 6;
    if (at >= 2 && is_alnum(text[at - 1]) && (behind == text.size() || (!is_alnum(text[behind]) && text[behind] != '/'))) return true;
  }
  return false;
}

}  // namespace

std::string isrc_code(std::string_view text) {
  std::string code;
  for (const char c : text)
    if (c != '-' && c != ' ' && c != '\t') code += upper(c);
  if (code.starts_with("ISRC")) code.erase(0, code.starts_with("ISRC:") ? 5 : 4);
  return code;
}

std::string isrc_trouble(std::string_view text) {
  const auto code = isrc_code(text);
  if (code.size() != kIsrcLength) return fmt::format("{} characters where {} belong", code.size(), kIsrcLength);
  std::vector<std::string> wrong;
  for (std::size_t at = 0; at < code.size(); ++at) {
    const char c = code[at];
    if (fits_isrc(c, at)) continue;
    const std::string_view wanted = at < 2 ? "a letter" : at < 5 ? "a letter or digit" : "a digit";
    std::string_view hint;
    if (at >= 5 && c == 'O') hint = "the letter O; the digit 0 may be meant";
    if (at >= 5 && (c == 'I' || c == 'L')) hint = "a letter; the digit 1 may be meant";
    if (at < 2 && c == '0') hint = "the digit 0; the letter O may be meant";
    if (at < 2 && c == '1') hint = "the digit 1; the letter I may be meant";
    wrong.push_back(hint.empty() ? fmt::format("character {} is not {}", at + 1, wanted) : fmt::format("character {} is {}", at + 1, hint));
  }
  return fmt::format("{}", fmt::join(wrong, "; "));
}

std::vector<std::string> isrcs_in_name(std::string_view name) {
  std::vector<std::string> found;
  for (std::size_t at = 0; at < name.size(); ++at) {
    if (word_before(name, at)) continue;
    std::string code;
    auto end = at;
    while (end < name.size() && code.size() < kIsrcLength) {
      const char c = name[end];
      const bool hyphen = c == '-' && (code.size() == 2 || code.size() == 5 || code.size() == 7) && name[end - 1] != '-';
      if (!hyphen && !fits_isrc(c, code.size())) break;
      if (!hyphen) code += c;
      ++end;
    }
    if (code.size() == kIsrcLength && (end == name.size() || !is_alnum(name[end]))) found.push_back(code);
  }
  return found;
}

std::string gtin_trouble(std::string_view text) {
  std::string digits;
  for (const char c : text) {
    if (c == ' ' || c == '-') continue;
    if (!is_digit(c)) return "holds what is no digit";
    digits += c;
  }
  if (digits.size() != 8 && digits.size() != 12 && digits.size() != 13 && digits.size() != 14)
    return fmt::format("{} digits where 8, 12, 13 or 14 belong", digits.size());
  // GS1: from the right, the digit beside the check digit times 3, the next times 1, and so on.
  int sum = 0;
  for (std::size_t i = 0; i + 1 < digits.size(); ++i) {
    const int digit = digits[digits.size() - 2 - i] - '0';
    sum += digit * (i % 2 == 0 ? 3 : 1);
  }
  const int check = (10 - sum % 10) % 10;
  if (digits.back() - '0' == check) return {};
  return fmt::format("the check digit is {}, by the other digits it must be {}", digits.back(), check);
}

std::string gtin_code(std::string_view text) {
  std::string digits;
  for (const char c : text)
    if (is_digit(c)) digits += c;
  if (digits.size() < 14) digits.insert(0, 14 - digits.size(), '0');
  return digits;
}

bool valid_utf8(std::string_view text) {
  const auto points = base::code_points(text);
  return std::all_of(points.begin(), points.end(), [](const base::CodePoint& point) { return point.valid; });
}

bool garbled(std::string_view text) {
  std::string run;  // neighbouring characters beyond ASCII, as the bytes they once were
  const auto hides_utf8 = [&] {
    const bool hides = run.size() >= 2 && valid_utf8(run);
    run.clear();
    return hides;
  };
  for (const auto& point : base::code_points(text)) {
    if (point.valid && point.code == 0xFFFD) return true;
    const auto byte = point.valid && point.code >= 0x80 ? western_byte(point.code) : std::nullopt;
    if (byte && *byte >= 0x80) {
      run += static_cast<char>(*byte);
    } else if (hides_utf8()) {
      return true;
    }
  }
  return hides_utf8();
}

std::string folded(std::string_view text) {
  std::string out;
  for (const char c : text)
    if (is_alnum(c)) out += is_upper(c) ? static_cast<char>(c - 'A' + 'a') : c;
  return out;
}

std::string shortened(std::string_view text, std::size_t most_bytes) {
  if (text.size() <= most_bytes) return std::string(text);
  auto end = most_bytes;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
  return std::string(text.substr(0, end));
}

std::string personal_trace(std::string_view text) {
  if (has_path(text)) return "a path";
  if (has_mail(text)) return "an e-mail address";
  if (has_machine(text)) return "a machine's name";
  return {};
}

}  // namespace sendworthy::measure
