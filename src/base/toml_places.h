// Where keys, values and comments stand in the text of a TOML document, byte by byte, for whoever changes one of them and leaves
// the rest as it is.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::base {

/// Bytes [begin, end) of a text.
struct Span {
  std::size_t begin = 0, end = 0;
  [[nodiscard]] std::string_view of(std::string_view text) const { return text.substr(begin, end - begin); }
};

/// One part of a dotted key.
struct TomlKey {
  std::string name;  ///< without quotes and escapes
  Span span;         ///< with them
};

/// key = value: a statement, or a member of an inline table that stands in a statement.
struct TomlEntry {
  std::vector<TomlKey> key;          ///< as it is written there
  std::vector<std::string> path;     ///< from the root
  Span value;
  Span lines;                        ///< the statement's lines with their ends; of a member from its key to its value
  std::size_t block = 0;             ///< in which it stands
  std::optional<std::size_t> table;  ///< of a member: the entry whose value is the inline table
};

/// A header such as [song] or [[section]], and what follows it up to the next.
struct TomlBlock {
  std::vector<std::string> path;
  bool array = false;
  Span header;  ///< its line with the line's end; empty for the root
};

struct TomlPlaces {
  std::vector<TomlBlock> blocks;   ///< the root first, then as they come
  std::vector<TomlEntry> entries;  ///< as they come; what stands in arrays is left out
  std::vector<Span> comments;      ///< lines that hold nothing else, with their ends
};

/// For a text that Document has read. Nothing where it is no TOML, or nested deeper than 64 levels.
[[nodiscard]] std::optional<TomlPlaces> toml_places(std::string_view text);

struct TomlArray {
  std::vector<Span> elements, commas;
};
/// Of an array at this place; nothing where there stands none.
[[nodiscard]] std::optional<TomlArray> toml_array(std::string_view text, Span array);

/// The text that a TOML string stands for, given with its quotes; nothing where it is none.
[[nodiscard]] std::optional<std::string> toml_string(std::string_view literal);

}  // namespace sendworthy::base
