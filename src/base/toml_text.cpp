#include "base/toml_text.h"

#include <algorithm>

#include "base/text.h"

namespace sendworthy::base {
namespace {

bool is_bare_key(std::string_view name) {
  return !name.empty() && std::ranges::all_of(name, [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_';
  });
}

std::string_view without_spaces(std::string_view text) {
  text.remove_prefix(std::min(text.find_first_not_of(" \t"), text.size()));
  return text;
}

}  // namespace

std::string_view key_in_comment(std::string_view line) {
  line = without_spaces(line);
  while (line.starts_with('#')) line = without_spaces(line.substr(1));
  const auto end = std::min(line.find_first_of(" \t="), line.size());
  const auto key = line.substr(0, end);
  return is_bare_key(key) && without_spaces(line.substr(end)).starts_with('=') ? key : std::string_view();
}

MakeLiteral plain_literal(std::string literal) {
  return [literal = std::move(literal)](const LiteralPlace&) { return literal; };
}

std::optional<TomlText> TomlText::of(std::string text) {
  auto places = toml_places(text);
  if (!places) return std::nullopt;
  return TomlText(std::move(text), std::move(*places));
}

std::size_t TomlText::line_start(std::size_t at) const {
  const auto before = at == 0 ? std::string::npos : text_.rfind('\n', at - 1);
  if (before != std::string::npos) return before + 1;
  return text_.starts_with("\xEF\xBB\xBF") ? std::min<std::size_t>(at, 3) : 0;
}

std::size_t TomlText::next_line(std::size_t at) const {
  const auto end = text_.find('\n', at);
  return end == std::string::npos ? text_.size() : end + 1;
}

std::string TomlText::indent_at(std::size_t at) const {
  const auto begin = line_start(at);
  return text_.substr(begin, std::min(text_.find_first_not_of(" \t", begin), text_.size()) - begin);
}

bool TomlText::blank_line_at(std::size_t at) const {
  const auto first = text_.find_first_not_of(" \t\r", at);
  return first == std::string::npos || text_[first] == '\n';
}

const TomlText::Entry* TomlText::find(const std::vector<std::string>& path) const {
  const auto found = std::ranges::find_if(places_.entries, [&](const Entry& entry) { return entry.path == path && !places_.blocks[entry.block].array; });
  return found == places_.entries.end() ? nullptr : &*found;
}

const TomlText::Entry* TomlText::find(std::size_t block, std::string_view key) const {
  const auto found = std::ranges::find_if(places_.entries, [&](const Entry& entry) { return entry.block == block && !entry.table && entry.path.size() == 2 && entry.path[1] == key; });
  return found == places_.entries.end() ? nullptr : &*found;
}

std::vector<std::size_t> TomlText::blocks(std::string_view array) const {
  std::vector<std::size_t> found;
  for (std::size_t i = 0; i < places_.blocks.size(); ++i) {
    const auto& block = places_.blocks[i];
    if (block.array && block.path.size() == 1 && block.path[0] == array) found.push_back(i);
  }
  return found;
}

std::optional<std::string_view> TomlText::literal(std::size_t block, std::string_view key) const {
  const auto* entry = find(block, key);
  return entry != nullptr ? std::optional(entry->value.of(text_)) : std::nullopt;
}

std::vector<std::size_t> TomlText::tables(std::string_view table) const {
  std::vector<std::size_t> found;
  for (std::size_t i = 0; i < places_.blocks.size(); ++i) {
    const auto& block = places_.blocks[i];
    if (!block.array && block.path.size() == 1 && block.path[0] == table) found.push_back(i);
  }
  return found;
}

std::vector<TomlText::Comment> TomlText::comments(std::size_t block) const {
  const std::string_view text(text_);
  std::vector<Comment> found;
  const auto add = [&](std::size_t from, std::size_t end, std::string_view key) {
    const auto hash = text.find_first_not_of(" \t", from);
    if (hash >= end || text[hash] != '#') return;
    auto words = text.substr(hash, end - hash);
    while (words.ends_with('\n') || words.ends_with('\r')) words.remove_suffix(1);
    found.push_back({words, key});
  };
  for (const auto& entry : places_.entries) {
    if (entry.block == block && !entry.table) add(entry.value.end, entry.lines.end, entry.key.back().name);
  }
  const auto begin = places_.blocks[block].header.end, end = block + 1 < places_.blocks.size() ? places_.blocks[block + 1].header.begin : text.size();
  for (const auto& comment : places_.comments) {
    if (comment.begin >= begin && comment.end <= end) add(comment.begin, comment.end, {});
  }
  return found;
}

void TomlText::put_comment(const Comment& comment, const std::string& words) {
  auto begin = static_cast<std::size_t>(comment.text.data() - text_.data());
  auto end = begin + comment.text.size();
  if (words.empty() && comment.key.empty()) {
    begin = line_start(begin);
    end = next_line(end);
  } else if (words.empty()) {
    begin = text_.find_last_not_of(" \t", begin - 1) + 1;
  }
  change({begin, end}, words);
}

const TomlText::Entry* TomlText::last_of(std::size_t block) const {
  const Entry* last = nullptr;
  for (const auto& entry : places_.entries) {
    if (entry.block == block && !entry.table) last = &entry;
  }
  return last;
}

std::size_t TomlText::own_begin(std::size_t block) const {
  auto begin = places_.blocks[block].header.begin;
  for (auto comment = places_.comments.rbegin(); comment != places_.comments.rend(); ++comment) {
    if (comment->end == begin) begin = comment->begin;
  }
  return std::max(begin, own_end(block - 1));
}

std::size_t TomlText::own_end(std::size_t block) const {
  const auto* last = last_of(block);
  const auto end = last != nullptr ? last->lines.end : places_.blocks[block].header.end;
  auto with_keys = end, with_comments = end;
  for (const auto& comment : places_.comments) {
    if (comment.begin != with_comments) continue;
    if (with_keys == with_comments && !key_in_comment(comment.of(text_)).empty()) with_keys = comment.end;
    with_comments = comment.end;
  }
  const bool of_the_next = block + 1 < places_.blocks.size() && places_.blocks[block + 1].header.begin == with_comments;
  return of_the_next ? with_keys : with_comments;
}

void TomlText::insert_line(std::size_t at, const std::string& line) {
  const bool open = at > 0 && at == text_.size() && text_.back() != '\n';
  const std::string end(line_end());
  change({at, at}, open ? end + line : line + end);
}

void TomlText::replace(const Entry& entry, const MakeLiteral& make) {
  change(entry.value, make({entry.value.of(text_), entry.table.has_value(), line_end()}));
}

void TomlText::erase(const Entry& entry) {
  if (entry.table) {
    const Entry *before = nullptr, *behind = nullptr;
    for (const auto& other : places_.entries) {
      if (other.table != entry.table || &other == &entry) continue;
      if (other.lines.begin < entry.lines.begin) before = &other;
      if (other.lines.begin > entry.lines.begin && behind == nullptr) behind = &other;
    }
    if (behind != nullptr) return change({entry.lines.begin, behind->lines.begin}, {});
    return change({before != nullptr ? before->lines.end : entry.lines.begin, entry.lines.end}, {});
  }
  const auto comment = text_.find_first_not_of(" \t", entry.value.end);
  const auto key = entry.key.front().span.begin;
  if (comment == std::string::npos || text_[comment] != '#') return change(entry.lines, {});
  // What the comment explains may be wanted again.
  if (next_line(key) == entry.lines.end) return change({key, key}, "# ");
  change({key, comment}, {});
}

void TomlText::add(std::size_t block, std::string_view key, const MakeLiteral& make) {
  const auto assignment = std::string(key) + " = " + make({std::nullopt, false, line_end()});
  const Span own{places_.blocks[block].header.end, own_end(block)};
  for (const auto& comment : places_.comments) {
    if (comment.begin < own.begin || comment.end > own.end || key_in_comment(comment.of(text_)) != key) continue;
    return insert_line(comment.end, indent_at(comment.begin) + assignment);
  }
  const auto* last = last_of(block);
  insert_line(last != nullptr ? last->lines.end : places_.blocks[block].header.end, (last != nullptr ? indent_at(last->lines.begin) : std::string()) + assignment);
}

void TomlText::add_to_inline_table(const Entry& table, const std::string& assignment) {
  const Entry* last = nullptr;
  for (const auto& entry : places_.entries) {
    if (entry.table && &places_.entries[*entry.table] == &table) last = &entry;
  }
  if (last != nullptr) return change({last->lines.end, last->lines.end}, ", " + assignment);
  change(table.value, "{ " + assignment + " }");
}

void TomlText::put(std::string_view table, std::string_view key, const MakeLiteral& make) {
  const std::string name(table), last_key(key);
  if (const auto* entry = find({name, last_key})) return replace(*entry, make);
  for (std::size_t i = 0; i < places_.blocks.size(); ++i) {
    if (!places_.blocks[i].array && places_.blocks[i].path == std::vector{name}) return add(i, key, make);
  }
  if (const auto* entry = find({name})) return add_to_inline_table(*entry, last_key + " = " + make({std::nullopt, true, line_end()}));
  const Entry* dotted = nullptr;
  for (const auto& entry : places_.entries) {
    if (entry.block == 0 && !entry.table && entry.path.front() == name) dotted = &entry;
  }
  if (dotted != nullptr) return insert_line(dotted->lines.end, indent_at(dotted->lines.begin) + name + "." + last_key + " = " + make({std::nullopt, false, line_end()}));
  const std::string end(line_end());
  add_at_end("[" + name + "]" + end + last_key + " = " + make({std::nullopt, false, line_end()}) + end);
}

std::optional<std::string_view> TomlText::literal(std::string_view table, std::string_view key) const {
  const auto* entry = find({std::string(table), std::string(key)});
  return entry != nullptr ? std::optional(entry->value.of(text_)) : std::nullopt;
}

void TomlText::drop(std::string_view table, std::string_view key) {
  if (const auto* entry = find({std::string(table), std::string(key)})) erase(*entry);
}

void TomlText::put(std::size_t block, std::string_view key, const MakeLiteral& make) {
  if (const auto* entry = find(block, key)) return replace(*entry, make);
  add(block, key, make);
}

void TomlText::drop(std::size_t block, std::string_view key) {
  if (const auto* entry = find(block, key)) erase(*entry);
}

void TomlText::remove(std::size_t block) {
  auto begin = own_begin(block);
  const auto end = own_end(block);
  // The blank lines above go along, as long as others keep what stands on both sides apart.
  while (blank_line_at(end) && begin > 0) {
    const auto above = line_start(begin - 1);
    if (!blank_line_at(above)) break;
    begin = above;
  }
  change({begin, end}, {});
}

void TomlText::add_behind(std::size_t block, const std::string& lines) {
  const auto at = own_end(block);
  const std::string end(line_end());
  const bool open = at > 0 && text_[at - 1] != '\n', close = at < text_.size() && !blank_line_at(at);
  change({at, at}, (open ? end : std::string()) + end + lines + (close ? end : std::string()));
}

void TomlText::add_before(std::size_t block, const std::string& lines) {
  const auto at = own_begin(block);
  change({at, at}, lines + std::string(line_end()));
}

void TomlText::put_in_place_of(std::size_t block, const std::string& lines) {
  change({own_begin(block), own_end(block)}, lines);
}

void TomlText::add_at_end(const std::string& lines) {
  const std::string end(line_end());
  const bool open = !text_.empty() && text_.back() != '\n';
  change({text_.size(), text_.size()}, (open ? end : std::string()) + (text_.empty() ? std::string() : end) + lines);
}

void TomlText::rename_member(std::string_view table, std::string_view inner, std::string_view from, std::string_view to) {
  const auto* entry = find({std::string(table), std::string(inner), std::string(from)});
  if (entry == nullptr) return;
  const auto& key = entry->key.back();
  change(key.span, is_bare_key(to) && is_bare_key(key.span.of(text_)) ? std::string(to) : toml_text(to));
}

void TomlText::put_member(std::string_view table, std::string_view inner, std::string_view name, const MakeLiteral& make) {
  const std::vector<std::string> path{std::string(table), std::string(inner)};
  if (const auto* entry = find({path[0], path[1], std::string(name)})) return replace(*entry, make);
  const auto key = is_bare_key(name) ? std::string(name) : toml_text(name);
  if (const auto* entry = find(path)) return add_to_inline_table(*entry, key + " = " + make({std::nullopt, true, line_end()}));
  for (std::size_t i = 0; i < places_.blocks.size(); ++i) {
    if (!places_.blocks[i].array && places_.blocks[i].path == path) return add(i, key, make);
  }
  for (const auto& entry : places_.entries) {
    if (entry.table || entry.path.size() != 3 || entry.path[0] != path[0] || entry.path[1] != path[1]) continue;
    const auto prefix = Span{entry.key.front().span.begin, entry.key[entry.key.size() - 2].span.end}.of(text_);
    return insert_line(entry.lines.end, indent_at(entry.lines.begin) + std::string(prefix) + "." + key + " = " + make({std::nullopt, false, line_end()}));
  }
  put(table, inner, plain_literal("{ " + key + " = " + make({std::nullopt, true, line_end()}) + " }"));
}

void TomlText::drop_member(std::string_view table, std::string_view inner, std::string_view name) {
  if (const auto* entry = find({std::string(table), std::string(inner), std::string(name)})) erase(*entry);
}

std::string TomlText::changed() const {
  auto changes = changes_;
  // What is put in at a place comes before what is taken out from there on.
  std::ranges::stable_sort(changes, {}, [](const auto& one) { return std::pair(one.first.begin, one.first.end > one.first.begin); });
  std::string text;
  std::size_t at = 0;
  for (const auto& [where, to] : changes) {
    if (where.begin < at) continue;
    text.append(text_, at, where.begin - at).append(to);
    at = where.end;
  }
  return text.append(text_, at);
}

}  // namespace sendworthy::base
