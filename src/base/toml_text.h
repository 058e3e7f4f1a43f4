// The text of a TOML document, and changes to it that leave every other byte as it was.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/toml_places.h"

namespace sendworthy::base {

/// Where a value is to stand.
struct LiteralPlace {
  std::optional<std::string_view> old;  ///< what stands there now
  bool one_line = false;                ///< it must have no line ends, as in an inline table
  std::string_view line_end = "\n";
};

/// "key" of a line "# key = …", which waits to be taken up; "" of others.
[[nodiscard]] std::string_view key_in_comment(std::string_view line);

/// Makes a value as TOML has it.
using MakeLiteral = std::function<std::string(const LiteralPlace& place)>;

[[nodiscard]] MakeLiteral plain_literal(std::string literal);

class TomlText {
 public:
  /// Of a text that is valid TOML; nothing for one whose parts cannot be told apart.
  [[nodiscard]] static std::optional<TomlText> of(std::string text);

  /// [table] key = …, wherever and however the text has it; a key that is not there is added to its table, and a table at the end.
  void put(std::string_view table, std::string_view key, const MakeLiteral& make);
  /// The value of such a key; nothing where there is none.
  [[nodiscard]] std::optional<std::string_view> literal(std::string_view table, std::string_view key) const;
  void drop(std::string_view table, std::string_view key);

  /// The tables [[array]], by the indices that the functions below take, in order of the text.
  [[nodiscard]] std::vector<std::size_t> blocks(std::string_view array) const;
  /// The value of a key in such a table; nothing where it has none.
  [[nodiscard]] std::optional<std::string_view> literal(std::size_t block, std::string_view key) const;
  void put(std::size_t block, std::string_view key, const MakeLiteral& make);
  void drop(std::size_t block, std::string_view key);
  /// The tables [table], of which valid TOML has at most one.
  [[nodiscard]] std::vector<std::size_t> tables(std::string_view table) const;
  /// A comment in the lines of a table, from its # on, without the line's end.
  struct Comment {
    std::string_view text;
    std::string_view key;  ///< behind whose value it stands; "" where it has a line of its own
  };
  [[nodiscard]] std::vector<Comment> comments(std::size_t block) const;
  /// Other words for one that `comments` told; none takes it away, with its line where that is its own.
  void put_comment(const Comment& comment, const std::string& words);
  /// With the comments directly above it and behind its last key.
  void remove(std::size_t block);
  /// Lines, each with its end, as a table of its own: behind another one, before it, in its place, or at the text's end.
  void add_behind(std::size_t block, const std::string& lines);
  void add_before(std::size_t block, const std::string& lines);
  void put_in_place_of(std::size_t block, const std::string& lines);
  void add_at_end(const std::string& lines);

  /// Another name for a member of the table [table.inner].
  void rename_member(std::string_view table, std::string_view inner, std::string_view from, std::string_view to);
  /// A member of [table.inner], as `put` does it.
  void put_member(std::string_view table, std::string_view inner, std::string_view name, const MakeLiteral& make);
  void drop_member(std::string_view table, std::string_view inner, std::string_view name);

  /// As the text ends its lines.
  [[nodiscard]] std::string_view line_end() const { return text_.find("\r\n") != text_.npos ? "\r\n" : "\n"; }

  /// With every change made: at most one of each key, and of each inline table.
  [[nodiscard]] std::string changed() const;

 private:
  using Entry = TomlEntry;
  TomlText(std::string text, TomlPlaces places) : text_(std::move(text)), places_(std::move(places)) {}

  [[nodiscard]] const Entry* find(const std::vector<std::string>& path) const;
  [[nodiscard]] const Entry* find(std::size_t block, std::string_view key) const;
  void replace(const Entry& entry, const MakeLiteral& make);
  void erase(const Entry& entry);
  void add(std::size_t block, std::string_view key, const MakeLiteral& make);
  void add_to_inline_table(const Entry& table, const std::string& assignment);
  void change(Span where, std::string to) { changes_.push_back({where, std::move(to)}); }
  /// A line of its own at the start of a line, or at the text's end.
  void insert_line(std::size_t at, const std::string& line);
  [[nodiscard]] std::size_t line_start(std::size_t at) const;
  [[nodiscard]] std::string indent_at(std::size_t at) const;
  [[nodiscard]] bool blank_line_at(std::size_t at) const;
  [[nodiscard]] std::size_t next_line(std::size_t at) const;
  /// From the comments directly above a table's header to those directly behind its last key. Comments that touch both are the next
  /// table's, but for keys that wait in them to be taken up.
  [[nodiscard]] std::size_t own_begin(std::size_t block) const;
  [[nodiscard]] std::size_t own_end(std::size_t block) const;
  [[nodiscard]] const Entry* last_of(std::size_t block) const;

  std::string text_;
  TomlPlaces places_;
  std::vector<std::pair<Span, std::string>> changes_;
};

}  // namespace sendworthy::base
