// Finding rule sets by name or path, following `extends`, and joining everything into one effective set.
#include "judge/sets.h"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <memory>
#include <set>

#include "base/bounds.h"
#include "base/files.h"
#include "base/table.h"
#include "base/text.h"
#include "judge/digest.h"
#include "judge/draft.h"
#include "judge/shipped.h"

namespace sendworthy {
namespace {

namespace fs = std::filesystem;
using judge::in_quotes;

constexpr std::size_t kLargestFile = std::size_t{1} << 20;
constexpr std::size_t kMostSets = 64;
constexpr std::size_t kDeepest = 16;
constexpr std::size_t kMostRules = 2000;
constexpr std::size_t kMostWaivers = 2000;
constexpr std::string_view kEnding = ".toml";

bool is_path(std::string_view text) {
  return text.find('/') != std::string_view::npos ||
         (text.size() >= kEnding.size() && text.substr(text.size() - kEnding.size()) == kEnding);
}

bool ends_in_toml(std::string_view text) {
  return text.size() > kEnding.size() && text.substr(text.size() - kEnding.size()) == kEnding;
}

std::string stem_of(std::string_view path) {
  const auto slash = path.rfind('/');
  if (slash != std::string_view::npos) path.remove_prefix(slash + 1);
  if (ends_in_toml(path)) path.remove_suffix(kEnding.size());
  return std::string(path);
}

std::string joined(const std::string& folder, std::string_view file) {
  if (folder.empty() || (!file.empty() && file.front() == '/')) return std::string(file);
  return folder + (folder.back() == '/' ? "" : "/") + std::string(file);
}

// A name never holds a dot or a slash, so it cannot lead out of its folder.
bool is_name(std::string_view text) {
  return !text.empty() && text.size() <= 64 && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_';
  });
}

// Names of *.toml in a folder, sorted; a folder that cannot be read has none.
std::vector<std::string> names_in(const std::string& folder) {
  std::vector<std::string> names;
  if (folder.empty()) return names;
  try {
    std::error_code error;
    for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error)) {
      const std::string file = at->path().filename().string();
      if (ends_in_toml(file) && is_name(stem_of(file))) names.push_back(stem_of(file));
    }
  } catch (const std::exception&) {
    names.clear();
  }
  std::sort(names.begin(), names.end());
  return names;
}

std::vector<std::string> shipped_names(const RuleSetFolders& folders) {
  if (!folders.shipped.empty()) return names_in(folders.shipped);
  std::vector<std::string> names;
  for (const auto& set : judge::shipped_sets()) names.emplace_back(set.name);
  std::sort(names.begin(), names.end());
  return names;
}

bool is_shipped(const std::string& name, const RuleSetFolders& folders) {
  const auto names = shipped_names(folders);
  return std::find(names.begin(), names.end(), name) != names.end();
}

struct Source {
  std::string identity;  // the same for the same file, however it was named
  std::string shown;     // for errors
  std::string name;      // what [ruleset] name must be; empty: anything
  std::string folder;    // relative paths in `extends` start here
  std::string origin;    // "shipped", "user" or a path
  std::string text;
  bool own = true;       // of the user or the program, with what it extends; not one whose path somebody else gave
};

/// Who gave the name or path of a set.
enum class NamedBy { user, another };

class Loader {
 public:
  Loader(const RuleSetFolders& folders, const Catalog& catalog, NamedBy by = NamedBy::user) : folders_(folders), catalog_(catalog), by_(by) {}

  Result<Source> find(std::string_view wanted, const Source* from, const Place& place) const {
    if (is_path(wanted)) return find_path(wanted, from, place);
    if (is_name(wanted)) {
      // A user's set that extends its own name means the shipped one it stands in front of.
      const bool itself = from && from->origin == "user" && from->name == wanted;
      if (!folders_.user.empty() && !itself) {
        const std::string path = joined(folders_.user, std::string(wanted) + std::string(kEnding));
        auto text = base::read_text(path, kLargestFile);
        if (text) return file_source(path, std::string(wanted), "user", std::move(*text));
        if (text.error().code != ErrorCode::missing) return fail(ErrorCode::rules, text.error().text, place);
      }
      if (!folders_.shipped.empty()) {
        const std::string path = joined(folders_.shipped, std::string(wanted) + std::string(kEnding));
        auto text = base::read_text(path, kLargestFile);
        if (text) return file_source(path, std::string(wanted), "shipped", std::move(*text));
        if (text.error().code != ErrorCode::missing) return fail(ErrorCode::rules, text.error().text, place);
      } else {
        for (const auto& set : judge::shipped_sets()) {
          if (set.name != wanted) continue;
          const std::string shown = fmt::format("shipped:{}.toml", wanted);
          return Source{shown, shown, std::string(wanted), "", "shipped", std::string(set.toml)};
        }
      }
    }
    auto names = shipped_names(folders_);
    const auto users = names_in(folders_.user);
    names.insert(names.end(), users.begin(), users.end());
    return fail(
        ErrorCode::rules,
        fmt::format("no rule set is called {}{} \"sendworthy rules\" lists them; a file is named by a path with "
                    "a slash or by its ending .toml",
                    in_quotes(wanted), punctuated(judge::did_you_mean(wanted, {names.begin(), names.end()}))),
        place);
  }

  Result<void> add(Source source) {
    const auto ring =
        std::find_if(path_.begin(), path_.end(), [&](const auto& s) { return s.identity == source.identity; });
    if (ring != path_.end()) {
      std::string chain;
      for (auto at = ring; at != path_.end(); ++at) chain += at->name + " → ";
      return fail(ErrorCode::rules,
                  fmt::format("{} extends itself: {}{}", in_quotes(ring->name), base::for_terminal(chain),
                              base::for_terminal(ring->name)),
                  extends_place_);
    }
    if (done_.count(source.identity) > 0) return {};
    if (path_.size() >= kDeepest)
      return fail(ErrorCode::rules, fmt::format("sets extend each other more than {} levels deep", kDeepest),
                  extends_place_);
    if (documents_.size() >= kMostSets)
      return fail(ErrorCode::rules, fmt::format("more than {} sets are extended", kMostSets), extends_place_);

    auto document = base::Document::parse(source.text, source.shown);
    if (!document) return tl::unexpected(document.error());
    documents_.push_back(std::make_unique<base::Document>(std::move(*document)));
    auto draft = judge::read_draft(*documents_.back(), source.name, catalog_);
    if (!draft) return tl::unexpected(draft.error());
    source.name = draft->name;
    source.text.clear();

    path_.push_back(source);
    for (std::size_t i = 0; i < draft->extends.size(); ++i) {
      auto base = find(draft->extends[i], &source, draft->extends_places[i]);
      if (!base) return tl::unexpected(base.error());
      extends_place_ = draft->extends_places[i];
      if (const auto ok = add(std::move(*base)); !ok) return ok;
    }
    path_.pop_back();
    done_.insert(source.identity);

    if (const auto ok = judge::lay_over(rules_, *draft); !ok) return ok;
    if (rules_.size() > kMostRules)
      return fail(ErrorCode::rules, fmt::format("more than {} rules", kMostRules), {source.shown, 0, 0});
    waivers_.insert(waivers_.end(), draft->waivers.begin(), draft->waivers.end());
    if (waivers_.size() > kMostWaivers)
      return fail(ErrorCode::rules, fmt::format("more than {} waivers", kMostWaivers), {source.shown, 0, 0});
    last_ = std::move(*draft);
    return {};
  }

  Result<RuleSet> finish(const std::string& origin) {
    RuleSet set;
    set.name = last_.name;
    set.title = last_.title;
    set.purpose = last_.purpose;
    set.sources = last_.sources;
    set.extends = last_.extends;
    set.origin =
        origin == "user" && is_shipped(set.name, folders_) ? "user (hides the shipped set of this name)" : origin;
    std::vector<std::string_view> ids;
    for (const auto& draft : rules_) {
      auto rule = judge::build_rule(draft, catalog_);
      if (!rule) return tl::unexpected(rule.error());
      set.rules.push_back(std::move(*rule));
      ids.push_back(draft.id);
    }
    for (auto& waiver : waivers_) {
      if (std::find(ids.begin(), ids.end(), waiver.rule) == ids.end()) {
        return fail(ErrorCode::rules,
                    fmt::format("a waiver for {}, which is no rule of this set{}", in_quotes(waiver.rule),
                                judge::did_you_mean(waiver.rule, ids)),
                    waiver.place);
      }
      set.waivers.push_back(std::move(waiver));
    }
    // A set that asks nothing would pass everything.
    if (std::none_of(set.rules.begin(), set.rules.end(), [](const Rule& rule) { return rule.enabled; }))
      return fail(ErrorCode::rules,
                  fmt::format("{} has no rule that is enabled, so it could only pass; add a [[rule]] or extend a set",
                              in_quotes(set.name)),
                  {origin == "shipped" || origin == "user" ? "" : origin, 0, 0});
    set.digest = judge::digest_of(set);
    return set;
  }

 private:
  static std::string punctuated(const std::string& hint) { return hint.empty() ? ";" : hint; }

  static Source file_source(const std::string& path, std::string name, std::string origin, std::string text) {
    std::error_code error;
    const auto real = fs::weakly_canonical(path, error);
    return {error ? path : real.string(), path, std::move(name), base::folder_of(path), std::move(origin), std::move(text)};
  }

  Result<Source> find_path(std::string_view wanted, const Source* from, const Place& place) const {
    // A set from somebody else may name other sets, not any file of this machine.
    if (from && !ends_in_toml(wanted))
      return fail(ErrorCode::rules, fmt::format("{} cannot be extended: a path must end in .toml", in_quotes(wanted)),
                  place);
    const std::string path = from ? joined(from->folder, wanted) : std::string(wanted);
    const bool own = from ? from->own : by_ == NamedBy::user;
    auto text = own ? base::read_text(path, kLargestFile) : base::read_text_in_bounds(path, kLargestFile);
    if (!text) return fail(ErrorCode::rules, text.error().text, place);
    auto source = file_source(path, ends_in_toml(path) ? stem_of(path) : std::string(), path, std::move(*text));
    source.own = own;
    return source;
  }

  const RuleSetFolders& folders_;
  const Catalog& catalog_;
  const NamedBy by_;
  std::vector<std::unique_ptr<base::Document>> documents_;  // nodes of drafts point into these
  std::vector<Source> path_;                                // from the set asked for down to the present one
  std::set<std::string> done_;  // each set is laid down once, so that a change by one parent survives the other
  Place extends_place_;
  std::vector<judge::DraftRule> rules_;
  std::vector<Waiver> waivers_;
  judge::DraftSet last_;
};

// Files and memory can fail in ways that are thrown; nothing thrown leaves this folder.
template <class Work>
Result<RuleSet> guarded(Work work) {
  try {
    return work();
  } catch (const std::exception& error) {
    return fail(ErrorCode::rules, base::for_terminal(error.what()));
  }
}

Result<RuleSet> load(std::string_view name_or_path, const RuleSetFolders& folders, const Catalog& catalog, NamedBy by) {
  return guarded([&]() -> Result<RuleSet> {
    Loader loader(folders, catalog, by);
    auto source = loader.find(name_or_path, nullptr, {});
    if (!source) return tl::unexpected(source.error());
    const std::string origin = source->origin;
    if (const auto ok = loader.add(std::move(*source)); !ok) return tl::unexpected(ok.error());
    return loader.finish(origin);
  });
}

}  // namespace

Result<RuleSet> load_rule_set(std::string_view name_or_path, const RuleSetFolders& folders, const Catalog& catalog) {
  return load(name_or_path, folders, catalog, NamedBy::user);
}

Result<RuleSet> judge::load_named_by_another(std::string_view name_or_path, const RuleSetFolders& folders, const Catalog& catalog) {
  return load(name_or_path, folders, catalog, NamedBy::another);
}

Result<RuleSet> parse_rule_set(std::string_view toml, std::string_view shown_path, const RuleSetFolders& folders,
                               const Catalog& catalog) {
  return guarded([&]() -> Result<RuleSet> {
    Loader loader(folders, catalog);
    const std::string shown(shown_path);
    Source source{shown, shown, ends_in_toml(shown) ? stem_of(shown) : "", base::folder_of(shown), shown, std::string(toml)};
    if (const auto ok = loader.add(std::move(source)); !ok) return tl::unexpected(ok.error());
    return loader.finish(shown);
  });
}

std::vector<RuleSetListing> list_rule_sets(const RuleSetFolders& folders, const Catalog& catalog) {
  std::map<std::string, RuleSetListing> found;
  for (const auto& name : shipped_names(folders)) found[name] = {name, "", "", "shipped", false, std::nullopt};
  for (const auto& name : names_in(folders.user)) {
    const bool shadows = found.count(name) > 0;
    found[name] = {name, "", "", "user", shadows, std::nullopt};
  }
  std::vector<RuleSetListing> list;
  for (auto& [name, listing] : found) {
    const auto set = load_rule_set(name, folders, catalog);
    if (set) {
      listing.title = set->title;
      listing.purpose = set->purpose;
    } else {
      listing.error = set.error();
    }
    list.push_back(std::move(listing));
  }
  return list;
}

}  // namespace sendworthy
