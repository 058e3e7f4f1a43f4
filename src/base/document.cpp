#include "base/document.h"

#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <cmath>
#include <exception>

#include "base/text.h"

namespace sendworthy::base {
namespace {

constexpr std::size_t kLargest = std::size_t{1} << 20;
constexpr int kDeepest = 64;

struct Position {
  int line = 1, column = 1;
};

// toml++ makes one nested table of every part of a dotted key and frees them by recursion, so a key of 500,000 dots
// would run out of stack. This look ahead knows just enough of TOML (strings, comments, brackets, dots) to find
// brackets and dotted keys that go too deep before the parser sees them.
std::optional<Position> too_deep(std::string_view text) {
  Position at;
  int brackets = 0, dots = 0;
  for (std::size_t i = 0; i < text.size();) {
    const auto step = [&](std::size_t count) {
      for (; count > 0 && i < text.size(); --count, ++i) {
        if (text[i] == '\n') {
          ++at.line;
          at.column = 1;
        } else {
          ++at.column;
        }
      }
    };
    const char c = text[i];
    if (c == '#') {
      while (i < text.size() && text[i] != '\n') step(1);
    } else if (c == '"' || c == '\'') {
      const bool escapes = c == '"';
      const std::string three(3, c);
      if (text.substr(i, 3) == three) {
        step(3);
        while (i < text.size() && text.substr(i, 3) != three) step(escapes && text[i] == '\\' ? 2 : 1);
        step(3);
        for (int extra = 0; extra < 2 && i < text.size() && text[i] == c; ++extra) step(1);  // """" ends with a quote
      } else {
        step(1);
        while (i < text.size() && text[i] != c && text[i] != '\n') step(escapes && text[i] == '\\' ? 2 : 1);
        if (i < text.size() && text[i] == c) step(1);
      }
    } else {
      if (c == '[' || c == '{') ++brackets;
      if (c == ']' || c == '}') brackets = std::max(0, brackets - 1);
      if (c == '.') ++dots;
      if (c == '\n' || c == ',' || c == '=' || c == '[' || c == '{') dots = 0;
      if (brackets > kDeepest || dots > kDeepest) return at;
      step(1);
    }
  }
  return std::nullopt;
}

bool deeper_than(const toml::node& node, int levels) {
  if (levels < 0) return true;
  if (const auto* table = node.as_table()) {
    return std::any_of(table->begin(), table->end(),
                       [&](const auto& member) { return deeper_than(member.second, levels - 1); });
  }
  if (const auto* array = node.as_array()) {
    return std::any_of(array->begin(), array->end(),
                       [&](const auto& element) { return deeper_than(element, levels - 1); });
  }
  return false;
}

Place place_of(const toml::source_region& region, const std::string* path) {
  return {path ? *path : std::string(), static_cast<int>(region.begin.line), static_cast<int>(region.begin.column)};
}

const toml::node* as_node(const void* node) { return static_cast<const toml::node*>(node); }
const toml::key* as_key(const void* key) { return static_cast<const toml::key*>(key); }

// A key or a value as it may stand in a message: one line, and not longer than one.
std::string quoted(std::string_view text) {
  constexpr std::size_t kLongest = 60;
  std::string shown = text.size() > kLongest ? std::string(text.substr(0, kLongest)) : std::string(text);
  shown = for_terminal(shown);
  return "\"" + shown + (text.size() > kLongest ? "…\"" : "\"");
}

std::string_view words(Node::Type type) {
  switch (type) {
    case Node::Type::none:
      return "nothing";
    case Node::Type::boolean:
      return "true or false";
    case Node::Type::integer:
      return "a whole number";
    case Node::Type::real:
      return "a number";
    case Node::Type::text:
      return "text";
    case Node::Type::date:
      return "a date";
    case Node::Type::array:
      return "an array";
    case Node::Type::table:
      return "a table";
  }
  return "nothing";
}

bool is_day(int year, int month, int day) {
  if (year < 1 || year > 9999 || month < 1 || month > 12 || day < 1) return false;
  constexpr int kDays[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  return day <= kDays[month - 1] + (month == 2 && leap ? 1 : 0);
}

}  // namespace

struct Document::Impl {
  toml::table root;
  std::string path;
};

Document::Document(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Document::Document(Document&&) noexcept = default;
Document& Document::operator=(Document&&) noexcept = default;
Document::~Document() = default;

Result<Document> Document::parse(std::string_view toml, std::string_view shown_path) {
  std::string path = for_terminal(shown_path);
  if (toml.size() > kLargest) {
    return fail(ErrorCode::rules, fmt::format("the text has {} bytes; at most {} are read", toml.size(), kLargest),
                {path, 0, 0});
  }
  // In both of these the parser has faults of its own, which checked builds of it stop at.
  if (const auto nul = toml.find('\0'); nul != toml.npos) {
    const auto before = toml.substr(0, nul);
    const auto line = std::count(before.begin(), before.end(), '\n') + 1;
    const auto column = nul - (before.rfind('\n') + 1) + 1;
    return fail(ErrorCode::rules, "a NUL byte, which no TOML text has", {path, static_cast<int>(line), static_cast<int>(column)});
  }
  if (toml.starts_with("\xEF\xB9\xBF")) return fail(ErrorCode::rules, "it begins with U+FE7F, which no TOML text does", {path, 1, 1});
  if (const auto at = too_deep(toml)) {
    return fail(ErrorCode::rules, fmt::format("nested deeper than {} levels", kDeepest), {path, at->line, at->column});
  }
  try {
    auto impl = std::make_unique<Impl>();
    impl->root = toml::parse(toml);
    if (deeper_than(impl->root, kDeepest))
      return fail(ErrorCode::rules, fmt::format("nested deeper than {} levels", kDeepest), {path, 0, 0});
    impl->path = std::move(path);
    return Document(std::move(impl));
  } catch (const toml::parse_error& error) {
    constexpr std::size_t kLongest = 300;  // the parser may quote what it found, and that may be the whole file
    return fail(ErrorCode::rules, for_terminal(error.description().substr(0, kLongest)),
                place_of(error.source(), &path));
  } catch (const std::exception& error) {
    return fail(ErrorCode::rules, for_terminal(error.what()), {path, 0, 0});
  }
}

Node Document::root() const {
  Node node;
  node.node_ = static_cast<const toml::node*>(&impl_->root);
  node.path_ = &impl_->path;
  return node;
}

Node::Type Node::type() const {
  if (!node_) return Type::none;
  switch (as_node(node_)->type()) {
    case toml::node_type::boolean:
      return Type::boolean;
    case toml::node_type::integer:
      return Type::integer;
    case toml::node_type::floating_point:
      return Type::real;
    case toml::node_type::string:
      return Type::text;
    case toml::node_type::date:
    case toml::node_type::time:
    case toml::node_type::date_time:
      return Type::date;
    case toml::node_type::array:
      return Type::array;
    case toml::node_type::table:
      return Type::table;
    default:
      return Type::none;
  }
}

Place Node::place() const {
  if (!node_) return {path_ ? *path_ : std::string(), 0, 0};
  return place_of(as_node(node_)->source(), path_);
}

Place Node::key_place() const {
  if (!key_) return place();
  return place_of(as_key(key_)->source(), path_);
}

std::string Node::key() const { return key_ ? std::string(as_key(key_)->str()) : std::string(); }

std::vector<Node> Node::members() const {
  std::vector<Node> found;
  if (!node_) return found;
  if (const auto* table = as_node(node_)->as_table()) {
    for (const auto& [key, value] : *table) {
      Node member;
      member.node_ = static_cast<const toml::node*>(&value);
      member.key_ = &key;
      member.path_ = path_;
      found.push_back(member);
    }
    std::stable_sort(found.begin(), found.end(), [](const Node& a, const Node& b) {
      return as_key(a.key_)->source().begin < as_key(b.key_)->source().begin;
    });
  } else if (const auto* array = as_node(node_)->as_array()) {
    for (const auto& value : *array) {
      Node element;
      element.node_ = static_cast<const toml::node*>(&value);
      element.path_ = path_;
      found.push_back(element);
    }
  }
  return found;
}

std::optional<Node> Node::find(std::string_view key) const {
  if (!node_) return std::nullopt;
  const auto* table = as_node(node_)->as_table();
  if (!table) return std::nullopt;
  const auto found = table->find(key);
  if (found == table->end()) return std::nullopt;
  Node member;
  member.node_ = static_cast<const toml::node*>(&found->second);
  member.key_ = &found->first;
  member.path_ = path_;
  return member;
}

namespace {

Error wrong_type(const Node& node, std::string_view wanted) {
  const std::string name = node.key();
  return node.error(fmt::format("{} must be {}, not {}", name.empty() ? std::string("this value") : quoted(name),
                                wanted, words(node.type())));
}

}  // namespace

Result<bool> Node::boolean() const {
  if (type() != Type::boolean) return tl::unexpected(wrong_type(*this, words(Type::boolean)));
  return as_node(node_)->as_boolean()->get();
}

Result<double> Node::number() const {
  if (type() == Type::integer) return static_cast<double>(as_node(node_)->as_integer()->get());
  if (type() != Type::real) return tl::unexpected(wrong_type(*this, words(Type::real)));
  const double value = as_node(node_)->as_floating_point()->get();
  if (!std::isfinite(value)) {
    return tl::unexpected(error(fmt::format("{} must be a finite number, not {}",
                                            key().empty() ? std::string("this value") : quoted(key()),
                                            std::isnan(value) ? "nan"
                                            : value < 0       ? "-inf"
                                                              : "inf")));
  }
  return value;
}

Result<std::int64_t> Node::integer() const {
  if (type() != Type::integer) return tl::unexpected(wrong_type(*this, words(Type::integer)));
  return as_node(node_)->as_integer()->get();
}

Result<std::string> Node::text() const {
  if (type() != Type::text) return tl::unexpected(wrong_type(*this, words(Type::text)));
  return as_node(node_)->as_string()->get();
}

Result<std::string> Node::date() const {
  constexpr std::string_view kWanted = "a date such as 2027-01-31";
  int year = 0, month = 0, day = 0;
  if (type() == Type::date) {
    const auto* date = as_node(node_)->as_date();
    if (!date) return tl::unexpected(wrong_type(*this, fmt::format("{} without a time", kWanted)));
    year = date->get().year;
    month = date->get().month;
    day = date->get().day;
  } else if (type() == Type::text) {
    const std::string written = as_node(node_)->as_string()->get();
    const auto digits = [&](std::size_t from, std::size_t count) {
      int value = 0;
      for (std::size_t i = from; i < from + count; ++i) {
        if (written[i] < '0' || written[i] > '9') return -1;
        value = value * 10 + (written[i] - '0');
      }
      return value;
    };
    if (written.size() == 10 && written[4] == '-' && written[7] == '-') {
      year = digits(0, 4);
      month = digits(5, 2);
      day = digits(8, 2);
    }
    if (!is_day(year, month, day))
      return tl::unexpected(error(fmt::format("{} must be {}, not {}", quoted(key()), kWanted, quoted(written))));
  } else {
    return tl::unexpected(wrong_type(*this, kWanted));
  }
  if (!is_day(year, month, day)) return tl::unexpected(wrong_type(*this, kWanted));
  return fmt::format("{:04}-{:02}-{:02}", year, month, day);
}

Result<std::vector<std::string>> Node::texts() const {
  std::vector<std::string> found;
  if (type() == Type::text) {
    found.push_back(as_node(node_)->as_string()->get());
    return found;
  }
  if (type() != Type::array) return tl::unexpected(wrong_type(*this, "text or an array of texts"));
  for (const auto& element : members()) {
    if (element.type() != Type::text) {
      return tl::unexpected(
          element.error(fmt::format("{} must hold texts only, not {}", quoted(key()), words(element.type()))));
    }
    found.push_back(as_node(element.node_)->as_string()->get());
  }
  return found;
}

Result<void> Node::only(const std::vector<std::string_view>& known, std::string_view where) const {
  for (const auto& member : members()) {
    const std::string name = member.key();
    if (std::find(known.begin(), known.end(), name) != known.end()) continue;
    std::string text = fmt::format("unknown key {} in {}", quoted(name), where);
    if (const auto near = nearest(name, known); !near.empty()) text += fmt::format("; did you mean \"{}\"?", near);
    return tl::unexpected(Error{ErrorCode::rules, std::move(text), member.key_place()});
  }
  return {};
}

Error Node::error(std::string text) const { return {ErrorCode::rules, std::move(text), place()}; }

}  // namespace sendworthy::base
