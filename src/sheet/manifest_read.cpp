// A manifest back into its list of files. The parser's callback keeps what is asked for and drops the rest while it reads, so that
// a hostile text costs no more memory than an honest one.
#include "sheet/manifest.h"

#include <algorithm>
#include <array>
#include <exception>
#include <nlohmann/json.hpp>
#include <set>
#include <utility>

#include "base/text.h"
#include "sheet/not_utf8.h"

namespace sendworthy::sheet {
namespace {

using Json = nlohmann::json;

constexpr int kDeepest = 16;                                 // our own are 7 levels deep
constexpr std::size_t kMostMembers = 20'000'000;             // 64 MiB of honest text hold fewer
constexpr std::size_t kLongestPath = 4096;                   // PATH_MAX on Linux
constexpr std::int64_t kLargest = std::int64_t{1} << 53u;    // bytes; beyond, JSON's numbers no longer count by one

/// Thrown and caught in this file only.
struct Misshapen {
  std::string what;
};

bool known_member(std::string_view name) {
  constexpr std::array<std::string_view, 10> kKnown{"$schema", "also", "anyway", "files", "made", "order", "proves", "schema", "tool", "verdict"};
  return std::ranges::find(kKnown, name) != kKnown.end();
}

bool known_below(std::string_view name) {
  constexpr std::array<std::string_view, 8> kKnown{"album", "artist", "by", "client", "date", "name", "title", "version"};
  return std::ranges::find(kKnown, name) != kKnown.end();
}

bool known_of_file(std::string_view name) {
  constexpr std::array<std::string_view, 5> kKnown{"digest", "kind", "path", "path_bytes", "size"};
  return std::ranges::find(kKnown, name) != kKnown.end();
}

/// Decides, while the text is read, what is kept, and stops at what no manifest has.
class Sieve {
 public:
  bool keep(int depth, Json::parse_event_t event, const Json& parsed) {
    using Event = Json::parse_event_t;
    if (++events_ > kMostMembers) throw Misshapen{"it holds more than a manifest can"};
    const bool starts = event == Event::object_start || event == Event::array_start;
    if (starts && depth > kDeepest) throw Misshapen{"it is nested more than " + std::to_string(kDeepest) + " levels deep"};
    if (event == Event::key && depth == 1) {
      top_ = parsed.get<std::string>();
      keeps_top_ = known_member(top_);
      if (keeps_top_ && !seen_.insert(top_).second) throw Misshapen{"\"" + top_ + "\" stands there twice"};
      return keeps_top_;
    }
    if (!keeps_top_) return true;  // dropped as a whole already
    const bool lists_files = top_ == "files" || top_ == "also";
    if (depth == 1 && event == (lists_files ? Event::object_start : Event::array_start)) throw Misshapen{"\"" + top_ + "\" must be " + (lists_files ? "a list" : "no list")};
    if (!lists_files) {
      if (event == Event::key && depth == 2) {
        keeps_member_ = known_below(parsed.get<std::string>());
        return keeps_member_;
      }
      if (starts && depth > 1 && keeps_member_) throw Misshapen{"\"" + top_ + "\" holds a list or an object where it has none"};
      return true;
    }
    if (depth == 2 && event == Event::object_start) {
      if (++files_ > kMostManifestFiles) throw Misshapen{"it lists more than " + std::to_string(kMostManifestFiles) + " files"};
      of_file_.clear();
      return true;
    }
    if (depth == 2 && (event == Event::value || event == Event::array_start)) throw Misshapen{"\"" + top_ + "\" must be a list of objects"};
    if (depth == 3 && event == Event::key) {
      member_ = parsed.get<std::string>();
      keeps_member_ = known_of_file(member_);
      if (keeps_member_ && !of_file_.insert(member_).second) throw Misshapen{"a file has \"" + member_ + "\" twice"};
      return keeps_member_;
    }
    const bool is_digest = member_ == "digest" && depth == 3 && event == Event::object_start;
    if (starts && depth >= 3 && keeps_member_ && !is_digest) throw Misshapen{"\"" + member_ + "\" of a file holds a list or an object where it has none"};
    return true;
  }

 private:
  std::size_t events_ = 0, files_ = 0;
  std::string top_, member_;
  bool keeps_top_ = true, keeps_member_ = true;
  std::set<std::string> seen_, of_file_;
};

const Json& member(const Json& object, const char* name) {
  const auto found = object.find(name);
  if (found == object.end()) throw Misshapen{"\"" + std::string(name) + "\" is missing"};
  return *found;
}

std::string text(const Json& object, const char* name) {
  const auto& json = member(object, name);
  if (!json.is_string()) throw Misshapen{"\"" + std::string(name) + "\" must be text"};
  return json.get<std::string>();
}

std::string optional_text(const Json& object, const char* name) {
  const auto found = object.find(name);
  return found == object.end() || found->is_null() ? std::string() : text(object, name);
}

const Json& object(const Json& parent, const char* name) {
  const auto& json = member(parent, name);
  if (!json.is_object()) throw Misshapen{"\"" + std::string(name) + "\" must be an object"};
  return json;
}

std::int64_t size(const Json& file) {
  const auto& json = member(file, "size");
  const bool too_large = json.is_number_unsigned() && json.get<std::uint64_t>() > static_cast<std::uint64_t>(kLargest);
  if (!json.is_number_integer() || too_large || json.get<std::int64_t>() < 0)
    throw Misshapen{"\"size\" must be a whole number of bytes from 0 up"};
  return json.get<std::int64_t>();
}

std::string hex(const Json& digest, const char* name, std::size_t digits) {
  auto value = text(digest, name);
  if (value.size() != digits || value.find_first_not_of("0123456789abcdef") != std::string::npos)
    throw Misshapen{"\"" + std::string(name) + "\" must be " + std::to_string(digits) + " small hexadecimal digits"};
  return value;
}

std::string in_quotes(std::string_view path) { return "\"" + base::for_terminal(path) + "\""; }

/// Every part between slashes is a name, so that no path leads out of the folder or to the folder itself.
std::string path(const Json& file) {
  auto path = text(file, "path");
  if (const auto bytes = optional_text(file, "path_bytes"); !bytes.empty()) {
    auto decoded = base::percent_decoded(bytes);
    if (base::clean_utf8(decoded) != path) throw Misshapen{"\"path_bytes\" is another path than \"path\" " + in_quotes(path)};
    path = std::move(decoded);
  }
  if (path.empty() || path.size() > kLongestPath) throw Misshapen{"\"path\" must have 1 to " + std::to_string(kLongestPath) + " bytes"};
  if (path.find('\0') != std::string::npos) throw Misshapen{"the path " + in_quotes(path) + " is no file name"};
  std::string_view rest = path;
  while (true) {
    const auto slash = rest.find('/');
    const auto name = rest.substr(0, slash);
    if (name.empty() || name == "." || name == "..") throw Misshapen{"the path " + in_quotes(path) + " does not stay in the folder"};
    if (slash == std::string_view::npos) return path;
    rest.remove_prefix(slash + 1);
  }
}

template <class Word, std::size_t N>
Word word(const std::string& text, const std::array<Word, N>& words, const char* name) {
  for (const auto candidate : words) {
    if (to_string(candidate) == text) return candidate;
  }
  throw Misshapen{"\"" + std::string(name) + "\" has a word that this version does not know: " + in_quotes(text)};
}

SentFile file(const Json& json, bool is_item) {
  using Kind = SentFile::Kind;
  SentFile made;
  made.path = path(json);
  made.kind = is_item ? Kind::item : word(text(json, "kind"), std::array{Kind::order, Kind::note, Kind::sums, Kind::other}, "kind");
  made.size = size(json);
  const auto& digest = object(json, "digest");
  made.sha256 = hex(digest, "sha256", 64);
  made.md5 = hex(digest, "md5", 32);
  return made;
}

Manifest read(std::string_view text_of_manifest) {
  Sieve sieve;
  const Json json = Json::parse(text_of_manifest.begin(), text_of_manifest.end(),
                                [&sieve](int depth, Json::parse_event_t event, Json& parsed) { return sieve.keep(depth, event, parsed); });
  if (!json.is_object()) throw Misshapen{"it is no JSON object"};
  if (text(object(json, "tool"), "name") != "sendworthy") throw Misshapen{"it was not written by sendworthy"};
  const auto& schema = member(json, "schema");
  if (!schema.is_number_integer() || schema != 1) throw Misshapen{"its \"schema\" is not 1; read it with the version that wrote it"};
  Manifest made;
  made.tool_version = text(object(json, "tool"), "version");
  const auto& order = object(json, "order");
  made.title = text(order, "title"), made.artist = text(order, "artist");
  made.album = optional_text(order, "album"), made.client = optional_text(order, "client");
  const auto& by_whom = object(json, "made");
  made.by = optional_text(by_whom, "by"), made.date = text(by_whom, "date");
  made.anyway = optional_text(json, "anyway");
  made.verdict = word(text(json, "verdict"), std::array{Verdict::pass, Verdict::warn, Verdict::fail}, "verdict");
  if (made.verdict == Verdict::fail && made.anyway.empty())
    throw Misshapen{"its \"verdict\" is \"fail\", and \"anyway\", the reason why it went out all the same, is missing"};
  if (made.verdict != Verdict::fail && !made.anyway.empty())
    throw Misshapen{"it has \"anyway\", the reason why a set that fails went out, and its \"verdict\" is not \"fail\""};
  for (const auto* list : {"files", "also"}) {
    const auto& all = member(json, list);
    if (!all.is_array()) throw Misshapen{"\"" + std::string(list) + "\" must be a list"};
    for (const auto& one : all) made.files.push_back(file(one, std::string_view(list) == "files"));
  }
  std::ranges::sort(made.files, {}, &SentFile::path);
  const auto twice = std::ranges::adjacent_find(made.files, {}, &SentFile::path);
  if (twice != made.files.end()) throw Misshapen{"it lists " + in_quotes(twice->path) + " twice"};
  return made;
}

}  // namespace

Result<Manifest> read_manifest(std::string_view text) {
  const auto no_manifest = [](const std::string& why) { return fail(ErrorCode::rules, "this is no manifest of sendworthy: " + why); };
  if (text.size() > kMostManifestBytes) return no_manifest("it is longer than " + std::to_string(kMostManifestBytes >> 20u) + " MiB");
  try {
    return read(text);
  } catch (const Misshapen& error) {
    return no_manifest(error.what);
  } catch (const Json::parse_error& error) {
    if (const auto byte = byte_not_utf8(text))
      return no_manifest("its text is not UTF-8 from byte " + std::to_string(*byte) + " on; it was changed on the way: have it sent again");
    return no_manifest("no JSON at byte " + std::to_string(error.byte));
  } catch (const std::exception&) {
    return no_manifest("it cannot be read as JSON");
  }
}

}  // namespace sendworthy::sheet
