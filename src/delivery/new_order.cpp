// A starting order for a folder: what is there, and what its names tell.
#include <fmt/format.h>
#include <sendworthy/deliver.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <map>
#include <utility>

#include "audio/file.h"
#include "base/text.h"
#include "delivery/new_order.h"
#include "delivery/order.h"
#include "delivery/version_names.h"
#include "measure/name_checks.h"

namespace sendworthy {
namespace delivery {
namespace {

using base::toml_text;

constexpr std::array<std::pair<std::string_view, Version>, 34> kWords{{
    {"instrumental", Version::instrumental}, {"inst", Version::instrumental},   {"instr", Version::instrumental},    {"karaoke", Version::instrumental},
    {"acapella", Version::a_cappella},       {"acappella", Version::a_cappella}, {"acap", Version::a_cappella},       {"acca", Version::a_cappella},
    {"cappella", Version::a_cappella},       {"capella", Version::a_cappella},  {"tv", Version::tv_mix},              {"tvmix", Version::tv_mix},
    {"tvtrack", Version::tv_mix},            {"performance", Version::performance_mix}, {"perf", Version::performance_mix}, {"clean", Version::clean_edit},
    {"radio", Version::radio_edit},          {"radioedit", Version::radio_edit}, {"cutdown", Version::cut_down},      {"sting", Version::cut_down},
    {"bumper", Version::cut_down},           {"teaser", Version::cut_down},     {"stem", Version::stem},              {"stems", Version::stem},
    {"alt", Version::alternate},             {"alternate", Version::alternate}, {"underscore", Version::alternate},   {"extended", Version::alternate},
    {"remix", Version::alternate},           {"premaster", Version::premaster}, {"unmastered", Version::premaster},   {"flat", Version::premaster},
    {"unlimited", Version::premaster},       {"nolimiter", Version::premaster},
}};
constexpr std::array<std::string_view, 6> kMainWords{"main", "mix", "master", "mastered", "full", "album"};

/// The seconds in "30s", "30sec", "60 s" of a name; nothing where none is there.
std::optional<double> seconds_in(const std::vector<std::string>& parts) {
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const auto digits = parts[i].find_first_not_of("0123456789");
    const auto number = parts[i].substr(0, digits), unit = digits == std::string::npos ? (i + 1 < parts.size() ? parts[i + 1] : std::string()) : parts[i].substr(digits);
    if (number.empty() || number.size() > 3 || (unit != "s" && unit != "sec" && unit != "secs" && unit != "seconds" && unit != "second")) continue;
    return std::stod(number);
  }
  return std::nullopt;
}

/// How surely a name tells of a main mix: 2 where it says so, 1 where it says mix, master and the like.
int main_words(std::string_view name) {
  const auto parts = measure::name_parts(measure::stem_of(name));
  if (std::ranges::find(parts, "main") != parts.end()) return 2;
  return std::ranges::any_of(parts, [](const std::string& part) { return std::ranges::find(kMainWords, part) != kMainWords.end(); }) ? 1 : 0;
}

struct Found {
  std::string relative;
  Version version = Version::main;
  std::string title, role;
  std::optional<double> length_s;
  std::string doubt;  ///< why the guess may be wrong
};

bool is_utf8(std::string_view text) {
  const auto points = base::code_points(text);
  return std::ranges::all_of(points, [](const base::CodePoint& one) { return one.valid; });
}

/// Names as people count: "2 Two" before "10 Ten".
bool comes_before(std::string_view a, std::string_view b) {
  constexpr std::string_view kDigits = "0123456789";
  const auto number_at_front = [&](std::string_view text) {
    auto digits = text.substr(0, std::min(text.find_first_not_of(kDigits), text.size()));
    const auto length = digits.size();
    digits.remove_prefix(std::min(digits.find_first_not_of('0'), digits.size()));
    return std::pair(digits, length);
  };
  while (!a.empty() && !b.empty()) {
    const auto [first, first_length] = number_at_front(a);
    const auto [second, second_length] = number_at_front(b);
    if (first_length > 0 && second_length > 0) {
      if (first != second) return std::pair(first.size(), first) < std::pair(second.size(), second);
      if (first_length != second_length) return first_length < second_length;
      a.remove_prefix(first_length), b.remove_prefix(second_length);
      continue;
    }
    if (a.front() != b.front()) return static_cast<unsigned char>(a.front()) < static_cast<unsigned char>(b.front());
    a.remove_prefix(1), b.remove_prefix(1);
  }
  return a.empty() && !b.empty();
}

std::string words_of(std::string_view name) {
  std::string text(measure::stem_of(name));
  std::ranges::replace(text, '_', ' ');
  return text;
}

/// What is left of a stem's name without what all stems share in front.
void name_roles(std::vector<Found>& files) {
  std::vector<std::string> names;
  for (const auto& one : files) {
    if (one.version == Version::stem) names.push_back(words_of(measure::file_name_of(one.relative)));
  }
  std::size_t common = names.size() < 2 ? 0 : names.front().size();
  for (const auto& name : names) {
    std::size_t same = 0;
    while (same < std::min(common, name.size()) && name[same] == names.front()[same]) ++same;
    common = same;
  }
  // Whole words only.
  while (common > 0 && names.front()[common - 1] != ' ' && names.front()[common - 1] != '-') --common;
  for (auto& one : files) {
    if (one.version != Version::stem) continue;
    auto role = words_of(measure::file_name_of(one.relative)).substr(common);
    while (!role.empty() && (role.front() == ' ' || role.front() == '-')) role.erase(0, 1);
    one.role = role;
  }
}

void sort_out_mains(std::vector<Found>& files, const std::string& title) {
  std::vector<Found*> mains, named;
  bool versions = false;
  for (auto& one : files) {
    if (one.version != Version::main) {
      versions = versions || one.version != Version::stem;
      continue;
    }
    mains.push_back(&one);
  }
  const auto words = [](const Found* one) { return main_words(measure::file_name_of(one->relative)); };
  int surest = 1;
  for (const auto* one : mains) surest = std::max(surest, words(one));
  for (auto* one : mains) {
    if (words(one) == surest) named.push_back(one);
  }
  for (auto& one : files) one.title = title;
  if (mains.size() < 2) return;
  if (!versions && named.size() != 1) {  // the songs of an album
    for (auto* one : mains) one->title = words_of(measure::file_name_of(one->relative));
    return;
  }
  auto* main = named.size() == 1 ? named.front() : mains.front();
  for (auto* one : mains) {
    if (one == main) continue;
    one->version = Version::alternate;
    one->doubt = words(one) > 0 ? "its name may mean the main mix as well" : "nothing in its name tells what it is";
  }
  if (named.size() != 1) main->doubt = "the first of several that may be the main mix";
}

std::string text_of(const std::string& order_folder, const std::vector<Found>& files, const std::vector<std::string>& without, const std::string& title,
                    const std::string& artist, const std::string& album) {
  std::string text =
      "# What was ordered. Correct what was guessed from names, then: sendworthy deliver check THIS-FILE\n"
      "# Paths are read from where this file lies.\n\n"
      "[order]\n";
  text += fmt::format("title = {}\nartist = {}\n", toml_text(title), toml_text(artist));
  text += album.empty() ? "# album = \"\"\n" : fmt::format("album = {}\n", toml_text(album));
  text += "# client = \"\"\n";
  text += "rules = \"streaming-music\"    # what every item without rules of its own is judged by; stems by \"stems\", premasters by \"premaster\"\n";
  text += fmt::format("folder = {}\n", toml_text(order_folder));
  text += "# name = \"{artist}_{title}_{version}_{rate}k{bits}\"    # how files must be named; also {role} {album} {client} {isrc} {track} {channels}\n";
  text += "allow_extra = false          # whether sound that is not listed here may lie in the folder\n";
  text += "# previous = \"../last\"       # the last delivery, file or folder: an old revision that went out again is named\n";
  for (const auto& one : without) text += fmt::format("# left out, since it is a link that leads out of the opened folder: {}\n", base::for_terminal(one));
  std::vector<std::string> songs;
  for (const auto& one : files) {
    if (one.version == Version::main && one.title != title) songs.push_back(one.relative);
  }
  for (const auto& one : files) {
    text += "\n[[item]]\n";
    if (!one.doubt.empty()) text += fmt::format("# a guess: {}\n", one.doubt);
    text += fmt::format("version = \"{}\"\n", to_string(one.version));
    if (is_utf8(one.relative)) {
      const bool like_a_pattern = one.relative.find_first_of("*?") != std::string::npos;
      text += fmt::format("file = {}{}\n", toml_text(one.relative), like_a_pattern ? "    # without this very file * and ? stand for other signs; rename it before it goes out" : "");
    } else {
      // TOML is UTF-8: each byte that is none stands as a question mark, which fits any sign.
      std::string pattern;
      for (const auto& point : base::code_points(one.relative)) pattern += point.valid ? std::string(point.bytes) : "?";
      text += fmt::format("file = {}    # the name is no UTF-8; rename it before it goes out\n", toml_text(pattern));
    }
    if (one.title != title) text += fmt::format("title = {}\n", toml_text(one.title));
    if (!one.role.empty()) text += fmt::format("role = {}\n", toml_text(one.role));
    if (one.length_s) text += fmt::format("length = {}    # seconds, to the frame\n", base::shortest(*one.length_s));
    if (one.version == Version::clean_edit) text += "# edits = [[12.0, 13.5]]    # where it may differ from the main mix, seconds\n";
    if (one.version == Version::main) text += "# isrc = \"\"\n";
  }
  if (songs.size() > 1) {
    text += "\n[album]\norder = [\n";
    for (const auto& one : songs) text += fmt::format("  {},\n", toml_text(one));
    text += "]\n# gap_s = 2.0      # silence between songs\n# gapless = true   # every song runs into the next\n# loudest = -14    # LUFS of the loudest song\n# spread = 4       # LU between loudest and softest\n# upc = \"\"\n";
  } else {
    text += "\n# [album]\n# order = []       # files in running order\n";
  }
  text += "\n# [tags]\n# require = [\"title\", \"artist\"]\n# forbid = [\"comment\"]\n# match = \"order\"    # what tags say must be what stands here\n";
  return text;
}

}  // namespace

Version guessed_version(std::string_view name) {
  const auto parts = measure::name_parts(measure::stem_of(name));
  for (const auto& part : parts) {
    const auto known = std::ranges::find(kWords, part, [](const auto& one) { return one.first; });
    if (known != kWords.end()) return known->second;
  }
  for (std::size_t i = 1; i < parts.size(); ++i) {
    if (parts[i - 1] == "cut" && parts[i] == "down") return Version::cut_down;
    if (parts[i - 1] == "pre" && parts[i] == "master") return Version::premaster;
  }
  return seconds_in(parts) ? Version::cut_down : Version::main;
}

Result<std::string> new_order_without(const std::vector<std::string>& left_out, const std::string& folder, const std::string& order_path) {
  const auto paths = audio::audio_files_in(folder, audio::Depth::below);
  if (!paths) return tl::unexpected(paths.error());
  const auto prefix = folder.ends_with('/') ? folder : folder + "/";
  std::vector<Found> files;
  std::string title, artist, album;
  std::vector<std::string> without;
  for (const auto& path : *paths) {
    Found one;
    one.relative = path.substr(prefix.size());
    if (std::ranges::find(left_out, path) != left_out.end()) {
      without.push_back(std::move(one.relative));
      continue;
    }
    const auto name = measure::file_name_of(one.relative);
    one.version = guessed_version(name);
    const auto slash = one.relative.rfind('/');
    if (slash != std::string::npos && guessed_version(one.relative.substr(0, slash)) == Version::stem) one.version = Version::stem;
    if (one.version == Version::cut_down) one.length_s = seconds_in(measure::name_parts(measure::stem_of(name)));
    if (one.version == Version::main || title.empty()) {
      if (const auto opened = audio::open_file(path)) {
        const auto tag = [&](std::string_view wanted, std::string& target) {
          const auto found = std::ranges::find(opened->facts.tags, wanted, &Tag::name);
          if (target.empty() && found != opened->facts.tags.end()) target = base::for_terminal(found->value);
        };
        tag("title", title), tag("artist", artist), tag("album", album);
      }
    }
    files.push_back(std::move(one));
  }
  std::error_code ignored;
  if (title.empty()) title = base::clean_utf8(std::filesystem::weakly_canonical(folder, ignored).filename().string());
  if (title.empty()) title = "untitled";
  if (artist.empty()) artist = "unknown artist";
  sort_out_mains(files, title);
  name_roles(files);
  std::ranges::stable_sort(files, [](const Found& a, const Found& b) { return a.version != b.version ? a.version < b.version : comes_before(a.relative, b.relative); });
  if (files.empty()) return fail(ErrorCode::no_audio, fmt::format("no audio file in \"{}\" may be read here: all are links that lead elsewhere", base::for_terminal(folder)));
  if (order_path.empty()) return text_of(folder, files, without, title, artist, album);
  const auto home = std::filesystem::path(order_path).parent_path();
  auto order_folder = std::filesystem::relative(folder, home.empty() ? "." : home, ignored).string();
  if (ignored || order_folder.empty()) order_folder = ".";
  return text_of(order_folder, files, without, title, artist, album);
}

}  // namespace delivery

Result<std::string> new_order(const std::string& folder, const std::string& order_path) { return delivery::new_order_without({}, folder, order_path); }

}  // namespace sendworthy
