// One table of a TOML document, read key by key into the values that it means.
#pragma once

#include <sendworthy/result.h>

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/document.h"

namespace sendworthy::base {

/// The error at this node's place.
[[nodiscard]] tl::unexpected<Error> wrong(const Node& node, std::string text);

/// The first error is kept, and everything after it does nothing. A key that is not there leaves its target as it was.
class Table {
 public:
  /// `shown`: how to write it, such as "[order]"; `known`: the keys that it may have.
  Table(const Node& node, std::string_view shown, const std::vector<std::string_view>& known);
  [[nodiscard]] const Node& node() const { return node_; }
  [[nodiscard]] std::optional<Node> find(std::string_view key) const { return error_ ? std::nullopt : node_.find(key); }
  void text(std::string_view key, std::string& target);
  /// A text without control characters.
  void one_line(std::string_view key, std::string& target);
  void texts(std::string_view key, std::vector<std::string>& target);
  void flag(std::string_view key, bool& target);
  void number(std::string_view key, std::optional<double>& target, double lowest, double highest);
  void number(std::string_view key, double& target, double lowest, double highest);
  /// `read` makes a Result of the key's node.
  template <class T, class Read>
  void take(std::string_view key, T& target, const Read& read) {
    if (error_) return;
    const auto found = node_.find(key);
    if (!found) return;
    auto value = read(*found);
    if (value) {
      target = std::move(*value);
    } else {
      error_ = value.error();
    }
  }
  void refuse(Error error) {
    if (!error_) error_ = std::move(error);
  }
  [[nodiscard]] Result<void> done() const;

 private:
  Node node_;
  std::optional<Error> error_;
};

/// The path up to its last slash and with it; "" for a mere name.
[[nodiscard]] std::string folder_of(std::string_view path);

/// `path` as read from the folder in which `file` lies; "." adds nothing.
[[nodiscard]] std::string from_folder_of(const std::string& file, std::string path);

/// Nothing, or nothing but spaces, tabs and ends of lines.
[[nodiscard]] bool is_blank(std::string_view text);

}  // namespace sendworthy::base
