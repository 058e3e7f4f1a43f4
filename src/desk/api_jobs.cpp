// What the page asks to be done: checks of every kind, answers, new plans and orders.
#include <sendworthy/check.h>
#include <sendworthy/deliver.h>

#include <set>
#include <utility>

#include "base/bounds.h"
#include "base/files.h"
#include "base/os.h"
#include "base/replace.h"
#include "base/text.h"
#include "delivery/new_order.h"
#include "desk/api.h"
#include "desk/order_api.h"
#include "desk/plan_api.h"
#include "desk/within.h"

namespace sendworthy::desk {
namespace {

bool is_answer(const Target& target) {
  const auto& parts = target.segments;
  return parts.size() == 4 && parts[0] == "api" && parts[1] == "checks" && parts[3] == "answers";
}

Answer taken(const std::string& relative) {
  return refusal(409, "taken", "\"" + base::for_terminal(relative) + "\" is there already, and may hold what somebody wrote into it, so it is not replaced; name another file");
}

std::string last_of(const std::string& path) { return path.substr(path.rfind('/') + 1); }

}  // namespace

bool Api::takes_body(const Target& target) {
  const auto& parts = target.segments;
  if (parts.size() == 2 && parts[0] == "api") return parts[1] == "checks" || parts[1] == "plan" || parts[1] == "order" || parts[1] == "plans" || parts[1] == "orders" || parts[1] == "played";
  return is_answer(target);
}

std::size_t Api::most_bytes_of_body(const Target& target) {
  return target.segments == std::vector<std::string>{"api", "order"} ? kMostOrderBodyBytes : kMostBodyBytes;
}

Answer Api::post(const Target& target, std::string_view body) {
  if (is_answer(target)) {
    const auto wish = read_answer_wish(body);
    if (!wish) return refusal(400, "request", wish.error().text);
    const auto kept = checks_.answer(target.segments[2], *wish);
    return kept ? json_answer(*kept) : refusal(kept.error());
  }
  if (target.segments[1] == "plan") return edit_plan(folder_, target, body);
  if (target.segments[1] == "order") return edit_order(folder_, rules_.folders, target, body);
  if (target.segments[1] == "plans") return add_plan(body);
  if (target.segments[1] == "played") return sound_.add_played(body);
  return target.segments[1] == "orders" ? add_order(body) : add_check(body);
}

Answer Api::add(std::unique_ptr<Task> task) {
  const auto added = checks_.add(std::move(task));
  return added ? json_answer({{"check", *added}}) : refusal(added.error());
}

Answer Api::add_check(std::string_view body) {
  auto wish = read_check_wish(body);
  if (!wish) return refusal(400, "request", wish.error().text);
  // A plan is held against what it says itself, unless rules are wished for besides; an order names its own.
  const bool by_rules = wish->kind == CheckWish::Kind::files || wish->kind == CheckWish::Kind::compare || !wish->rules.empty();
  auto sets = by_rules ? rule_sets(std::move(wish->rules)) : Result<std::vector<RuleSet>>();
  if (!sets) return refusal(400, "rules", sets.error().text);
  if (wish->kind == CheckWish::Kind::compare) return add_comparison(std::move(*wish), std::move(*sets));
  if (wish->kind != CheckWish::Kind::files) return add_song(*wish, std::move(*sets));
  std::vector<FileToCheck> files;
  std::set<std::string> seen;
  for (auto& file : wish->files) {
    if (!file.upload.empty()) {
      if (seen.insert("upload " + file.upload).second) files.push_back({{}, {}, std::move(file.upload)});
      continue;
    }
    const auto path = folder_.path_of(file.path);
    if (!path) return refusal_of(path.error());
    auto inputs = expand_inputs({*path}, Folders::flat);
    if (!inputs.without_sheet.empty()) return refusal(404, "no_audio", inputs.without_sheet.front().error->text);
    for (auto& input : inputs.files) {
      // A folder may hold links that lead elsewhere.
      if (input != *path && !folder_.may_read(input)) continue;
      if (!seen.insert("path " + input).second) continue;
      auto name = last_of(input);
      auto relative = input == *path ? file.path : file.path.empty() ? name : file.path + "/" + name;
      files.push_back({std::move(input), std::move(name), {}, std::move(relative)});
    }
  }
  if (files.empty()) return refusal(404, "no_audio", "there is no audio file in the folder");
  if (files.size() > kMostFilesOfACheck)
    return refusal(413, "too_many", "one check takes at most " + std::to_string(kMostFilesOfACheck) + " files; check them in parts");
  return add(check_of_files(std::move(files), std::move(*sets)));
}

tl::expected<FileToCheck, Answer> Api::file_of(const NamedFile& file) const {
  if (!file.upload.empty()) return FileToCheck{{}, {}, file.upload};
  auto path = folder_.path_of(file.path);
  if (!path) return tl::unexpected(refusal_of(path.error()));
  const auto inputs = expand_inputs({*path}, Folders::flat);
  if (inputs.files != std::vector{*path})
    return tl::unexpected(refusal(404, "no_audio", "\"" + base::for_terminal(file.path) + "\" is no single file; two bounces are wanted, a file each"));
  auto name = last_of(*path);
  return FileToCheck{std::move(*path), std::move(name), {}, file.path};
}

Answer Api::add_comparison(CheckWish wish, std::vector<RuleSet> rule_sets) {
  auto old_file = file_of(wish.files[0]), new_file = file_of(wish.files[1]);
  if (!old_file) return old_file.error();
  if (!new_file) return new_file.error();
  return add(comparison(std::move(*old_file), std::move(*new_file), std::move(rule_sets)));
}

Answer Api::add_song(const CheckWish& wish, std::vector<RuleSet> rule_sets) {
  const auto path = folder_.path_of(wish.files.front().path);
  if (!path) return refusal_of(path.error());
  if (!base::state_of(*path)) return refusal(404, "missing", "there is no file \"" + base::for_terminal(wish.files.front().path) + "\" any more; choose another one");
  auto task = wish.kind == CheckWish::Kind::plan ? check_of_plan(folder_, *path, std::move(rule_sets)) : check_of_order(folder_, *path, rules_.folders);
  if (!task) return refusal_of(task.error());
  (*task)->hold_against(wish.files.front().path);
  return add(std::move(*task));
}

tl::expected<std::string, Answer> Api::new_path(const std::string& relative) const {
  auto path = folder_.path_of(relative);
  if (!path) return tl::unexpected(refusal_of(path.error()));
  if (base::is_taken(*path)) return tl::unexpected(taken(relative));
  if (const auto ok = base::may_be_made(*path); !ok) return tl::unexpected(refusal_of(ok.error()));
  return std::move(*path);
}

Answer Api::add_plan(std::string_view body) {
  const auto wish = read_plan_wish(body);
  if (!wish) return refusal(400, "request", wish.error().text);
  const auto mix = file_of({wish->mix, {}});
  if (!mix) return mix.error();
  const auto plan = new_path(wish->plan);
  if (!plan) return plan.error();
  NewPlanWish making{mix->path, {}, *plan, wish->plan};
  if (!wish->stems.empty()) {
    const auto stems = folder_.path_of(wish->stems);
    if (!stems) return refusal_of(stems.error());
    making.stems = *stems;
  }
  auto task = making_of_plan(folder_, std::move(making));
  return task ? add(std::move(*task)) : refusal_of(task.error());
}

Answer Api::add_order(std::string_view body) const {
  const auto wish = read_order_wish(body);
  if (!wish) return refusal(400, "request", wish.error().text);
  const auto path = new_path(wish->order);
  if (!path) return path.error();
  const auto folder = folder_.path_of(wish->folder);
  if (!folder) return refusal_of(folder.error());
  const auto sounds = sounds_here(folder_, *folder);
  if (!sounds) return refusal_of(sounds.error());
  const auto text = delivery::new_order_without(sounds->outside, *folder, *path);
  if (!text) return refusal_of(text.error());
  const auto written = base::write_new(*path, *text);
  if (!written) return refusal_of(written.error());
  if (!*written) return taken(wish->order);
  Json json;
  put_path(json, wish->order, "order", "order_id");
  if (!sounds->outside.empty()) json["left_out"] = Json::array();
  for (const auto& one : sounds->outside) json["left_out"].push_back(base::clean_utf8(one.substr(folder->size() + (folder->ends_with('/') ? 0 : 1))));
  return json_answer(json);
}

}  // namespace sendworthy::desk
