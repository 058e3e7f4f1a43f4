#include "desk/order_api.h"

#include <sendworthy/catalog.h>

#include <algorithm>
#include <array>
#include <mutex>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/bounds.h"
#include "base/text.h"
#include "delivery/name_pattern.h"
#include "delivery/order.h"
#include "desk/api.h"
#include "desk/json.h"
#include "desk/kept_lines.h"
#include "desk/order_edit.h"
#include "desk/saving.h"
#include "desk/text_digest.h"
#include "desk/within.h"

namespace sendworthy::desk {
namespace {

using delivery::Order;

constexpr std::size_t kLargest = 1u << 20, kMostEdits = 200;
// What people mean by the format of a file.
constexpr std::array<std::string_view, 4> kFormat{"container", "sample_rate", "bit_depth", "channels"};

std::string words_of(const Value& value) {
  if (const auto* number = std::get_if<double>(&value)) return base::shortest(*number);
  if (const auto* text = std::get_if<std::string>(&value)) return *text;
  return {};
}

/// "Sample rate: 44100 or 48000 Hz"; empty for a limit that says nothing of the format.
std::string asked_by(const Rule& rule) {
  if (!rule.enabled || rule.compare_to || std::ranges::find(kFormat, rule.measure.id) == kFormat.end()) return {};
  const auto* entry = catalog().find(rule.measure.id);
  if (entry == nullptr) return {};
  std::string asks;
  for (const auto& one : rule.comparisons) {
    std::string words;
    for (std::size_t i = 0; i < one.accepted.size(); ++i) words += (i == 0 ? "" : i + 1 == one.accepted.size() ? " or " : ", ") + words_of(one.accepted[i]);
    if (one.kind == LimitKind::above) words = "at most " + base::shortest(one.number);
    if (one.kind == LimitKind::below) words = "at least " + base::shortest(one.number);
    if (words.empty()) continue;
    const auto unit = to_string(entry->unit);
    asks += (asks.empty() ? "" : "; ") + words + (unit.empty() || unit == "count" ? "" : " " + std::string(unit)) + (one.status == Status::fail ? "" : one.status == Status::warn ? " (else a warning)" : " (else a note)");
  }
  return asks.empty() ? asks : std::string(entry->title) + ": " + asks;
}

struct Fault {
  std::string text;
  Place place;
};

/// What is expected of the items, in words, beside them.
std::optional<Fault> put_expected(Json& json, const Order& order) {
  for (std::size_t i = 0; i < order.items.size(); ++i) {
    const auto& item = order.items[i];
    auto& told = json["items"][i]["expected"] = Json::array();
    const auto expect = delivery::expected_of(order, item);
    if (expect.empty()) continue;
    const auto set = delivery::expected_set(order, item);
    if (!set) return Fault{set.error().text, set.error().place};
    for (std::size_t k = 0; k < set->rules.size(); ++k) {
      auto words = asked_by(set->rules[k]);
      told.push_back(words.empty() ? base::clean_utf8(expect[k]) : std::move(words));
    }
  }
  return std::nullopt;
}

/// The sets that its items are judged by. What is wrong with one that is called by its name is a fault of the order; one that lies
/// in a file is looked at when the delivery is checked.
std::optional<Fault> put_sets(Json& json, const Order& order, const RuleSetFolders& rules) {
  auto& sets = json["sets"] = Json::object();
  for (const auto& item : order.items) {
    for (const auto& name : delivery::rules_of(order, item)) {
      if (is_rule_path(name) || sets.contains(name)) continue;
      const auto set = load_rule_set(name, rules, catalog());
      if (!set) return Fault{set.error().text, set.error().place.file.empty() ? item.place : Place()};
      auto& told = sets[name] = {{"title", base::clean_utf8(set->title)}, {"asks", Json::array()}};
      for (const auto& rule : set->rules) {
        if (auto asked = asked_by(rule); !asked.empty()) told["asks"].push_back(std::move(asked));
      }
    }
  }
  return std::nullopt;
}

Json item_of(const Order& order, const delivery::Item& item) {
  Json json{{"name", name_of(item, order)}, {"version", to_string(item.version)}, {"file", item.file}, {"required", item.required}, {"rules", item.rules}, {"expect", item.expect},
            {"judged_as", rules_of(order, item)}, {"role", item.role}, {"title", item.title == order.title ? std::string() : item.title}};
  if (item.length_s) json["length_s"] = *item.length_s;
  json["against"] = item.against;
  json["isrc"] = item.isrc;
  json["edits"] = item.edits.size();
  json["line"] = item.place.line;
  return json;
}

Json json_of(const Order& order) {
  Json json{{"title", order.title}, {"artist", order.artist}, {"album", order.album_title}, {"client", order.client}, {"rules", order.rules}, {"expect", order.expect}};
  auto folder = order.folder;
  while (folder.ends_with('/')) folder.pop_back();
  json["folder"] = folder.empty() ? "." : folder;
  json["name"] = order.name;
  json["allow_extra"] = order.allow_extra;
  json["previous"] = order.previous;
  json["items"] = Json::array();
  for (const auto& item : order.items) json["items"].push_back(item_of(order, item));
  json["album_order"] = Json::array();
  if (order.album) {
    for (const auto i : order.album->order) json["album_order"].push_back(order.items[i].title);
  }
  if (order.tags) json["tags"] = {{"require", order.tags->require}, {"forbid", order.tags->forbid}, {"match", order.tags->match_order}};
  json["waivers"] = order.waivers.size();
  return json;
}

/// What is told of a text, and whether it is an order.
std::pair<Json, bool> read(const std::string& relative, const std::string& digest, const std::string& text, const RuleSetFolders& rules) {
  Json json;
  put_path(json, relative);
  json["digest"] = digest;
  json["text"] = base::clean_utf8(text);
  json["versions"] = Json::array();
  for (const auto version : delivery::versions()) json["versions"].push_back(to_string(version));
  std::optional<Fault> fault;
  const auto order = delivery::parse_order(text, {});
  if (order) {
    auto told = json_of(*order);
    if (const auto pattern = delivery::NamePattern::parse(order->name); !order->name.empty() && !pattern) fault = Fault{"[order] name: " + pattern.error().text, order->name_place};
    if (!fault) fault = put_expected(told, *order);
    if (!fault) fault = put_sets(told, *order, rules);
    if (!fault) json["order"] = std::move(told);
  } else {
    fault = Fault{order.error().text, order.error().place};
  }
  if (fault) {
    const auto& [words, place] = *fault;
    json["fault"] = base::clean_utf8((place.line > 0 ? "line " + std::to_string(place.line) + ", column " + std::to_string(place.column) + ": " : std::string()) + words);
    json["fault_line"] = place.line;
    json["fault_column"] = place.column;
  }
  return {std::move(json), !fault};
}

Answer told(const std::string& relative, const std::string& digest, const std::string& text, const RuleSetFolders& rules) {
  return json_answer(read(relative, digest, text, rules).first);
}

Result<std::string> path_of(const Folder& folder, const std::string& relative) {
  if (!relative.ends_with(".toml")) return fail(ErrorCode::usage, "\"" + relative + "\": the name of an order ends in .toml; choose one that does");
  return folder.real_path_of(relative);
}

tl::unexpected<Error> wrong(std::string text) { return fail(ErrorCode::usage, std::move(text)); }

Result<OrderValue> value_of(const Json& json) {
  if (json.is_null()) return OrderValue();
  if (json.is_string()) return OrderValue(json.get<std::string>());
  if (json.is_boolean()) return OrderValue(json.get<bool>());
  if (json.is_number()) return OrderValue(json.get<double>());
  std::vector<std::string> texts;
  for (const auto& one : json) {
    if (!json.is_array() || !one.is_string()) return wrong("\"to\" wants to be a text, a number, true or false, a list of texts, or null");
    texts.push_back(one.get<std::string>());
  }
  if (texts.empty()) return wrong("\"to\" wants one text at least; null takes the key away");
  return OrderValue(std::move(texts));
}

Result<std::size_t> number_of(const Json& json) {
  if (!json.is_number_unsigned() || json.get<std::uint64_t>() > 1'000'000) return wrong("an item is meant by its number, from 0");
  return json.get<std::size_t>();
}

Result<OrderEdit> edit_of(const Json& json) {
  const auto bad = [] { return wrong("each of \"edits\" wants \"set\" and \"to\", \"item\" with both, \"add_item\" or \"remove_item\""); };
  if (!json.is_object()) return bad();
  if (json.contains("add_item")) {
    const auto& item = json["add_item"];
    const auto text = [&](const char* key) { return item.is_object() && item.contains(key) && item[key].is_string(); };
    if (json.size() != 1 || !text("version") || !text("file")) return wrong("\"add_item\" wants a \"version\" and a \"file\"");
    return OrderEdit(AddItem{item["version"].get<std::string>(), item["file"].get<std::string>()});
  }
  if (json.contains("remove_item")) {
    const auto item = number_of(json["remove_item"]);
    if (!item || json.size() != 1) return bad();
    return OrderEdit(RemoveItem{*item});
  }
  if (!json.contains("set") || !json["set"].is_string() || !json.contains("to")) return bad();
  auto value = value_of(json["to"]);
  if (!value) return tl::unexpected(value.error());
  auto key = json["set"].get<std::string>();
  if (!json.contains("item")) return json.size() == 2 ? Result<OrderEdit>(SetOrderKey{std::move(key), std::move(*value)}) : bad();
  const auto item = number_of(json["item"]);
  if (!item || json.size() != 3) return bad();
  return OrderEdit(SetItemKey{*item, std::move(key), std::move(*value)});
}

struct Wish {
  std::string text;
  std::optional<std::string> digest;
  std::vector<OrderEdit> edits;
};

Result<Wish> read_wish(std::string_view body) {
  const auto json = parsed_body(body);
  if (json.is_discarded() || !json.is_object()) return wrong("what the page sent is no JSON object");
  Wish wish;
  if (!json.contains("text") || !json["text"].is_string()) return wrong("the request wants a \"text\"");
  wish.text = json["text"].get<std::string>();
  if (json.contains("digest")) {
    if (!json["digest"].is_string()) return wrong("\"digest\" wants to be a text");
    wish.digest = json["digest"].get<std::string>();
  }
  if (!json.contains("edits")) return wish;
  const auto& edits = json["edits"];
  if (!edits.is_array() || edits.size() > kMostEdits) return wrong("\"edits\" wants to be a list of at most " + std::to_string(kMostEdits));
  for (const auto& one : edits) {
    auto edit = edit_of(one);
    if (!edit) return tl::unexpected(edit.error());
    wish.edits.push_back(std::move(*edit));
  }
  return wish;
}

}  // namespace

Answer show_order(const Folder& folder, const RuleSetFolders& rules, const Target& target) {
  const auto relative = path_in(target);
  const auto path = path_of(folder, relative);
  if (!path) return refusal_of(path.error());
  const auto text = base::read_text_in_bounds(*path, kLargest);
  return text ? told(relative, digest_of(*text), *text, rules) : refusal_of(text.error());
}

Answer edit_order(const Folder& folder, const RuleSetFolders& rules, const Target& target, std::string_view body) {
  static std::mutex one_at_a_time;
  auto wish = read_wish(body);
  if (!wish) return refusal(400, "request", wish.error().text);
  const auto too_large = [] { return refusal(413, "too_large", "an order has at most 1 MiB of text"); };
  if (wish->text.size() > kLargest) return too_large();
  const auto relative = path_in(target);
  // What is only tried out writes nothing, and waits for nobody.
  std::unique_lock lock(one_at_a_time, std::defer_lock);
  if (wish->digest) lock.lock();
  const auto path = path_of(folder, relative);
  if (!path) return refusal_of(path.error());
  const auto before = base::read_text_in_bounds(*path, kLargest);
  if (!before) return refusal_of(before.error());
  if (!wish->edits.empty()) {
    auto edited = edit_order(wish->text, wish->edits);
    if (!edited) return refusal(400, edited.error().code == ErrorCode::rules ? "order" : "request", edited.error().text);
    wish->text = std::move(*edited);
  }
  if (!wish->digest) return told(relative, digest_of(*before), wish->text, rules);
  if (*wish->digest != digest_of(*before)) return changed_elsewhere("order");
  const auto text = with_lines_of(*before, wish->text);
  if (text.size() > kLargest) return too_large();
  auto [json, is_order] = read(relative, digest_of(text), text, rules);
  if (!is_order) return refusal(400, "order", json["fault"].get<std::string>());
  if (text == *before) return json_answer(json);
  // Another program may have written meanwhile.
  const auto refused = save_edited("order", relative, *path, *before, text);
  return refused ? *refused : json_answer(json);
}

}  // namespace sendworthy::desk
