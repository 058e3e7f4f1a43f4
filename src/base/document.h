// TOML with places: every value knows its file, line and column, and every wrong key is an error with the nearest right
// name. The only header that stands before toml++.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <sendworthy/result.h>

namespace sendworthy::base {

class Node;

/// A parsed TOML document. Cheap to move; nodes stay valid as long as it lives.
class Document {
 public:
  /// At most 1 MiB of text, at most 64 levels deep.
  [[nodiscard]] static Result<Document> parse(std::string_view toml, std::string_view shown_path);
  Document(Document&&) noexcept;
  Document& operator=(Document&&) noexcept;
  ~Document();
  [[nodiscard]] Node root() const;

 private:
  struct Impl;
  explicit Document(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

/// A value in a document. Asking for the wrong type is an error that names key, place, found and wanted type.
class Node {
 public:
  enum class Type { none, boolean, integer, real, text, date, array, table };
  [[nodiscard]] Type type() const;
  [[nodiscard]] Place place() const;        ///< of the value
  [[nodiscard]] Place key_place() const;    ///< of the key, for tables' members; else as place()
  [[nodiscard]] std::string key() const;    ///< "" for the root and array elements

  [[nodiscard]] std::vector<Node> members() const;   ///< of a table, in order of the text; of an array, its elements
  [[nodiscard]] std::optional<Node> find(std::string_view key) const;

  [[nodiscard]] Result<bool> boolean() const;
  [[nodiscard]] Result<double> number() const;       ///< integer or real; NaN and infinities are errors
  [[nodiscard]] Result<std::int64_t> integer() const;
  [[nodiscard]] Result<std::string> text() const;
  [[nodiscard]] Result<std::string> date() const;    ///< a TOML date, or text of the form YYYY-MM-DD; always a real day
  [[nodiscard]] Result<std::vector<std::string>> texts() const;   ///< one text or an array of texts

  /// Error on the first member whose key is not in `known`: `file:line:column: unknown key "maxx" in [[rule]]; did you mean "max"?`
  [[nodiscard]] Result<void> only(const std::vector<std::string_view>& known, std::string_view where) const;

  /// An error at this node's place.
  [[nodiscard]] Error error(std::string text) const;

 private:
  friend class Document;
  const void* node_ = nullptr;
  const void* key_ = nullptr;
  const std::string* path_ = nullptr;
};

}  // namespace sendworthy::base
