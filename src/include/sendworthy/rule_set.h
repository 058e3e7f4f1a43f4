// Rule sets: what a file must be, as data. Written in TOML, read here, judged in judge/.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include <sendworthy/catalog.h>
#include <sendworthy/result.h>
#include <sendworthy/sheet.h>

namespace sendworthy {

/// A number, or a list of words with numbers, joined by + in the catalog's order: "vorbis 160+mp3 320".
using ParameterValue = std::variant<double, std::string>;
using Parameters = std::map<std::string, ParameterValue, std::less<>>;

/// The number of a parameter, or `fallback` where it is not given.
[[nodiscard]] double number_in(const Parameters& parameters, std::string_view name, double fallback);
/// The items of a list of words.
[[nodiscard]] std::vector<std::string> items_of(std::string_view joined_by_plus);

/// A measurement together with the parameters a rule wants it made with (only those that differ from the fallback).
struct MeasureRequest {
  std::string id;
  Parameters parameters;
  bool on_request = false;  ///< CatalogEntry::on_request: asked for even without parameters
  friend auto operator<=>(const MeasureRequest&, const MeasureRequest&) = default;
};

/// `id` or `id(below_hz=150)`: the key of Measurement. Parameters in name order, shortest number that reads back.
[[nodiscard]] std::string key_of(const MeasureRequest& request);

/// One comparison of a rule: `fail_above = -1.0` is {fail, above, -1.0}.
/// `multiple_of`, `matches`, `forbid` and `require` fail unless written with a prefix (`warn_forbid`). Equal passes; values
/// that differ by less than 1e-9 are equal. Beyond a limit by no more than the tolerance, a fail becomes a warn.
/// `unless` on `duration` compares whole frames. `matches` wants the whole text, unless the pattern begins with ^ or ends
/// with $; it knows literals . [ ] ( ) | * + ? {m,n} \d \w \s and a leading (?i). A limit may be a text with the
/// measurement's own unit ("-1 dBTP"); another unit is an error.
struct Comparison {
  Status status = Status::fail;  ///< fail, warn or note
  LimitKind kind = LimitKind::none;
  double number = 0;                 ///< above, below, multiple_of
  std::vector<Value> accepted;       ///< unless: any of these passes
  std::vector<std::string> items;    ///< forbid, require; matches: one pattern
};

/// When a rule applies. Empty members mean "always".
struct Conditions {
  std::vector<int> channels;
  std::vector<std::string> roles;
  std::vector<std::string> containers;
  std::optional<double> min_duration_s;
};

struct Rule {
  std::string id;
  MeasureRequest measure;
  std::optional<MeasureRequest> compare_to;  ///< judged is measure − compare_to
  std::vector<Comparison> comparisons;
  double tolerance = 0;
  Conditions conditions;
  std::string why, remedy, source;
  bool optional = false;
  bool enabled = true;
  std::map<std::string, std::string> origins;  ///< TOML key → name of the rule set it comes from
  Place place;
};

struct Waiver {
  std::string rule;
  std::string files;         ///< a pattern with * and ?; empty: every file
  std::string audio_digest;  ///< empty: any audio
  std::optional<double> from_s, to_s;
  std::string reason, by, until;
  Place place;
};

struct RuleSet {
  std::string name, title, purpose;
  std::vector<std::string> sources;
  std::vector<std::string> extends;  ///< as written, for display
  std::vector<Rule> rules;           ///< effective: extended, merged, in order of first appearance
  std::vector<Waiver> waivers;
  std::string origin;  ///< "shipped", "user" or a path
  std::string digest;  ///< "xxh128:…" over the effective set
};

/// Where named rule sets are looked for, first hit wins. Never the working folder.
struct RuleSetFolders {
  std::string user;     ///< empty: none
  std::string shipped;  ///< empty: the sets compiled into the library
};

/// Loads a rule set by name or by path (a path holds a slash or ends in .toml), with everything it extends.
/// Each extended set is laid down once, parents before children, later ones over earlier ones, key by key of a rule id;
/// a rule that is given another measure loses the limits, tolerance and parameters of the old one. A set in the user's
/// folder that extends its own name extends the shipped set of that name. Paths in `extends` start at the extending file
/// and end in .toml. At most 64 sets, 16 deep, 2000 rules, 1 MiB a file.
/// Errors carry file, line, column and the nearest right name.
[[nodiscard]] Result<RuleSet> load_rule_set(std::string_view name_or_path, const RuleSetFolders& folders,
                                            const Catalog& catalog);

/// The same from text, for tests and embedding; `extends` is resolved through `folders`.
[[nodiscard]] Result<RuleSet> parse_rule_set(std::string_view toml, std::string_view shown_path,
                                             const RuleSetFolders& folders, const Catalog& catalog);

struct RuleSetListing {
  std::string name, title, purpose, origin;
  bool shadows_shipped = false;
  std::optional<Error> error;  ///< a user's set that does not load
};
[[nodiscard]] std::vector<RuleSetListing> list_rule_sets(const RuleSetFolders& folders, const Catalog& catalog);

/// `--expect sample_rate=96000`: a rule set named "expected" with one rule per key.
[[nodiscard]] Result<RuleSet> expectations(const std::vector<std::string>& key_values, const Catalog& catalog);

/// Every measurement with other parameters than the fallback, or made on request only, that these rules need.
[[nodiscard]] std::vector<MeasureRequest> requests_of(const std::vector<RuleSet>& rule_sets);

}  // namespace sendworthy
