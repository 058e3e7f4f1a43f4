// The user's configuration: $XDG_CONFIG_HOME/sendworthy/config.toml, by default ~/.config/sendworthy/config.toml.
#pragma once

#include <sendworthy/check.h>
#include <sendworthy/result.h>
#include <sendworthy/rule_set.h>

#include <optional>
#include <string>
#include <vector>

namespace sendworthy::cli {

struct Config {
  std::optional<Monitoring> monitoring;
  std::vector<std::string> rules;    ///< [defaults] rules; paths are absolute, read from the folder of the file
  std::optional<std::string> color;  ///< [defaults] color
  std::optional<int> jobs;           ///< [defaults] jobs
  bool cache = true;                 ///< [cache] enabled
  int cache_mb = 256;                ///< [cache] size_mb
};

inline constexpr int kMaxJobs = 256;
inline constexpr int kMaxCacheMb = 1'000'000;

/// The folder of configuration and rule sets; empty when the environment names no absolute one.
[[nodiscard]] std::string config_folder();

/// The folder for what may be lost at any time; empty when the environment names no absolute one, or no home that exists.
[[nodiscard]] std::string cache_folder();

[[nodiscard]] RuleSetFolders rule_set_folders();

/// A rule set that the call names, by name or path. Errors: usage where there is none, since then the call is wrong and
/// not an input without a sheet; else rules.
[[nodiscard]] Result<RuleSet> named_rule_set(const std::string& name);

/// The rule sets that a command judges by: those named, each once, else the user's own default, else premaster. Errors: as
/// named_rule_set.
[[nodiscard]] Result<std::vector<RuleSet>> rule_sets_of(std::vector<std::string> names, const Config& config);

/// Everything at its default when there is no file. Error: rules, with file, line and column.
[[nodiscard]] Result<Config> load_config();

}  // namespace sendworthy::cli
