#include "base/toml_places.h"

#include <algorithm>
#include <utility>

#include "base/document.h"

namespace sendworthy::base {
namespace {

constexpr int kDeepest = 64;

class Scanner {
 public:
  Scanner(std::string_view text, std::size_t at) : text_(text), at_(at) {}

  std::optional<TomlPlaces> places() {
    places_.blocks.emplace_back();
    while (at_ < text_.size()) {
      const auto line = at_;
      skip_spaces();
      const bool comment = next() == '#';
      if (next() == '[') {
        if (!header(line)) return std::nullopt;
      } else if (!comment && next() != '\n' && next() != '\r' && at_ < text_.size()) {
        if (!statement(line)) return std::nullopt;
      } else {
        if (!rest_of_line()) return std::nullopt;
        if (comment) places_.comments.push_back({line, at_});
      }
    }
    return std::move(places_);
  }

  std::optional<TomlArray> array() {
    TomlArray parts;
    return next() == '[' && skip_array(0, &parts) ? std::optional(std::move(parts)) : std::nullopt;
  }

 private:
  [[nodiscard]] char next(std::size_t ahead = 0) const { return at_ + ahead < text_.size() ? text_[at_ + ahead] : '\0'; }
  bool take(char c) {
    if (next() != c) return false;
    ++at_;
    return true;
  }
  void skip_spaces() {
    while (next() == ' ' || next() == '\t') ++at_;
  }
  void skip_to_end_of_line() { at_ = std::min(text_.find('\n', at_), text_.size()); }

  /// Spaces and a comment, then the line's end or the text's.
  bool rest_of_line() {
    skip_spaces();
    if (next() == '#') skip_to_end_of_line();
    if (at_ == text_.size()) return true;
    take('\r');
    return take('\n');
  }

  /// Between the elements of an array.
  void skip_blank() {
    for (;; ++at_) {
      if (next() == '#') skip_to_end_of_line();
      if (next() != ' ' && next() != '\t' && next() != '\r' && next() != '\n') return;
    }
  }

  bool header(std::size_t line) {
    TomlBlock block;
    ++at_;
    block.array = take('[');
    const auto key = read_key();
    if (!key || !take(']') || (block.array && !take(']')) || !rest_of_line()) return false;
    for (const auto& part : *key) block.path.push_back(part.name);
    block.header = {line, at_};
    places_.blocks.push_back(std::move(block));
    return true;
  }

  bool statement(std::size_t line) {
    const auto entry = places_.entries.size();
    if (!assignment(places_.blocks.back().path, {}, 0) || !rest_of_line()) return false;
    places_.entries[entry].lines = {line, at_};
    return true;
  }

  /// key = value. Its entry comes before those of its members.
  bool assignment(const std::vector<std::string>& above, std::optional<std::size_t> table, int depth) {
    const auto begin = at_;
    auto key = read_key();
    if (!key || !take('=')) return false;
    skip_spaces();
    const auto entry = places_.entries.size();
    auto path = above;
    for (const auto& part : *key) path.push_back(part.name);
    places_.entries.push_back({std::move(*key), path, {at_, at_}, {}, places_.blocks.size() - 1, table});
    if (!(next() == '{' ? skip_table(entry, path, depth + 1) : skip_value(depth + 1))) return false;
    places_.entries[entry].value.end = at_;
    places_.entries[entry].lines = {begin, at_};
    return true;
  }

  std::optional<std::vector<TomlKey>> read_key() {
    std::vector<TomlKey> parts;
    do {
      skip_spaces();
      const auto begin = at_;
      if (next() == '"' || next() == '\'') {
        if (!skip_string()) return std::nullopt;
        auto name = toml_string(text_.substr(begin, at_ - begin));
        if (!name) return std::nullopt;
        parts.push_back({std::move(*name), {begin, at_}});
      } else {
        at_ = std::min(text_.find_first_of(" \t\r\n.=]\"'#[{},", at_), text_.size());
        if (at_ == begin) return std::nullopt;
        parts.push_back({std::string(text_.substr(begin, at_ - begin)), {begin, at_}});
      }
      skip_spaces();
    } while (take('.'));
    return parts;
  }

  /// `entry` is the one whose value it is; nothing where it stands in an array.
  bool skip_table(std::optional<std::size_t> entry, const std::vector<std::string>& path, int depth) {
    if (depth > kDeepest) return false;
    const auto known = places_.entries.size();
    ++at_;
    skip_spaces();
    while (next() != '}') {
      if (!assignment(path, entry, depth)) return false;
      skip_spaces();
      if (!take(',') && next() != '}') return false;
      skip_spaces();
    }
    ++at_;
    if (!entry) places_.entries.resize(known);
    return true;
  }

  bool skip_array(int depth, TomlArray* parts) {
    if (depth > kDeepest) return false;
    ++at_;
    for (skip_blank(); next() != ']'; skip_blank()) {
      const auto begin = at_;
      if (!skip_value(depth + 1)) return false;
      if (parts != nullptr) parts->elements.push_back({begin, at_});
      skip_blank();
      if (parts != nullptr && next() == ',') parts->commas.push_back({at_, at_ + 1});
      if (!take(',') && next() != ']') return false;
    }
    ++at_;
    return true;
  }

  bool skip_value(int depth) {
    if (depth > kDeepest) return false;
    switch (next()) {
      case '"':
      case '\'': return skip_string();
      case '[': return skip_array(depth, nullptr);
      case '{': return skip_table(std::nullopt, {}, depth);
      default: break;
    }
    // A number, a word, or a time, which may have a space in it.
    const auto begin = at_;
    at_ = std::min(text_.find_first_of(",]}#\r\n", at_), text_.size());
    while (at_ > begin && (text_[at_ - 1] == ' ' || text_[at_ - 1] == '\t')) --at_;
    return at_ > begin;
  }

  bool skip_string() {
    const char quote = next();
    const bool escapes = quote == '"';
    const std::string three(3, quote);
    const bool lines = text_.substr(at_, 3) == three;
    at_ += lines ? 3 : 1;
    while (at_ < text_.size()) {
      if (lines ? text_.substr(at_, 3) == three : next() == quote) {
        at_ += lines ? 3 : 1;
        for (int more = 0; lines && more < 2; ++more) take(quote);  // """" ends with a quote
        return true;
      }
      if (!lines && next() == '\n') return false;
      at_ += escapes && next() == '\\' ? 2 : 1;
    }
    return false;
  }

  std::string_view text_;
  std::size_t at_;
  TomlPlaces places_;
};

}  // namespace

std::optional<TomlPlaces> toml_places(std::string_view text) {
  constexpr std::string_view kMark = "\xEF\xBB\xBF";
  return Scanner(text, text.starts_with(kMark) ? kMark.size() : 0).places();
}

std::optional<TomlArray> toml_array(std::string_view text, Span array) { return Scanner(text.substr(0, array.end), array.begin).array(); }

std::optional<std::string> toml_string(std::string_view literal) {
  const auto document = Document::parse("text = " + std::string(literal), {});
  if (!document) return std::nullopt;
  const auto node = document->root().find("text");
  if (!node) return std::nullopt;
  const auto text = node->text();
  return text ? std::optional(*text) : std::nullopt;
}

}  // namespace sendworthy::base
