#include "cli/config.h"

#include <algorithm>

#include <sendworthy/catalog.h>

#include <cstdlib>
#include <filesystem>
#include <system_error>

#include "base/document.h"
#include "base/files.h"
#include "base/text.h"
#include "cli/arguments.h"
#include "cli/exit_code.h"

namespace sendworthy::cli {
namespace {

std::string absolute_from_environment(const char* name) {
  const char* value = std::getenv(name);
  // The XDG base directory specification (0.8) asks for relative paths to be ignored.
  return value != nullptr && value[0] == '/' ? std::string(value) : std::string();
}

Result<std::string> word(const base::Node& table, std::string_view key, const std::vector<std::string_view>& accepted) {
  const auto node = table.find(key);
  const auto text = node->text();
  if (!text) return tl::unexpected(text.error());
  auto chosen = one_of(key, *text, accepted);
  if (!chosen) return tl::unexpected(node->error(chosen.error().text));
  return chosen;
}

Result<double> within(const base::Node& table, std::string_view key, double lowest, double highest) {
  const auto node = table.find(key);
  const auto number = node->number();
  if (!number) return tl::unexpected(number.error());
  if (*number < lowest || *number > highest) {
    return tl::unexpected(node->error(std::string(key) + " must lie between " + base::shortest(lowest) + " and " +
                                      base::shortest(highest) + ", found " + base::shortest(*number)));
  }
  return *number;
}

/// A level at the ear must not rest on a guess: all that describes the calibration has to be there.
Result<Monitoring> read_monitoring(const base::Node& table) {
  if (table.type() != base::Node::Type::table) return tl::unexpected(table.error("[monitoring] must be a table"));
  const std::vector<std::string_view> needed{"spl_db", "spl_weighting", "level", "level_unit", "noise"};
  auto known = needed;
  known.push_back("kind");
  if (const auto only = table.only(known, "[monitoring]"); !only) return tl::unexpected(only.error());
  for (const auto key : needed) {
    if (!table.find(key)) {
      return tl::unexpected(table.error("[monitoring] lacks " + std::string(key) +
                                        ": the estimate needs spl_db, spl_weighting, level, level_unit and noise"));
    }
  }
  Monitoring monitoring;
  if (table.find("kind")) {
    const auto kind = word(table, "kind", {"loudspeakers", "headphones"});
    if (!kind) return tl::unexpected(kind.error());
    if (*kind == "headphones") monitoring.kind = Monitoring::Kind::headphones;
  }
  const auto spl = within(table, "spl_db", 40, 120);
  if (!spl) return tl::unexpected(spl.error());
  const auto weighting = word(table, "spl_weighting", {"A", "C", "Z"});
  if (!weighting) return tl::unexpected(weighting.error());
  const auto level = within(table, "level", -80, 0);
  if (!level) return tl::unexpected(level.error());
  const auto unit = word(table, "level_unit", {"LUFS", "dBFS"});
  if (!unit) return tl::unexpected(unit.error());
  const auto noise = word(table, "noise", {"pink", "band 500-2000", "sine 1000"});
  if (!noise) return tl::unexpected(noise.error());
  monitoring.spl_db = *spl;
  monitoring.spl_weighting = *weighting;
  monitoring.level = *level;
  monitoring.level_unit = *unit;
  monitoring.noise = *noise;
  return monitoring;
}

Result<void> read_defaults(const base::Node& table, const std::string& folder, Config& config) {
  if (table.type() != base::Node::Type::table) return tl::unexpected(table.error("[defaults] must be a table"));
  if (const auto only = table.only({"rules", "color", "jobs"}, "[defaults]"); !only) return only;
  if (const auto node = table.find("rules")) {
    auto rules = node->texts();
    if (!rules) return tl::unexpected(rules.error());
    if (rules->empty()) return tl::unexpected(node->error("rules must name at least one rule set"));
    for (auto& rule_set : *rules) {
      const bool is_path = rule_set.find('/') != std::string::npos ||
                           (rule_set.size() > 5 && rule_set.compare(rule_set.size() - 5, 5, ".toml") == 0);
      // A path in a file belongs to that file's folder, not to wherever the program happens to run.
      if (is_path && rule_set[0] != '/') rule_set = folder + "/" + rule_set;
    }
    config.rules = std::move(*rules);
  }
  if (table.find("color")) {
    auto color = word(table, "color", {"auto", "always", "never"});
    if (!color) return tl::unexpected(color.error());
    config.color = std::move(*color);
  }
  if (const auto node = table.find("jobs")) {
    const auto jobs = node->integer();
    if (!jobs) return tl::unexpected(jobs.error());
    if (*jobs < 1 || *jobs > kMaxJobs) {
      return tl::unexpected(node->error("jobs must lie between 1 and " + std::to_string(kMaxJobs)));
    }
    config.jobs = static_cast<int>(*jobs);
  }
  return {};
}

Result<void> read_cache(const base::Node& table, Config& config) {
  if (table.type() != base::Node::Type::table) return tl::unexpected(table.error("[cache] must be a table"));
  if (const auto only = table.only({"enabled", "size_mb"}, "[cache]"); !only) return only;
  if (const auto node = table.find("enabled")) {
    const auto enabled = node->boolean();
    if (!enabled) return tl::unexpected(enabled.error());
    config.cache = *enabled;
  }
  if (const auto node = table.find("size_mb")) {
    const auto size_mb = node->integer();
    if (!size_mb) return tl::unexpected(size_mb.error());
    if (*size_mb < 1 || *size_mb > kMaxCacheMb) {
      return tl::unexpected(node->error("size_mb must lie between 1 and " + std::to_string(kMaxCacheMb) +
                                        "; to keep nothing, set enabled = false"));
    }
    config.cache_mb = static_cast<int>(*size_mb);
  }
  return {};
}

}  // namespace

std::string config_folder() {
  if (const auto xdg = absolute_from_environment("XDG_CONFIG_HOME"); !xdg.empty()) return xdg + "/sendworthy";
  if (const auto home = absolute_from_environment("HOME"); !home.empty()) return home + "/.config/sendworthy";
  return {};
}

std::string cache_folder() {
  if (const auto xdg = absolute_from_environment("XDG_CACHE_HOME"); !xdg.empty()) return xdg + "/sendworthy";
  const auto home = absolute_from_environment("HOME");
  std::error_code ignored;
  // Accounts of services name homes that are not there, and nobody wants them made.
  if (home.empty() || !std::filesystem::is_directory(home, ignored)) return {};
  return home + "/.cache/sendworthy";
}

RuleSetFolders rule_set_folders() {
  RuleSetFolders folders;
  if (const auto folder = config_folder(); !folder.empty()) folders.user = folder + "/rules";
  return folders;
}

Result<RuleSet> named_rule_set(const std::string& name) {
  auto set = load_rule_set(name, rule_set_folders(), catalog());
  if (set) return set;
  auto error = set.error();
  if (exit_code_of(error.code) != kExitUsage) error.code = ErrorCode::rules;
  return tl::unexpected(error);
}

Result<std::vector<RuleSet>> rule_sets_of(std::vector<std::string> names, const Config& config) {
  if (names.empty()) names = config.rules;
  if (names.empty()) names = {"premaster"};
  std::vector<RuleSet> rule_sets;
  std::vector<std::string> seen;
  for (const auto& name : names) {
    if (name.empty()) return fail(ErrorCode::usage, "--rules wants the name or the path of a rule set");
    if (std::find(seen.begin(), seen.end(), name) != seen.end()) continue;
    seen.push_back(name);
    auto rule_set = named_rule_set(name);
    if (!rule_set) return tl::unexpected(rule_set.error());
    rule_sets.push_back(std::move(*rule_set));
  }
  return rule_sets;
}

Result<Config> load_config() {
  Config config;
  const auto folder = config_folder();
  if (folder.empty()) return config;
  const auto path = folder + "/config.toml";
  const auto text = base::read_text(path, 1u << 20);
  if (!text) {
    if (text.error().code == ErrorCode::missing) return config;
    // Going on without it would judge by other rules than the user chose.
    return fail(ErrorCode::rules, text.error().text);
  }
  const auto document = base::Document::parse(*text, path);
  if (!document) return tl::unexpected(document.error());
  const auto root = document->root();
  if (const auto only = root.only({"monitoring", "defaults", "cache"}, "the configuration"); !only) {
    return tl::unexpected(only.error());
  }
  if (const auto node = root.find("monitoring")) {
    auto monitoring = read_monitoring(*node);
    if (!monitoring) return tl::unexpected(monitoring.error());
    config.monitoring = std::move(*monitoring);
  }
  if (const auto node = root.find("defaults")) {
    if (auto read = read_defaults(*node, folder, config); !read) return tl::unexpected(read.error());
  }
  if (const auto node = root.find("cache")) {
    if (auto read = read_cache(*node, config); !read) return tl::unexpected(read.error());
  }
  return config;
}

}  // namespace sendworthy::cli
