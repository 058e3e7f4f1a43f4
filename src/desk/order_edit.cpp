#include "desk/order_edit.h"

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include "base/document.h"
#include "base/text.h"
#include "delivery/order.h"
#include "base/toml_text.h"

namespace sendworthy::desk {
namespace {

using base::Node;
using base::TomlText;

constexpr std::array<std::string_view, 10> kOrderKeys{"title", "artist", "album", "client", "rules", "expect", "folder", "name", "allow_extra", "previous"};
constexpr std::array<std::string_view, 10> kItemKeys{"version", "file", "required", "rules", "expect", "role", "title", "length", "against", "isrc"};

tl::unexpected<Error> wrong_edit(std::string text) { return fail(ErrorCode::usage, std::move(text)); }

tl::unexpected<Error> cannot_be_changed() {
  return fail(ErrorCode::rules, "the order is written in a way that cannot be changed by these fields; change its text");
}

std::string literal_of(const OrderValue& value) {
  if (const auto* text = std::get_if<std::string>(&value)) return base::toml_text(*text);
  if (const auto* flag = std::get_if<bool>(&value)) return *flag ? "true" : "false";
  if (const auto* number = std::get_if<double>(&value)) return base::shortest(*number);
  const auto& texts = std::get<std::vector<std::string>>(value);
  if (texts.size() == 1) return base::toml_text(texts.front());
  std::string list;
  for (const auto& one : texts) list += (list.empty() ? "" : ", ") + base::toml_text(one);
  return "[" + list + "]";
}

/// Whether a node says it; a key that is taken away says nothing.
bool says(const std::optional<Node>& node, const OrderValue& value) {
  if (std::holds_alternative<std::monostate>(value)) return !node;
  if (!node) return false;
  if (const auto* text = std::get_if<std::string>(&value)) {
    const auto read = node->text();
    return read && *read == *text;
  }
  if (const auto* flag = std::get_if<bool>(&value)) {
    const auto read = node->boolean();
    return read && *read == *flag;
  }
  if (const auto* number = std::get_if<double>(&value)) {
    const auto read = node->number();
    return read && *read == *number;
  }
  const auto read = node->texts();
  return read && *read == std::get<std::vector<std::string>>(value);
}

bool holds_comments(std::optional<std::string_view> literal) {
  return literal && literal->starts_with('[') && literal->find('#') != std::string_view::npos;
}

/// `table`: a name, or the number of a block. What somebody wrote between the texts of a list is not ours to take away.
template <class Table>
Result<void> set(TomlText& text, Table table, const std::string& key, const OrderValue& to) {
  if (holds_comments(text.literal(table, key))) return cannot_be_changed();
  if (std::holds_alternative<std::monostate>(to)) {
    text.drop(table, key);
  } else {
    text.put(table, key, base::plain_literal(literal_of(to)));
  }
  return {};
}

class Editor {
 public:
  explicit Editor(std::string text) : text_(std::move(text)) {}

  Result<void> operator()(const SetOrderKey& wanted) {
    if (std::ranges::find(kOrderKeys, wanted.key) == kOrderKeys.end()) return wrong_edit("an order has no key \"" + wanted.key + "\" that can be set");
    return changed([&](TomlText& text, const std::vector<std::size_t>&) { return set(text, "order", wanted.key, wanted.to); }, [&](const Node& root, std::size_t) {
      const auto table = root.find("order");
      return table && says(table->find(wanted.key), wanted.to);
    });
  }

  Result<void> operator()(const SetItemKey& wanted) {
    if (std::ranges::find(kItemKeys, wanted.key) == kItemKeys.end()) return wrong_edit("an item has no key \"" + wanted.key + "\" that can be set");
    return changed([&](TomlText& text, const std::vector<std::size_t>& blocks) -> Result<void> {
      if (wanted.item >= blocks.size()) return no_such_item();
      return set(text, blocks[wanted.item], wanted.key, wanted.to);
    }, [&](const Node& root, std::size_t before) {
      const auto items = items_of(root);
      return items.size() == before && says(items[wanted.item].find(wanted.key), wanted.to);
    });
  }

  Result<void> operator()(const AddItem& wanted) {
    return changed([&](TomlText& text, const std::vector<std::size_t>& blocks) -> Result<void> {
      const std::string end(text.line_end());
      text.add_behind(blocks.back(), "[[item]]" + end + "version = " + base::toml_text(wanted.version) + end + "file = " + base::toml_text(wanted.file) + end);
      return {};
    }, [&](const Node& root, std::size_t before) {
      const auto items = items_of(root);
      return items.size() == before + 1 && says(items.back().find("file"), wanted.file);
    });
  }

  Result<void> operator()(const RemoveItem& wanted) {
    return changed([&](TomlText& text, const std::vector<std::size_t>& blocks) -> Result<void> {
      if (wanted.item >= blocks.size()) return no_such_item();
      if (blocks.size() == 1) return wrong_edit("the last item cannot go: an order asks for one file at least");
      text.remove(blocks[wanted.item]);
      return {};
    }, [&](const Node& root, std::size_t before) { return items_of(root).size() + 1 == before; });
  }

  [[nodiscard]] std::string take() { return std::move(text_); }

 private:
  static tl::unexpected<Error> no_such_item() { return wrong_edit("the order has no such item any more; it is read again"); }

  static std::vector<Node> items_of(const Node& root) {
    const auto items = root.find("item");
    return items ? items->members() : std::vector<Node>();
  }

  /// `change` is given the places of the items; `done` is asked of the text afterwards, with how many items there were.
  template <class Change, class Done>
  Result<void> changed(const Change& change, const Done& done) {
    const auto order = delivery::parse_order(text_, {});
    if (!order) return fail(ErrorCode::rules, order.error().text);
    auto text = TomlText::of(text_);
    if (!text) return cannot_be_changed();
    const auto blocks = text->blocks("item");
    if (blocks.size() != order->items.size()) return cannot_be_changed();
    if (const auto ok = change(*text, blocks); !ok) return ok;
    auto after = text->changed();
    if (const auto read = delivery::parse_order(after, {}); !read) return fail(ErrorCode::rules, read.error().text);
    const auto document = base::Document::parse(after, {});
    if (!document || !done(document->root(), blocks.size())) return cannot_be_changed();
    text_ = std::move(after);
    return {};
  }

  std::string text_;
};

}  // namespace

Result<std::string> edit_order(std::string_view toml, std::span<const OrderEdit> edits) {
  Editor editor{std::string(toml)};
  for (const auto& edit : edits) {
    if (const auto ok = std::visit(editor, edit); !ok) return tl::unexpected(ok.error());
  }
  return editor.take();
}

}  // namespace sendworthy::desk
