// The whole flow of `deliver check`: order → files → sheets → findings about the set.
#include <sendworthy/catalog.h>
#include <sendworthy/deliver.h>

#include <algorithm>
#include <map>

#include "base/text.h"
#include "delivery/album.h"
#include "delivery/fact_findings.h"
#include "delivery/gather.h"
#include "delivery/hand_off.h"
#include "delivery/members.h"
#include "delivery/order.h"
#include "delivery/set_rules.h"
#include "delivery/version_findings.h"
#include "judge/digest.h"
#include "judge/sets.h"
#include "judge/waive.h"

namespace sendworthy {
namespace delivery {
namespace {

class Rules {
 public:
  explicit Rules(const RuleSetFolders& folders) : folders_(folders) {}
  /// The index of a rule set, loaded once. Errors: rules, at the place that names it.
  Result<std::size_t> index_of(const std::string& name, const Place& place) {
    if (const auto known = at_.find(name); known != at_.end()) return known->second;
    auto set = judge::load_named_by_another(name, folders_, catalog());
    if (!set) {
      auto error = set.error();
      if (error.place.file.empty()) error.place = place;
      error.code = ErrorCode::rules;
      return tl::unexpected(error);
    }
    at_[name] = sets_.size();
    sets_.push_back(std::move(*set));
    return sets_.size() - 1;
  }
  /// The same of what an order expects besides; several such sets are told apart by numbers.
  Result<std::size_t> index_of_expected(const Order& order, const Item& item) {
    auto expect = expected_of(order, item);
    const auto known = std::ranges::find(expected_, expect, &std::pair<std::vector<std::string>, std::size_t>::first);
    if (known != expected_.end()) return known->second;
    auto set = expected_set(order, item);
    if (!set) return tl::unexpected(set.error());
    if (!expected_.empty()) {
      set->name += "-" + std::to_string(expected_.size() + 1);
      set->digest = judge::digest_of(*set);  // the name is part of it
    }
    expected_.emplace_back(std::move(expect), sets_.size());
    sets_.push_back(std::move(*set));
    return sets_.size() - 1;
  }
  [[nodiscard]] const std::vector<RuleSet>& sets() const { return sets_; }

 private:
  const RuleSetFolders& folders_;
  std::map<std::string, std::size_t> at_;
  std::vector<std::pair<std::vector<std::string>, std::size_t>> expected_;
  std::vector<RuleSet> sets_;
};

OrderedSet described(const Order& order, const Gathered& gathered) {
  OrderedSet set;
  set.path = order.path;
  set.title = order.title, set.artist = order.artist, set.album = order.album_title, set.client = order.client;
  for (std::size_t i = 0; i < order.items.size(); ++i) {
    const auto& item = order.items[i];
    OrderedSet::Item one{name_of(item, order), std::string(to_string(item.version)), item.role, item.required, rules_of(order, item), shown(order, item.file), {}};
    for (const auto& file : gathered.files[i]) one.files.push_back(shown(order, file));
    set.items.push_back(std::move(one));
  }
  return set;
}

void add(Sheet& sheet, std::vector<Finding> findings) {
  std::move(findings.begin(), findings.end(), std::back_inserter(sheet.findings));
}

}  // namespace
}  // namespace delivery

Result<Sheet> check_order(const std::string& order_path, const OrderOptions& options, const CheckHooks& hooks) {
  using namespace delivery;
  const auto order = read_order(order_path);
  if (!order) return tl::unexpected(order.error());
  std::optional<NamePattern> pattern;
  if (!order->name.empty()) {
    auto parsed = NamePattern::parse(order->name);
    if (!parsed) return fail(ErrorCode::rules, "[order] name: " + parsed.error().text, order->name_place);
    pattern = std::move(*parsed);
  }
  const auto gathered = gather(*order, own_files(*order));

  Rules rules(options.folders);
  std::vector<CheckItem> items;
  std::map<std::string, std::size_t> item_of_path;
  for (std::size_t i = 0; i < order->items.size(); ++i) {
    std::vector<std::size_t> sets;
    for (const auto& name : rules_of(*order, order->items[i])) {
      const auto index = rules.index_of(name, order->items[i].place);
      if (!index) return tl::unexpected(index.error());
      sets.push_back(*index);
    }
    if (!expected_of(*order, order->items[i]).empty()) {
      const auto index = rules.index_of_expected(*order, order->items[i]);
      if (!index) return tl::unexpected(index.error());
      sets.push_back(*index);
    }
    for (const auto& file : gathered.files[i]) {
      const auto path = shown(*order, file);
      const auto [known, is_new] = item_of_path.try_emplace(path, items.size());
      const auto& item = order->items[i];
      if (is_new) {
        items.push_back({path, item.role.empty() ? std::string(to_string(item.version)) : item.role, sets, {}});
      } else {
        for (const auto set : sets) {
          auto& of_file = items[known->second].rule_sets;
          if (std::ranges::find(of_file, set) == of_file.end()) of_file.push_back(set);
        }
      }
    }
  }
  auto reading = options.check;
  reading.timelines = reading.timelines || order->album.has_value();  // all songs together are loud by their blocks
  auto sheet = check_items(items, rules.sets(), reading, hooks);
  sheet.order = described(*order, gathered);
  add(sheet, presence_findings(*order, gathered));
  if (hooks.stop != nullptr && hooks.stop->load()) return sheet;

  Members members{*order, {}};
  for (std::size_t i = 0; i < order->items.size(); ++i) {
    for (const auto& relative : gathered.files[i]) {
      const auto path = shown(*order, relative);
      const auto file = std::ranges::find(sheet.files, path, &FileSheet::path);
      if (file != sheet.files.end()) members.all.push_back({i, relative, path, &*file});
    }
  }
  add(sheet, name_findings(members, pattern, gathered.all));
  add(sheet, format_findings(members));
  add(sheet, tag_findings(members));
  add(sheet, album_findings(members));
  if (!options.check.timelines && !options.check.pictures) {
    for (auto& file : sheet.files) file.timelines.clear();
  }
  auto versions = version_findings(members, options.check, hooks);
  add(sheet, std::move(versions.findings));
  sheet.pairs = std::move(versions.pairs);
  for (auto& [name, number] : versions.libraries) sheet.libraries[name] = number;
  judge::apply_waivers(order->waivers, kOrderRules, order->path, options.check.today, sheet);
  sheet.verdict = verdict_of(sheet.findings);
  if (sheet.files.empty()) sheet.verdict = Verdict::fail;
  for (const auto& file : sheet.files) sheet.verdict = std::max(sheet.verdict, file.verdict);
  return sheet;
}

}  // namespace sendworthy
