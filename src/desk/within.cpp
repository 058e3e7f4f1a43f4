#include "desk/within.h"

#include <sendworthy/check.h>
#include <sendworthy/listening.h>

#include <set>
#include <string_view>
#include <utility>

#include "base/bounds.h"
#include "base/document.h"
#include "base/files.h"
#include "base/os.h"
#include "base/table.h"
#include "base/text.h"
#include "delivery/gather.h"
#include "delivery/hand_off.h"

namespace sendworthy::desk {
namespace {

constexpr int kDeepest = 16;  // as rule sets may extend each other
constexpr std::size_t kMostRuleSetBytes = 1u << 20;

Result<void> lies_within(const Folder& folder, const std::string& path, std::string_view who) {
  if (path.empty() || folder.may_read(path)) return {};
  return fail(ErrorCode::unreadable, std::string(who) + " names \"" + base::for_terminal(path) +
                                         "\", which lies outside of the opened folder, perhaps by a link; open the folder above both");
}

/// A rule set named by its path, and those that it extends by theirs. What is wrong in them is said by whoever loads them.
Result<void> rule_set_within(const Folder& folder, const std::string& path, std::set<std::string>& seen, int depth) {
  if (!is_rule_path(path) || depth > kDeepest || !seen.insert(path).second) return {};
  if (auto ok = lies_within(folder, path, "the order, or a rule set that it names,"); !ok) return ok;
  const auto text = base::read_text_in_bounds(path, kMostRuleSetBytes);
  if (!text) return {};
  const auto document = base::Document::parse(*text, path);
  if (!document) return {};
  const auto head = document->root().find("ruleset");
  const auto extends = head ? head->find("extends") : std::nullopt;
  const auto names = extends ? extends->texts() : Result<std::vector<std::string>>();
  if (!names) return {};
  for (const auto& name : *names) {
    if (!is_rule_path(name)) continue;
    if (auto ok = rule_set_within(folder, base::from_folder_of(path, name), seen, depth + 1); !ok) return ok;
  }
  return {};
}

}  // namespace

bool is_rule_path(std::string_view rule_set) { return rule_set.find('/') != rule_set.npos || rule_set.ends_with(".toml"); }

Result<song::Plan> plan_within(const Folder& folder, const std::string& path) {
  if (!folder.may_read(path))
    return fail(ErrorCode::unreadable, "the plan \"" + base::for_terminal(path) + "\" lies outside of the opened folder by now; open the folder it lies in");
  auto plan = song::read_plan(path);
  if (!plan) return plan;
  std::vector<std::string> named{plan->mix, plan->previous, passes_path(path)};
  for (const auto& stem : plan->stems) named.push_back(stem.file);
  for (const auto& reference : plan->references) named.push_back(reference.file);
  for (const auto& one : named) {
    if (auto ok = lies_within(folder, one, "the plan"); !ok) return tl::unexpected(ok.error());
  }
  return plan;
}

Result<OrderWithin> order_within(const Folder& folder, const std::string& path) {
  auto order = delivery::read_order(path);
  if (!order) return tl::unexpected(order.error());
  const auto within = [&](const std::string& one) { return lies_within(folder, one, "the order"); };
  // An empty name is the folder from which the program runs.
  if (auto ok = within(order->folder.empty() ? "." : order->folder); !ok) return tl::unexpected(ok.error());
  if (auto ok = within(order->previous); !ok) return tl::unexpected(ok.error());
  if (!order->previous.empty()) {
    for (const auto& one : expand_inputs({order->previous}, Folders::with_subfolders).files) {
      if (auto ok = within(one); !ok) return tl::unexpected(ok.error());
    }
  }
  std::set<std::string> seen;
  const auto rule_sets = [&](const std::vector<std::string>& names) -> Result<void> {
    for (const auto& name : names) {
      if (auto ok = rule_set_within(folder, name, seen, 0); !ok) return ok;
    }
    return {};
  };
  if (auto ok = rule_sets(order->rules); !ok) return tl::unexpected(ok.error());
  for (const auto& item : order->items) {
    if (auto ok = rule_sets(item.rules); !ok) return tl::unexpected(ok.error());
  }
  OrderWithin within_it{std::move(*order), {}};
  std::set<std::string> files;
  for (const auto& of_item : delivery::gather(within_it.order, delivery::own_files(within_it.order)).files) {
    for (const auto& relative : of_item) files.insert(delivery::shown(within_it.order, relative));
  }
  for (const auto& one : files) {
    if (auto ok = within(one); !ok) return tl::unexpected(ok.error());
  }
  within_it.files.assign(files.begin(), files.end());
  return within_it;
}

Result<SoundsHere> sounds_here(const Folder& folder, const std::string& path) {
  if (const auto listed = base::list_folder(path); !listed) return tl::unexpected(listed.error());
  auto inputs = expand_inputs({path}, Folders::with_subfolders);
  if (!inputs.without_sheet.empty()) return tl::unexpected(*inputs.without_sheet.front().error);
  SoundsHere here;
  for (auto& one : inputs.files) (folder.may_read(one) ? here.files : here.outside).push_back(std::move(one));
  return here;
}

Result<std::vector<std::string>> sounds_within(const Folder& folder, const std::string& path) {
  auto here = sounds_here(folder, path);
  if (!here) return tl::unexpected(here.error());
  if (!here->outside.empty()) return tl::unexpected(lies_within(folder, here->outside.front(), "the folder").error());
  return std::move(here->files);
}

}  // namespace sendworthy::desk
