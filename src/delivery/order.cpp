#include "delivery/order.h"

#include <fmt/format.h>
#include <sendworthy/catalog.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "base/bounds.h"
#include "base/document.h"
#include "base/files.h"
#include "base/table.h"
#include "base/text.h"
#include "judge/draft.h"
#include "judge/expect.h"
#include "measure/tag_checks.h"

namespace sendworthy::delivery {
namespace {

using base::from_folder_of;
using base::is_blank;
using base::Node;
using base::Table;
using base::wrong;

constexpr std::size_t kMostItems = 2000, kMostEdits = 1000;

constexpr std::array<std::pair<Version, std::string_view>, 11> kVersions{{{Version::main, "main"},
                                                                         {Version::instrumental, "instrumental"},
                                                                         {Version::a_cappella, "a cappella"},
                                                                         {Version::tv_mix, "tv mix"},
                                                                         {Version::performance_mix, "performance mix"},
                                                                         {Version::clean_edit, "clean edit"},
                                                                         {Version::radio_edit, "radio edit"},
                                                                         {Version::cut_down, "cut-down"},
                                                                         {Version::stem, "stem"},
                                                                         {Version::alternate, "alternate"},
                                                                         {Version::premaster, "premaster"}}};

constexpr std::array<std::string_view, 16> kTagNames{"title",    "artist",   "albumartist", "album",     "track",   "disc",    "isrc",   "barcode",
                                                     "date",     "genre",    "comment",     "composer",  "copyright", "label", "lyricist", "bpm"};

/// A rule set named by a path belongs to the order's folder, not to wherever the program runs.
void rule_names(Table& table, const std::string& order, std::vector<std::string>& target) {
  table.texts("rules", target);
  const auto node = table.find("rules");
  if (node && (target.empty() || std::ranges::any_of(target, [](const std::string& one) { return one.empty(); })))
    table.refuse(node->error("rules must name at least one rule set"));
  for (auto& one : target) {
    if (one.find('/') != std::string::npos || one.ends_with(".toml")) one = from_folder_of(order, one);
    if (one.find('/') == std::string::npos && one.ends_with(".toml")) one.insert(0, "./");
  }
}

Result<Order> read_head(const Node& node, const std::string& shown_path) {
  Order order;
  order.path = shown_path;
  Table table(node, "[order]", {"title", "artist", "album", "client", "rules", "expect", "folder", "name", "allow_extra", "previous"});
  table.one_line("title", order.title);
  table.one_line("artist", order.artist);
  table.one_line("album", order.album_title);
  table.one_line("client", order.client);
  rule_names(table, shown_path, order.rules);
  table.texts("expect", order.expect);
  if (const auto expect = table.find("expect")) order.expect_place = expect->place();
  std::string folder = ".";
  table.text("folder", folder);
  order.folder = from_folder_of(shown_path, folder);
  if (!order.folder.empty() && !order.folder.ends_with('/')) order.folder += '/';
  table.one_line("name", order.name);
  if (const auto named = table.find("name")) order.name_place = named->place();
  table.flag("allow_extra", order.allow_extra);
  table.text("previous", order.previous);
  if (!order.previous.empty()) order.previous = from_folder_of(shown_path, order.previous);
  if (const auto ok = table.done(); !ok) return tl::unexpected(ok.error());
  for (const auto& [key, value] : {std::pair{"title", &order.title}, {"artist", &order.artist}}) {
    if (is_blank(*value)) return wrong(value->empty() ? node : *node.find(key), fmt::format("[order] needs {}: it stands in names, tags and the hand-off", key));
  }
  return order;
}

Result<std::vector<Interval>> read_edits(const Node& node) {
  std::vector<Interval> edits;
  const auto bad = [](const Node& at) { return wrong(at, "edits are pairs of seconds of the main mix, such as [[12.0, 13.5], [80, 81]]"); };
  if (node.type() != Node::Type::array) return bad(node);
  for (const auto& one : node.members()) {
    if (one.type() != Node::Type::array || one.members().size() != 2) return bad(one);
    const auto from = one.members()[0].number(), to = one.members()[1].number();
    if (!from || !to || *from < 0 || *to < *from) return bad(one);
    if (edits.size() >= kMostEdits) return wrong(node, fmt::format("more than {} edits", kMostEdits));
    edits.push_back({*from, *to});
  }
  return edits;
}

Result<Item> read_item(const Node& node, const Order& order) {
  Item item;
  Table table(node, "[[item]]", {"version", "file", "required", "rules", "expect", "role", "title", "length", "against", "isrc", "edits"});
  if (const auto ok = table.done(); !ok) return tl::unexpected(ok.error());
  item.place = node.place();
  if (!node.find("version")) return wrong(node, "[[item]] needs a version, such as \"main\" or \"instrumental\"");
  table.take("version", item.version, [](const Node& version) { return judge::choice(version, "version", kVersions); });
  table.text("file", item.file);
  table.flag("required", item.required);
  rule_names(table, order.path, item.rules);
  table.texts("expect", item.expect);
  if (const auto expect = table.find("expect")) item.expect_place = expect->place();
  table.one_line("role", item.role);
  table.one_line("title", item.title);
  table.number("length", item.length_s, 0.001, 86400);
  table.text("against", item.against);
  table.one_line("isrc", item.isrc);
  table.take("edits", item.edits, read_edits);
  if (const auto ok = table.done(); !ok) return tl::unexpected(ok.error());
  if (item.file.empty()) return wrong(node, "[[item]] needs a file: a path or a pattern with * and ?, read from the order's folder");
  if (item.file.starts_with('/') || ("/" + item.file + "/").find("/../") != std::string::npos)
    return wrong(*node.find("file"), "file must lie below the order's folder: no leading slash, no \"..\"");
  while (item.file.starts_with("./")) item.file.erase(0, 2);
  if (!item.title.empty() && is_blank(item.title)) return wrong(*node.find("title"), "title is blank: write the song's, or leave it out where it is the order's");
  if (item.title.empty()) item.title = order.title;
  if (!item.edits.empty() && item.version != Version::clean_edit)
    return wrong(*node.find("edits"), "only a clean edit has edits");
  return item;
}

/// The item that a text means: by its file, or by its version where only one has it.
Result<std::size_t> meant(const std::string& text, const std::vector<Item>& items, const Node& at, std::string_view title = {}) {
  std::vector<std::size_t> found;
  for (std::size_t i = 0; i < items.size(); ++i) {
    if (items[i].file == text) return i;
    if (to_string(items[i].version) == text && (title.empty() || items[i].title == title)) found.push_back(i);
  }
  if (found.size() == 1) return found.front();
  if (found.empty()) return wrong(at, fmt::format("no item is {}; write an item's file or its version", judge::in_quotes(text)));
  return wrong(at, fmt::format("{} items are {}; write the file of the one that is meant", found.size(), judge::in_quotes(text)));
}

Result<void> resolve_against(Order& order, const std::vector<Node>& nodes) {
  for (std::size_t i = 0; i < order.items.size(); ++i) {
    auto& item = order.items[i];
    if (!item.against.empty()) {
      const auto node = *nodes[i].find("against");
      const auto other = meant(item.against, order.items, node, item.title);
      if (!other) return tl::unexpected(other.error());
      if (*other == i) return wrong(node, "an item cannot be held against itself");
      item.against_item = *other;
    } else if (item.version != Version::main) {
      // The main mix of the same song. Two of them leave it open which one is meant, and none is held against nothing.
      std::vector<std::size_t> mains;
      for (std::size_t k = 0; k < order.items.size(); ++k) {
        if (order.items[k].version == Version::main && order.items[k].title == item.title) mains.push_back(k);
      }
      if (mains.size() > 1)
        return wrong(nodes[i], fmt::format("there are {} main mixes of {}: say against = \"the file of one of them\"", mains.size(), judge::in_quotes(item.title)));
      if (!mains.empty()) item.against_item = mains.front();
    }
  }
  return {};
}

Result<Album> read_album(const Node& node, const Order& order) {
  Album album;
  album.place = node.place();
  Table table(node, "[album]", {"order", "gap_s", "gapless", "loudest", "spread", "upc"});
  std::vector<std::string> names;
  table.texts("order", names);
  table.number("gap_s", album.gap_s, 0, 60);
  table.flag("gapless", album.gapless);
  table.number("loudest", album.loudest, -70, 0);
  table.number("spread", album.spread, 0, 70);
  table.one_line("upc", album.upc);
  if (const auto ok = table.done(); !ok) return tl::unexpected(ok.error());
  const auto elements = table.find("order");
  for (std::size_t n = 0; n < names.size(); ++n) {
    const auto at = elements->type() == Node::Type::array ? elements->members()[n] : *elements;
    std::vector<std::size_t> found;
    for (std::size_t i = 0; i < order.items.size(); ++i) {
      if (order.items[i].file == names[n]) found = {i};
      if (order.items[i].file == names[n]) break;
      if (order.items[i].title == names[n] && order.items[i].version == Version::main) found.push_back(i);
    }
    if (found.size() != 1) {
      return wrong(at, found.empty() ? fmt::format("no item has the file or the title {}", judge::in_quotes(names[n]))
                                     : fmt::format("{} items have the title {}: write the file of one", found.size(), judge::in_quotes(names[n])));
    }
    if (std::ranges::find(album.order, found.front()) != album.order.end()) return wrong(at, fmt::format("{} stands in the running order twice", judge::in_quotes(names[n])));
    album.order.push_back(found.front());
  }
  if (names.empty()) {
    for (std::size_t i = 0; i < order.items.size(); ++i) {
      if (order.items[i].version == Version::main) album.order.push_back(i);
    }
  }
  if (album.gapless && album.gap_s) return wrong(*table.find("gap_s"), "gap_s and gapless exclude each other: a song that runs into the next has no gap");
  return album;
}

Result<TagRules> read_tags(const Node& node) {
  TagRules tags;
  Table table(node, "[tags]", {"require", "forbid", "match"});
  table.texts("require", tags.require);
  table.texts("forbid", tags.forbid);
  std::string match;
  table.text("match", match);
  if (const auto ok = table.done(); !ok) return tl::unexpected(ok.error());
  const std::vector<std::string_view> known(kTagNames.begin(), kTagNames.end());
  for (auto* list : {&tags.require, &tags.forbid}) {
    for (auto& name : *list) {
      if (name == "upc") name = "barcode";
      if (std::ranges::find(known, name) != known.end()) continue;
      return judge::no_such(*node.find(list == &tags.require ? "require" : "forbid"), "tag", name, known);
    }
  }
  for (const auto& name : tags.forbid) {
    if (std::ranges::find(tags.require, name) != tags.require.end()) return wrong(*node.find("forbid"), fmt::format("{} is both required and forbidden", judge::in_quotes(name)));
  }
  if (!match.empty() && match != "order") return wrong(*node.find("match"), "match can only be \"order\": what tags say must be what the order says");
  tags.match_order = match == "order";
  return tags;
}

}  // namespace

std::string_view to_string(Version version) {
  for (const auto& [one, word] : kVersions) {
    if (one == version) return word;
  }
  return "main";
}

std::span<const Version> versions() {
  static const auto kAll = [] {
    std::array<Version, kVersions.size()> all{};
    for (std::size_t i = 0; i < all.size(); ++i) all[i] = kVersions[i].first;
    return all;
  }();
  return kAll;
}

bool is_whole_song(Version version) {
  return version != Version::radio_edit && version != Version::cut_down && version != Version::alternate && version != Version::premaster;
}

std::span<const std::string_view> tag_names() { return kTagNames; }

std::string name_of(const Item& item, const Order& order) {
  auto text = std::string(to_string(item.version));
  if (!item.role.empty()) text += " " + item.role;
  if (item.title != order.title) text += " of " + item.title;
  return base::for_terminal(text);
}

std::vector<std::string> rules_of(const Order& order, const Item& item) {
  if (!item.rules.empty()) return item.rules;
  if (item.version == Version::stem) return {"stems"};
  if (item.version == Version::premaster) return {"premaster"};
  return order.rules.empty() ? std::vector<std::string>{"streaming-music"} : order.rules;
}

std::vector<std::string> expected_of(const Order& order, const Item& item) {
  const auto key_of = [](const std::string& one) { return one.substr(0, one.find('=')); };
  std::vector<std::string> all;
  for (const auto& one : order.expect) {
    if (std::ranges::none_of(item.expect, [&](const std::string& own) { return key_of(own) == key_of(one); })) all.push_back(one);
  }
  all.insert(all.end(), item.expect.begin(), item.expect.end());
  return all;
}

Result<RuleSet> expected_set(const Order& order, const Item& item) {
  const auto of = [](const std::vector<std::string>& expect) { return judge::expectations_of("the order", expect, catalog()); };
  // By itself first: what is wrong there is no fault of an item that expects something, too.
  if (const auto general = of(order.expect); !general) return fail(ErrorCode::rules, general.error().text, order.expect_place);
  auto set = of(expected_of(order, item));
  if (!set) return fail(ErrorCode::rules, set.error().text, item.expect_place);
  return set;
}

Result<Order> parse_order(std::string_view toml, const std::string& shown_path) {
  const auto document = base::Document::parse(toml, shown_path);
  if (!document) return tl::unexpected(document.error());
  const auto root = document->root();
  if (const auto ok = root.only({"order", "item", "album", "tags", "waiver"}, "an order"); !ok) return tl::unexpected(ok.error());
  const auto head = root.find("order");
  if (!head) return fail(ErrorCode::rules, "an order needs a table [order] with title and artist", {shown_path, 1, 1});
  auto order = read_head(*head, shown_path);
  if (!order) return order;
  const auto nodes = judge::tables_of(root, "item");
  if (!nodes) return tl::unexpected(nodes.error());
  if (nodes->empty()) return wrong(root, "an order needs at least one [[item]]: what was asked for");
  if (nodes->size() > kMostItems) return wrong(root, fmt::format("an order has at most {} items; this one has {}", kMostItems, nodes->size()));
  for (const auto& node : *nodes) {
    auto item = read_item(node, *order);
    if (!item) return tl::unexpected(item.error());
    order->items.push_back(std::move(*item));
  }
  if (const auto ok = resolve_against(*order, *nodes); !ok) return tl::unexpected(ok.error());
  if (const auto node = root.find("album")) {
    auto album = read_album(*node, *order);
    if (!album) return tl::unexpected(album.error());
    order->album = std::move(*album);
  }
  if (const auto node = root.find("tags")) {
    auto tags = read_tags(*node);
    if (!tags) return tl::unexpected(tags.error());
    order->tags = std::move(*tags);
  }
  auto waivers = judge::read_waivers(root);
  if (!waivers) return tl::unexpected(waivers.error());
  order->waivers = std::move(*waivers);
  return order;
}

Result<Order> read_order(const std::string& path) {
  const auto text = base::read_text_in_bounds(path, 1u << 20);
  // The call names it: that it cannot be read is a wrong call and no input without a sheet.
  if (!text) return fail(ErrorCode::rules, text.error().text, text.error().place);
  return parse_order(*text, path);
}

}  // namespace sendworthy::delivery
