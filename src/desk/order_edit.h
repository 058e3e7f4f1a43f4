// An order edited as a person would edit it: what is asked for changes, and every other byte stays as it was, comments too.
#pragma once

#include <sendworthy/result.h>

#include <cstddef>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace sendworthy::desk {

/// As TOML has it. Nothing: the key is taken away.
using OrderValue = std::variant<std::monostate, std::string, bool, double, std::vector<std::string>>;

/// A key of [order]: title, artist, album, client, rules, expect, folder, name, allow_extra or previous.
struct SetOrderKey {
  std::string key;
  OrderValue to;
};

/// A key of an item: version, file, required, rules, expect, role, title, length, against or isrc.
struct SetItemKey {
  std::size_t item = 0;  ///< which of Order::items
  std::string key;
  OrderValue to;
};

/// Behind the last item.
struct AddItem {
  std::string version, file;
};

/// With the comments directly above it.
struct RemoveItem {
  std::size_t item = 0;
};

using OrderEdit = std::variant<SetOrderKey, SetItemKey, AddItem, RemoveItem>;

/// The order's text with these edits, one after the other; what an edit does not change is the same to the byte. The result is read
/// again and held against what was wanted. Errors: usage, for an edit of what is not there; rules, where the order cannot be read,
/// could not be read afterwards, or is written in a way that this cannot change.
[[nodiscard]] Result<std::string> edit_order(std::string_view toml, std::span<const OrderEdit> edits);

}  // namespace sendworthy::desk
