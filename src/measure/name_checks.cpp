#include "measure/name_checks.h"

#include <algorithm>
#include <array>
#include <cstdlib>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "base/text.h"

namespace sendworthy::measure {
namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_upper(char c) { return c >= 'A' && c <= 'Z'; }
bool is_lower(char c) { return c >= 'a' && c <= 'z'; }
bool is_word(char c) { return is_digit(c) || is_upper(c) || is_lower(c) || static_cast<unsigned char>(c) >= 0x80; }

std::string lower(std::string_view text) {
  std::string out(text);
  for (auto& c : out) c = is_upper(c) ? static_cast<char>(c - 'A' + 'a') : c;
  return out;
}

bool all_digits(std::string_view text) { return !text.empty() && std::all_of(text.begin(), text.end(), is_digit); }

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

// Windows keeps these for devices, with any ending behind them ("Naming Files, Paths, and Namespaces").
bool reserved(std::string_view name) {
  const auto base = lower(trimmed(name.substr(0, name.find('.'))));
  if (base == "con" || base == "prn" || base == "aux" || base == "nul") return true;
  if (!base.starts_with("com") && !base.starts_with("lpt")) return false;
  const auto number = std::string_view(base).substr(3);
  return (number.size() == 1 && is_digit(number[0])) || number == "\u00b9" || number == "\u00b2" || number == "\u00b3";
}

struct Range {
  char32_t first, last;
};
bool in(char32_t code, std::initializer_list<Range> ranges) {
  return std::any_of(ranges.begin(), ranges.end(), [code](Range r) { return code >= r.first && code <= r.last; });
}
// Unseen, or moving text about.
bool invisible(char32_t code) {
  return in(code, {{0xA0, 0xA0}, {0xAD, 0xAD}, {0x61C, 0x61C}, {0x180E, 0x180E}, {0x2000, 0x200F}, {0x2028, 0x202F}, {0x205F, 0x206F},
                   {0x3000, 0x3000}, {0xFEFF, 0xFEFF}, {0xFFF0, 0xFFFB}});
}
bool picture_sign(char32_t code) {
  return in(code, {{0x2190, 0x21FF}, {0x2300, 0x23FF}, {0x2460, 0x24FF}, {0x2500, 0x27BF}, {0x2900, 0x297F}, {0x2B00, 0x2BFF},
                   {0xE000, 0xF8FF}, {0xFE00, 0xFE0F}, {0x1F000, 0x1FAFF}, {0xE0000, 0x10FFFF}});
}
bool combining(char32_t code) { return in(code, {{0x300, 0x36F}}); }

void add(std::vector<std::string>& list, std::string text) {
  if (std::find(list.begin(), list.end(), text) == list.end()) list.push_back(std::move(text));
}

// A word as it stands, with what stood before it.
struct Token {
  std::string text;  ///< lower case
  char before = 0;   ///< the character in front of it; 0 at the start of the name
  char mark = 0;     ///< what parts it from the word before, blanks aside: "_", "-", "(" …; a blank if nothing else; 0 at the start
  char after = 0;    ///< likewise behind it; 0 at the end
  bool small = false;  ///< written without capitals
};

// The sign among those between two words; a blank if there are only blanks.
char sign_among(std::string_view between) {
  for (const char c : between)
    if (c != ' ') return c;
  return between.empty() ? '\0' : ' ';
}

// Words parted by everything but letters and digits; a point between two digits belongs to the number.
std::vector<Token> tokens_of(std::string_view stem) {
  std::vector<Token> tokens;
  std::size_t behind = 0;
  for (std::size_t at = 0; at < stem.size();) {
    if (!is_word(stem[at])) {
      ++at;
      continue;
    }
    auto end = at;
    while (end < stem.size() &&
           (is_word(stem[end]) || (stem[end] == '.' && end > at && is_digit(stem[end - 1]) && end + 1 < stem.size() && is_digit(stem[end + 1]))))
      ++end;
    const auto as_is = stem.substr(at, end - at);
    const auto between = stem.substr(behind, at - behind);
    if (!tokens.empty()) tokens.back().after = sign_among(between);
    tokens.push_back({lower(as_is), at > 0 ? stem[at - 1] : '\0', sign_among(between), 0, std::none_of(as_is.begin(), as_is.end(), is_upper)});
    behind = at = end;
  }
  if (!tokens.empty()) tokens.back().after = sign_among(stem.substr(behind));
  return tokens;
}

struct NamedRate {
  std::string_view name;
  double hz;
  bool common;  ///< without "Hz" behind it too
};
constexpr NamedRate kRates[] = {
    {"8", 8000, false},      {"11.025", 11025, false}, {"16", 16000, false},   {"22.05", 22050, false}, {"24", 24000, false},
    {"32", 32000, false},    {"44", 44100, true},      {"44.1", 44100, true},  {"48", 48000, true},     {"88", 88200, true},
    {"88.2", 88200, true},   {"96", 96000, true},      {"176", 176400, true},  {"176.4", 176400, true}, {"192", 192000, true},
    {"352.8", 352800, true}, {"384", 384000, true},
};
const NamedRate* rate_called(std::string_view text) {
  const auto found = std::find_if(std::begin(kRates), std::end(kRates), [text](const NamedRate& r) { return r.name == text; });
  return found == std::end(kRates) ? nullptr : found;
}
// In full: "44100", "96000".
const NamedRate* rate_in_hertz(std::string_view text) {
  const auto found = std::find_if(std::begin(kRates), std::end(kRates),
                                  [text](const NamedRate& r) { return r.common && text.size() >= 5 && text == fmt::format("{:.0f}", r.hz); });
  return found == std::end(kRates) ? nullptr : found;
}
std::optional<int> depth_called(std::string_view text) {
  for (const int bits : {16, 20, 24, 32, 64})
    if (text == std::to_string(bits)) return bits;
  return std::nullopt;
}

std::string_view number_at_front(std::string_view text) {
  std::size_t end = 0;
  while (end < text.size() && (is_digit(text[end]) || (text[end] == '.' && end > 0 && end + 1 < text.size() && is_digit(text[end + 1])))) ++end;
  return text.substr(0, end);
}

bool float_word(std::string_view text) {
  return text == "f" || text == "fp" || text == "bf" || text == "float" || text == "bitfloat" || text == "bitf";
}
bool bit_word(std::string_view text) { return text == "bit" || text == "bits"; }

// "24bit", "32f", "32": what stands behind a rate or alone.
bool take_depth(std::string_view text, bool bare, NameClaims& claims) {
  const auto number = number_at_front(text);
  const auto bits = depth_called(number);
  if (!bits) return false;
  const auto rest = text.substr(number.size());
  if (float_word(rest)) {
    if (*bits < 32) return false;
    claims.floating = true;
  } else if (!bit_word(rest) && !(bare && rest.empty())) {
    return false;
  }
  claims.bits = *bits;
  return true;
}

// "48k", "44.1k16", "96khz", "48k24bit".
bool take_rate(std::string_view text, bool lossy, NameClaims& claims) {
  const auto number = number_at_front(text);
  const auto* rate = rate_called(number);
  auto rest = text.substr(number.size());
  if (const auto* full = rate_in_hertz(number); full != nullptr && rest == "hz") {
    claims.rate_hz = full->hz;
    return true;
  }
  if (rate == nullptr || !rest.starts_with('k')) return false;
  rest.remove_prefix(1);
  const bool hertz = rest.starts_with("hz");
  if (hertz) rest.remove_prefix(2);
  if (rest.empty()) {
    if (!hertz && (lossy || !rate->common)) return false;
  } else if (!take_depth(rest, true, claims)) {
    return false;
  }
  claims.rate_hz = rate->hz;
  return true;
}

// "4824", "9624", "4416".
bool take_glued(std::string_view text, NameClaims& claims) {
  if (!all_digits(text) || text.size() < 4 || text.size() > 5) return false;
  const auto* rate = rate_called(text.substr(0, text.size() - 2));
  const auto bits = depth_called(text.substr(text.size() - 2));
  if (rate == nullptr || !rate->common || !bits || *bits > 32) return false;
  claims.rate_hz = rate->hz;
  claims.bits = *bits;
  return true;
}

// "48_24", "44.1-16", "24-96", "44100-16": a rate and a depth in either order. Three numbers in a row may be a date.
bool take_pair(const std::vector<Token>& tokens, std::size_t i, NameClaims& claims) {
  const auto& first = tokens[i];
  const auto& second = tokens[i + 1];
  const char sign = second.mark;
  if (second.before != sign || (sign != '_' && sign != '-')) return false;
  const bool third = (i > 0 && first.mark == sign && all_digits(tokens[i - 1].text)) ||
                     (i + 2 < tokens.size() && second.after == sign && all_digits(tokens[i + 2].text));
  const auto rate_of = [](std::string_view text) {
    const auto* rate = rate_called(text);
    return rate != nullptr && rate->common ? rate : rate_in_hertz(text);
  };
  for (const bool rate_first : {true, false}) {
    const auto& rate_text = rate_first ? first.text : second.text;
    const auto* rate = rate_of(rate_text);
    const auto bits = depth_called(rate_first ? second.text : first.text);
    if (rate == nullptr || !bits || *bits > 32) continue;
    // 44.1 and 44100 are nothing but rates. "24-96" behind a blank may be part of a title, and a date among other numbers.
    const bool plain = rate_text.size() > 3;
    if (!plain && (third || first.mark == ' ' || first.mark == 0)) continue;
    claims.rate_hz = rate->hz;
    claims.bits = *bits;
    return true;
  }
  return false;
}

// Takes what token i, or i and the next, promise. Returns how many tokens it took.
std::size_t take(const std::vector<Token>& tokens, std::size_t i, bool lossy, NameClaims& claims) {
  const auto& text = tokens[i].text;
  const auto* next = i + 1 < tokens.size() ? &tokens[i + 1] : nullptr;
  if (take_rate(text, lossy, claims)) return 1;
  if (take_depth(text, false, claims)) {
    if (next != nullptr && next->text == "float") {
      claims.floating = true;
      return 2;
    }
    return 1;
  }
  if (next != nullptr && next->text == "khz") {
    if (const auto* rate = rate_called(text)) {
      claims.rate_hz = rate->hz;
      return 2;
    }
  }
  if (next != nullptr && (bit_word(next->text) || next->text == "float")) {
    if (const auto bits = depth_called(text)) {
      claims.bits = *bits;
      const bool bit_float = i + 2 < tokens.size() && bit_word(next->text) && tokens[i + 2].text == "float";
      claims.floating = claims.floating || next->text == "float" || bit_float;
      return bit_float ? 3 : 2;
    }
  }
  if (next != nullptr && take_pair(tokens, i, claims)) return 2;
  if (i + 1 == tokens.size() && tokens[i].mark != ' ' && tokens[i].mark != 0 && take_glued(text, claims)) return 1;
  return 0;
}

bool version_word(std::string_view text) {
  for (const std::string_view front : {"v", "ver", "version", "mix", "master", "r", "rev", "take", "edit"})
    if (text.starts_with(front) && (text.size() == front.size() ? front.size() > 1 : all_digits(text.substr(front.size())))) return true;
  return all_digits(text);
}

std::optional<int> channels_called(std::string_view text) {
  constexpr std::pair<std::string_view, int> kWords[] = {{"mono", 1}, {"stereo", 2}, {"5.1", 6}, {"7.1", 8}};
  for (const auto& [word, channels] : kWords)
    if (text == word) return channels;
  return std::nullopt;
}

bool khz_or_bit(std::string_view text) { return text == "khz" || bit_word(text) || text == "float"; }

// Everything behind the title proper: rates, depths, channels, versions.
bool says_format(const Token& token) {
  NameClaims ignored;
  return version_word(token.text) || channels_called(token.text) || take_rate(token.text, false, ignored) ||
         take_depth(token.text, true, ignored) || khz_or_bit(token.text);
}

// Words that may stand between a title and the end of a name without being part of the title.
bool loose_word(std::string_view text) {
  for (const std::string_view word : {"final", "premaster", "mixdown", "instrumental", "inst", "acapella", "acappella", "vocal", "vocals", "clean", "radio",
                                      "tv", "main", "print", "stem", "stems", "bounce", "export", "wav", "lossless", "dithered", "limited", "unlimited",
                                      "int", "pcm", "hires", "hd", "copy", "new", "demo", "rough", "ref", "live"})
    if (text == word) return true;
  return false;
}

// Whether tokens [i, i + count) can be no part of a title: everything behind them tells formats and versions, or signs other than
// blanks fence them off on both sides. "32 Bit Kid" and "96kHz Dreams" are songs.
bool stands_apart(const std::vector<Token>& tokens, std::size_t i, std::size_t count) {
  if (i == 0 && (tokens.size() == count || tokens[count - 1].after == ' ')) return false;
  // Some put an underscore for every blank: "My_32_Bit_Kid".
  const bool words = count > 1 && khz_or_bit(tokens[i + 1].text);
  const bool fenced = !words && tokens[i].mark != ' ' && tokens[i + count - 1].after != ' ';
  return fenced || std::all_of(tokens.begin() + static_cast<std::ptrdiff_t>(i + count), tokens.end(),
                               [](const Token& t) { return says_format(t) || loose_word(t.text) || rate_in_hertz(t.text) != nullptr; });
}

// What copying a file beside itself makes: "song (1).wav". Behind it only rates, depths and the like may stand.
std::string bracketed_number(std::string_view stem) {
  for (auto open = stem.find('('); open != std::string_view::npos; open = stem.find('(', open + 1)) {
    const auto close = stem.find(')', open);
    if (close == std::string_view::npos) return {};
    const auto inside = stem.substr(open + 1, close - open - 1);
    if (!all_digits(inside) || inside.size() > 2) continue;
    const auto behind = tokens_of(stem.substr(close + 1));
    if (std::all_of(behind.begin(), behind.end(), says_format)) return std::string(stem.substr(open, close - open + 1));
  }
  return {};
}

std::string_view without_digits(std::string_view text) {
  while (!text.empty() && is_digit(text.back())) text.remove_suffix(1);
  return text;
}

}  // namespace

std::string_view file_name_of(std::string_view path) {
  const auto slash = path.rfind('/');
  return slash == std::string_view::npos ? path : path.substr(slash + 1);
}

std::string_view stem_of(std::string_view name) {
  const auto dot = name.rfind('.');
  if (dot == std::string_view::npos || dot == 0) return name;
  const auto ending = name.substr(dot + 1);
  const auto letter = [](char c) { return is_upper(c) || is_lower(c); };
  const bool plain = !ending.empty() && ending.size() <= 5 &&
                     std::all_of(ending.begin(), ending.end(), [&](char c) { return is_digit(c) || letter(c); }) &&
                     std::any_of(ending.begin(), ending.end(), letter);
  return plain ? name.substr(0, dot) : name;
}

int utf16_units(std::string_view text) {
  int units = 0;
  for (const auto& point : base::code_points(text)) units += point.code > 0xFFFF ? 2 : 1;
  return units;
}

NameTrouble name_trouble(std::string_view name) {
  NameTrouble trouble;
  char32_t before = 0;
  bool decomposed = false, beyond_ascii = false;
  for (const auto& point : base::code_points(name)) {
    if (!point.valid) {
      add(trouble.refused, "bytes that are no UTF-8");
    } else if (point.code < 0x20 || (point.code >= 0x7F && point.code < 0xA0)) {
      add(trouble.refused, fmt::format("the control character U+{:04X}", static_cast<unsigned>(point.code)));
    } else if (point.code < 0x80 && std::string_view("<>:\"/\\|?*").find(static_cast<char>(point.code)) != std::string_view::npos) {
      add(trouble.refused, fmt::format("the character {}", static_cast<char>(point.code)));
    } else if (invisible(point.code)) {
      add(trouble.odd, fmt::format("the unseen character U+{:04X}", static_cast<unsigned>(point.code)));
    } else if (picture_sign(point.code)) {
      add(trouble.odd, "an emoji or other picture sign");
    } else if (combining(point.code) && before < 0x250) {
      decomposed = true;
    }
    beyond_ascii = beyond_ascii || point.code >= 0x80;
    before = point.code;
  }
  if (reserved(name)) trouble.refused.push_back("a name that Windows keeps for a device");
  if (name.ends_with('.')) trouble.refused.push_back("a point at the end");
  if (name.ends_with(' ')) trouble.refused.push_back("a space at the end");
  if (name.starts_with(' ')) trouble.odd.push_back("a space at the beginning");
  if (name.starts_with('-')) trouble.odd.push_back("a dash at the beginning");
  if (name.starts_with('.')) trouble.odd.push_back("a point at the beginning, which hides the file");
  if (stem_of(name) != name && stem_of(name).ends_with(' ')) trouble.odd.push_back("a space before the ending");
  if (decomposed) {
    trouble.note = "accents are written as separate characters (decomposed Unicode): the same name typed elsewhere is another one";
  } else if (beyond_ascii && trouble.refused.empty() && trouble.odd.empty()) {
    trouble.note = "letters beyond A to Z, which old archive programs garble";
  }
  return trouble;
}

std::vector<std::string> name_parts(std::string_view name) {
  std::vector<std::string> parts;
  const auto stem = stem_of(name);
  std::string part;
  const auto close = [&] {
    if (!part.empty()) parts.push_back(lower(part));
    part.clear();
  };
  for (std::size_t i = 0; i < stem.size(); ++i) {
    if (!is_word(stem[i])) {
      close();
      continue;
    }
    if (i > 0 && is_upper(stem[i]) && is_lower(stem[i - 1])) close();
    part += stem[i];
  }
  close();
  return parts;
}

namespace {

// Names that programs give by themselves, as a whole: "Track 01", "Audio 1-1", "New Recording 3", "new mix".
std::string default_name(const std::vector<Token>& tokens) {
  static const std::set<std::string_view> kNumbered{"track", "audio", "aud", "inst", "midi", "region", "project", "sequence", "recording",
                                                    "clip", "channel", "bus", "output"};
  static const std::set<std::string_view> kNew{"mix", "master", "project", "recording", "track", "audio"};
  std::size_t words = 0;
  const bool is_new = tokens.size() >= 2 && tokens[0].text == "new" && kNew.contains(without_digits(tokens[1].text));
  bool number = is_new;
  for (; words < tokens.size(); ++words) {
    const auto& text = tokens[words].text;
    const auto word = without_digits(text);
    const bool of_list = kNumbered.contains(word) || (is_new && words < 2);
    if (!of_list && !says_format(tokens[words])) return {};
    number = number || all_digits(text) || (of_list && word.size() < text.size());
  }
  const bool first_of_list = words > 0 && (is_new || kNumbered.contains(without_digits(tokens[0].text)));
  if (!first_of_list || !number) return {};
  std::string name;
  for (const auto& token : tokens) name += (name.empty() ? "" : " ") + token.text;
  return name;
}

// "song copy", "song - Copy", "song_copy 2": what a file manager writes. "Carbon Copy" is a song.
bool copied_file(const Token& token) { return token.mark != 0 && (token.small || token.mark != ' '); }

}  // namespace

std::vector<std::string> vague_words(std::string_view name) {
  static const std::set<std::string_view> kAnywhere{"finalfinal", "untitled", "unnamed", "noname", "mixdown", "bounce", "bounced",
                                                    "export", "exported", "render", "rendered", "asdf"};
  static const std::set<std::string_view> kAtTheEnd{"final", "newest", "latest", "test", "temp", "tmp"};
  std::vector<std::string> found;
  const auto stem = stem_of(name);
  // Capitals inside a word part it too: "NightFerryFinal".
  std::string parted;
  for (std::size_t i = 0; i < stem.size(); ++i) {
    if (i > 0 && is_upper(stem[i]) && is_lower(stem[i - 1])) parted += ' ';
    parted += stem[i];
  }
  const auto tokens = tokens_of(parted);
  if (auto made_up = default_name(tokens); !made_up.empty()) add(found, std::move(made_up));
  const bool alone = tokens.size() == 1;
  const auto vague_end = [&](const Token& token) {
    const auto word = without_digits(token.text);
    const bool counted = word.size() < token.text.size();
    if (alone && token.text == "final") return false;  // a song may be called so, and the name says nothing else
    if (word == "copy") return alone || copied_file(token);
    // Songs are called "Something New", "At Last" and "For Real"; versions "song_new", "new2" and "song_final_REAL".
    if (word == "new" || word == "last" || word == "real") return (word == "new" && (alone || counted)) || (token.mark != ' ' && token.mark != 0);
    return kAtTheEnd.contains(word);
  };
  // What stands behind the title says a version or a format, or nothing at all.
  auto title_end = tokens.size();
  while (title_end > 0 && (vague_end(tokens[title_end - 1]) || says_format(tokens[title_end - 1]))) --title_end;
  for (std::size_t i = 0; i < tokens.size(); ++i) {
    const auto& text = tokens[i].text;
    const auto word = without_digits(text);
    const bool counted_final = word == "final" && word.size() < text.size();
    const bool copy_of = i == 0 && text == "copy" && tokens.size() > 1 && tokens[1].text == "of";
    const bool default_output = text == "stereo" && i + 1 < tokens.size() && (tokens[i + 1].text == "out" || tokens[i + 1].text == "output");
    if (default_output) {
      add(found, text + " " + tokens[i + 1].text);
    } else if (kAnywhere.contains(word) || counted_final || copy_of || (i >= title_end && vague_end(tokens[i]))) {
      add(found, text);
    }
  }
  if (auto number = bracketed_number(stem); !number.empty()) add(found, std::move(number));
  return found;
}

NameClaims name_claims(std::string_view name, bool lossy) {
  NameClaims claims;
  const auto tokens = tokens_of(stem_of(name));
  for (std::size_t i = 0; i < tokens.size();) {
    NameClaims here = claims;
    const auto count = take(tokens, i, lossy, here);
    // Nobody calls a song 48k24; all else counts only where it cannot be a title.
    const bool unmistakable = count == 1 && i > 0 && here.rate_hz != claims.rate_hz && here.bits != claims.bits && tokens[i].text.find('k') != std::string::npos;
    if (count > 0 && (unmistakable || stands_apart(tokens, i, count))) claims = here;
    i += std::max<std::size_t>(1, count);
  }
  // "Stereo" in the middle of a title is part of it, and "Love 5.1" a title; behind a sign or a version it speaks of the file.
  for (std::size_t i = tokens.size(); i-- > 1;) {
    if (const auto channels = channels_called(tokens[i].text)) {
      const bool behind_version = i > 1 && says_format(tokens[i - 1]) && !all_digits(tokens[i - 1].text);
      NameClaims behind;
      const bool before_format =
          i + 1 < tokens.size() && (take_rate(tokens[i + 1].text, lossy, behind) || take_depth(tokens[i + 1].text, false, behind));
      if (tokens[i].mark != ' ' || behind_version || before_format) claims.channels = channels;
      break;
    }
    if (!says_format(tokens[i]) && !loose_word(tokens[i].text)) break;
  }
  return claims;
}

namespace {

// Latin letters without their accents, one for one; U+00C0 to U+017F.
constexpr std::string_view kPlainLetters =
    "AAAAAAACEEEEIIIIDNOOOOO OUUUUYTsaaaaaaaceeeeiiiidnooooo ouuuuyty"
    "AaAaAaCcCcCcCcDdDdEeEeEeEeEeGgGgGgGgHhHhIiIiIiIiIiIiJjKkkLlLlLlLlLlNnNnNnnNnOoOoOoOoRrRrRrSsSsSsSsTtTtTtUuUuUuUuUuUuWwYyYZzZzZzs";
static_assert(kPlainLetters.size() == 0x180 - 0xC0);

std::string without_accents(std::string_view text) {
  std::string out;
  for (const auto& point : base::code_points(text)) {
    if (combining(point.code)) continue;
    if (point.valid && point.code >= 0xC0 && point.code < 0x180)
      out += kPlainLetters[point.code - 0xC0];
    else
      out += point.bytes;
  }
  return out;
}

bool says_nothing_of_a_title(std::string_view text) {
  static const std::set<std::string_view> kWords{
      "track",   "audio",  "song",   "side",   "disc",    "cd",      "sample",   "file",      "untitled",    "unnamed",   "noname",    "render",
      "rendered", "exported", "bounced", "latest", "newest", "last",   "real",     "test",      "temp",        "tmp",       "x",         "drums",
      "drum",    "bass",   "vox",    "guitar", "guitars", "gtr",     "keys",     "synth",     "synths",      "strings",   "fx",        "perc",
      "percussion", "piano", "lead",  "backing", "bgv",    "choir",   "brass",    "horns",     "kick",        "snare",     "overheads", "room",
      "dx",      "me",     "mx",     "dialogue", "effects", "music",  "ambience", "foley",     "narration",   "chapter",   "episode",   "intro",
      "outro",   "credits", "opening", "closing", "part",  "reel",    "scene",    "loop",      "left",        "right"};
  return kWords.contains(text) || kWords.contains(without_digits(text)) || loose_word(text);
}

// Both spellings of what has an accent or a double letter: "ue" for u with two points.
std::string evenly_spelled(std::string_view word) {
  std::string out;
  for (std::size_t i = 0; i < word.size(); ++i) {
    const bool umlaut = word[i] == 'e' && i > 0 && (word[i - 1] == 'a' || word[i - 1] == 'o' || word[i - 1] == 'u');
    const bool twice = i > 0 && word[i] == word[i - 1];
    if (!umlaut && !twice) out += word[i];
  }
  return out;
}

// The words of a text by which a title can be known.
std::vector<std::string> telling_words(std::string_view text) {
  std::string parted;
  for (const char c : without_accents(text)) {
    if (c == '\'') continue;  // "It's" and "Its"
    if (!parted.empty() && is_upper(c) && is_lower(parted.back())) parted += ' ';
    parted += c;
  }
  std::vector<std::string> words;
  for (const auto& token : tokens_of(parted)) {
    const auto digits = std::count_if(token.text.begin(), token.text.end(), is_digit);
    const bool latin = std::any_of(token.text.begin(), token.text.end(), is_lower);
    if (!latin || digits > 1 || says_format(token) || says_nothing_of_a_title(token.text)) continue;
    words.push_back(evenly_spelled(without_digits(token.text)));
  }
  return words;
}

bool letters_in_order(std::string_view letters, std::string_view text) {
  std::size_t at = 0;
  for (const char c : text)
    if (at < letters.size() && letters[at] == c) ++at;
  return at == letters.size();
}

bool share_a_word(const std::vector<std::string>& title, const std::vector<std::string>& name) {
  std::string whole_title, whole_name, initials;
  for (const auto& word : title) whole_title += word, initials += word.front();
  for (const auto& word : name) whole_name += word;
  const auto inside = [](const std::vector<std::string>& words, const std::string& text) {
    return std::any_of(words.begin(), words.end(), [&](const std::string& word) { return word.size() >= 3 && text.find(word) != std::string::npos; });
  };
  if (inside(title, whole_name) || inside(name, whole_title)) return true;
  for (const auto& word : name) {
    if (word == initials) return true;
    for (std::size_t at = 0, i = 0; i < title.size(); at += title[i++].size()) {
      if (word == title[i]) return true;
      // Shortened: "grndr" for "Green Door", "moonr" for "Moonrise".
      const bool same_start = word.size() >= 3 && word.front() == title[i].front();
      if (same_start && (letters_in_order(word, whole_title.substr(at)) || word.substr(0, 3) == title[i].substr(0, 3))) return true;
    }
  }
  return false;
}

}  // namespace

std::optional<bool> title_fits_name(std::string_view title, std::string_view name, const std::vector<std::string>& others) {
  const auto of_title = telling_words(title);
  auto of_name = telling_words(stem_of(name));
  for (const auto& other : others) {
    const auto known = telling_words(other);
    std::erase_if(of_name, [&](const std::string& word) { return std::find(known.begin(), known.end(), word) != known.end(); });
  }
  const auto tells = [](const std::vector<std::string>& words) {
    return std::any_of(words.begin(), words.end(), [](const std::string& word) { return word.size() >= 3; });
  };
  if (!tells(of_title) || !tells(of_name)) return std::nullopt;
  return share_a_word(of_title, of_name);
}

std::optional<int> track_in_name(std::string_view name, std::string_view title) {
  const auto tokens = tokens_of(stem_of(name));
  const bool worded = tokens.size() > 1 && tokens[0].text == "track";
  const std::size_t at = worded ? 1 : 0;
  if (tokens.size() <= at || !all_digits(tokens[at].text) || tokens[at].text.size() > 2) return std::nullopt;
  if (!worded && tokens.size() < 2) return std::nullopt;
  // Two numbers in a row: disc and track, or a date.
  if (tokens.size() > at + 1 && is_digit(tokens[at + 1].text.front())) return std::nullopt;
  const auto of_title = tokens_of(title);
  const bool in_title = std::any_of(of_title.begin(), of_title.end(), [&](const Token& token) { return token.text == tokens[at].text; });
  const bool surely = worded || tokens[at].text.front() == '0' || (tokens[at].after != ' ' && tokens[at].after != '_');
  if (in_title || (of_title.empty() && !surely)) return std::nullopt;
  return std::atoi(tokens[at].text.c_str());
}

NameSide name_side(std::string_view name) {
  const auto stem = stem_of(name);
  const auto ending = name.substr(stem.size());
  constexpr std::pair<std::string_view, std::string_view> kSides[] = {{"left", "right"}, {"Left", "Right"}, {"LEFT", "RIGHT"}, {"L", "R"}, {"l", "r"}};
  for (const auto& [left, right] : kSides) {
    for (const bool is_left : {true, false}) {
      const auto mark = is_left ? left : right;
      if (!stem.ends_with(mark) || stem.size() < mark.size() + 2) continue;
      const auto front = stem.substr(0, stem.size() - mark.size());
      if (std::string_view("._-").find(front.back()) == std::string_view::npos) continue;
      return {is_left ? 'L' : 'R', std::string(front) + std::string(is_left ? right : left) + std::string(ending)};
    }
  }
  return {};
}

}  // namespace sendworthy::measure
