#include "desk/target.h"

#include <utility>

namespace sendworthy::desk {
namespace {

std::optional<int> digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return std::nullopt;
}

enum class Part { path, query };

std::optional<std::string> decoded(std::string_view text, Part part) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (part == Part::path && text[i] == '\\') return std::nullopt;
    if (text[i] != '%') {
      out += part == Part::query && text[i] == '+' ? ' ' : text[i];
      continue;
    }
    if (i + 2 >= text.size()) return std::nullopt;
    const auto high = digit(text[i + 1]), low = digit(text[i + 2]);
    if (!high || !low) return std::nullopt;
    const auto byte = static_cast<char>(16 * *high + *low);
    if (byte == '\0' || (part == Part::path && (byte == '/' || byte == '\\'))) return std::nullopt;
    out += byte;
    i += 2;
  }
  return out;
}

}  // namespace

std::string_view Target::of(std::string_view name) const {
  const auto found = query.find(name);
  return found == query.end() ? std::string_view() : std::string_view(found->second);
}

std::optional<Target> parse_target(std::string_view text) {
  if (!text.starts_with('/')) return std::nullopt;
  for (const char c : text) {
    if (c <= ' ' || c >= '\x7f') return std::nullopt;
  }
  const auto question = text.find('?');
  auto path = text.substr(1, question == text.npos ? text.npos : question - 1);
  Target target;
  for (;;) {
    const auto slash = path.find('/');
    auto segment = decoded(path.substr(0, slash), Part::path);
    if (!segment) return std::nullopt;
    target.segments.push_back(std::move(*segment));
    if (slash == path.npos) break;
    path.remove_prefix(slash + 1);
  }
  auto rest = question == text.npos ? std::string_view() : text.substr(question + 1);
  while (!rest.empty()) {
    const auto end = rest.find('&');
    const auto pair = rest.substr(0, end);
    const auto equals = pair.find('=');
    auto name = decoded(pair.substr(0, equals), Part::query);
    auto value = decoded(equals == pair.npos ? std::string_view() : pair.substr(equals + 1), Part::query);
    if (!name || !value) return std::nullopt;
    target.query.emplace(std::move(*name), std::move(*value));
    rest = end == rest.npos ? std::string_view() : rest.substr(end + 1);
  }
  return target;
}

}  // namespace sendworthy::desk
