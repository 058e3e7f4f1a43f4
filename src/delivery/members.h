// The files of a set with what was read of them, by item: what every finding about the set starts from.
#pragma once

#include <sendworthy/sheet.h>

#include <optional>
#include <string>
#include <vector>

#include "delivery/order.h"

namespace sendworthy::delivery {

struct Member {
  std::size_t item = 0;
  std::string relative;            ///< below the order's folder
  std::string path;                ///< as shown and opened
  const FileSheet* file = nullptr;
  [[nodiscard]] bool readable() const { return !file->error; }
};

struct Members {
  const Order& order;
  std::vector<Member> all;  ///< by item, then by name

  [[nodiscard]] const Item& item_of(const Member& member) const { return order.items[member.item]; }
  [[nodiscard]] std::vector<const Member*> of_item(std::size_t item) const;
  /// The one file of an item; nothing where there is none or more than one.
  [[nodiscard]] const Member* only(std::size_t item) const;
  /// What a member is held against: the file of the item it names, else of its song's main mix.
  [[nodiscard]] const Member* reference(const Member& member) const;
  /// Why there is no `reference`, where there is none.
  [[nodiscard]] std::string without_reference(const Member& member) const;
  /// The one readable member of this version and song, with this role where one is given.
  [[nodiscard]] const Member* version(Version version, const std::string& title) const;
};

/// A measurement's number, or nothing.
[[nodiscard]] std::optional<double> number_of(const FileSheet& file, std::string_view id);

/// "0.021 ms", "1.500 s": what would be no seconds at all is told in milliseconds.
[[nodiscard]] std::string time_in_words(double seconds, int decimals);

}  // namespace sendworthy::delivery
