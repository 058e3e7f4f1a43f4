#include "base/table.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace sendworthy::base {

tl::unexpected<Error> wrong(const Node& node, std::string text) { return tl::unexpected(node.error(std::move(text))); }

Table::Table(const Node& node, std::string_view shown, const std::vector<std::string_view>& known) : node_(node) {
  if (node.type() != Node::Type::table) {
    error_ = node.error(fmt::format("write {} for it", shown));
  } else if (const auto ok = node.only(known, shown); !ok) {
    error_ = ok.error();
  }
}

void Table::text(std::string_view key, std::string& target) {
  take(key, target, [](const Node& node) { return node.text(); });
}

void Table::one_line(std::string_view key, std::string& target) {
  text(key, target);
  const auto node = find(key);
  if (node && std::ranges::any_of(target, [](char c) { return static_cast<unsigned char>(c) < ' '; }))
    refuse(node->error(fmt::format("{} must be one line of text", key)));
}

void Table::texts(std::string_view key, std::vector<std::string>& target) {
  take(key, target, [](const Node& node) { return node.texts(); });
}

void Table::flag(std::string_view key, bool& target) {
  take(key, target, [](const Node& node) { return node.boolean(); });
}

void Table::number(std::string_view key, double& target, double lowest, double highest) {
  take(key, target, [&](const Node& node) -> Result<double> {
    const auto value = node.number();
    if (!value) return value;
    if (*value < lowest || *value > highest)
      return wrong(node, fmt::format("{} must lie between {} and {}", key, shortest(lowest), shortest(highest)));
    return value;
  });
}

void Table::number(std::string_view key, std::optional<double>& target, double lowest, double highest) {
  if (!find(key)) return;
  double value = 0;
  number(key, value, lowest, highest);
  target = value;
}

Result<void> Table::done() const {
  if (error_) return tl::unexpected(*error_);
  return {};
}

std::string folder_of(std::string_view path) {
  const auto slash = path.rfind('/');
  return slash == std::string_view::npos ? std::string() : std::string(path.substr(0, slash + 1));
}

std::string from_folder_of(const std::string& file, std::string path) {
  while (path.starts_with("./")) path.erase(0, 2);
  if (path == ".") path.clear();
  return path.starts_with('/') ? path : folder_of(file) + path;
}

bool is_blank(std::string_view text) { return text.find_first_not_of(" \t\r\n") == std::string_view::npos; }

}  // namespace sendworthy::base
