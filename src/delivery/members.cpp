#include "delivery/members.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"

namespace sendworthy::delivery {

std::vector<const Member*> Members::of_item(std::size_t item) const {
  std::vector<const Member*> found;
  for (const auto& one : all) {
    if (one.item == item) found.push_back(&one);
  }
  return found;
}

const Member* Members::only(std::size_t item) const {
  const auto found = of_item(item);
  return found.size() == 1 ? found.front() : nullptr;
}

const Member* Members::reference(const Member& member) const {
  const auto against = item_of(member).against_item;
  return against ? only(*against) : nullptr;
}

std::string Members::without_reference(const Member& member) const {
  const auto& item = item_of(member);
  if (item.against_item && of_item(*item.against_item).size() > 1) return fmt::format("there is more than one file of the {} to hold it against", name_of(order.items[*item.against_item], order));
  if (item.against_item && !item.against.empty()) return fmt::format("there is no file of the {} to hold it against", name_of(order.items[*item.against_item], order));
  return fmt::format("there is no main mix{} to hold it against", item.title == order.title ? "" : fmt::format(" of \"{}\"", base::for_terminal(item.title)));
}

const Member* Members::version(Version version, const std::string& title) const {
  const Member* found = nullptr;
  for (const auto& one : all) {
    if (item_of(one).version != version || item_of(one).title != title || !one.readable()) continue;
    if (found != nullptr) return nullptr;
    found = &one;
  }
  return found;
}

std::optional<double> number_of(const FileSheet& file, std::string_view id) {
  const auto found = std::ranges::find(file.measurements, id, &Measurement::key);
  return found == file.measurements.end() ? std::nullopt : number(found->outcome);
}

std::string time_in_words(double seconds, int decimals) {
  return seconds < 0.001 ? base::fixed(1000 * seconds, 3) + " ms" : base::fixed(seconds, decimals) + " s";
}

}  // namespace sendworthy::delivery
