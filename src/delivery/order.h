// The order: what was asked for, as data. A TOML file that the mixer writes or has written; read here, judged elsewhere.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/rule_set.h>

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace sendworthy::delivery {

/// What an item is, in the trade's words.
enum class Version {
  main, instrumental, a_cappella, tv_mix, performance_mix, clean_edit, radio_edit, cut_down, stem, alternate, premaster
};
[[nodiscard]] std::string_view to_string(Version version);  ///< "main", "a cappella", "tv mix", …
[[nodiscard]] std::span<const Version> versions();

/// The whole song from its first bar to its last, so that it stands where the main mix stands.
[[nodiscard]] bool is_whole_song(Version version);

/// A stretch of the main mix in which a clean edit may differ, seconds.
struct Interval {
  double from_s = 0, to_s = 0;
};

struct Item {
  Version version = Version::main;
  std::string file;                 ///< a path or a pattern with * and ?, read from the order's folder
  bool required = true;
  std::vector<std::string> rules;   ///< names or paths of rule sets; empty: the order's
  std::vector<std::string> expect;  ///< "sample_rate=48000"; takes the place of what the order expects of the same measurement
  Place expect_place;
  std::string role;                 ///< of a stem: "lead vocal", "drums", …
  std::string title;                ///< of the song; the order's where none is given
  std::optional<double> length_s;   ///< exact
  std::string against;              ///< as written: a version or another item's `file`; empty: the main mix
  std::optional<std::size_t> against_item;  ///< what it is held against; none for a main mix and for what has none
  std::string isrc;
  std::vector<Interval> edits;
  Place place;
};

struct Album {
  std::vector<std::size_t> order;   ///< items in running order
  std::optional<double> gap_s;      ///< silence from one song's last sound to the next one's first
  bool gapless = false;             ///< every song runs into the next
  std::optional<double> loudest;    ///< LUFS that the loudest song has
  std::optional<double> spread;     ///< LU between the loudest and the softest song, at most
  std::string upc;
  Place place;
};

struct TagRules {
  std::vector<std::string> require, forbid;  ///< names such as "title", "isrc"
  bool match_order = false;                  ///< what is there must say what the order says
};

struct Order {
  std::string path;                 ///< as given
  std::string title, artist, album_title, client;
  std::vector<std::string> rules, expect;
  Place expect_place;
  std::string folder;               ///< where the files lie: the order's folder and what it says, "" for the working folder
  std::string name;                 ///< the pattern of names; empty: names are free
  Place name_place;                 ///< where that stands
  bool allow_extra = false;
  std::string previous;             ///< path of the last delivery, a file or a folder; empty: none
  std::vector<Item> items;
  std::optional<Album> album;
  std::optional<TagRules> tags;
  std::vector<Waiver> waivers;
};

/// Paths in an order start at its folder. At most 1 MiB, 2000 items. Errors: missing, unreadable; rules, with file, line and
/// column and the nearest right name.
[[nodiscard]] Result<Order> read_order(const std::string& path);
[[nodiscard]] Result<Order> parse_order(std::string_view toml, const std::string& shown_path);

/// How people refer to an item: "instrumental", "stem drums", "main \"Song\"".
[[nodiscard]] std::string name_of(const Item& item, const Order& order);

/// By which rule sets an item is judged: its own; without them those that stems and premasters have; else the order's, or
/// "streaming-music".
[[nodiscard]] std::vector<std::string> rules_of(const Order& order, const Item& item);

/// What an item's files must be, besides: "sample_rate=48000", …, each measurement once where neither names one twice.
[[nodiscard]] std::vector<std::string> expected_of(const Order& order, const Item& item);

/// The same as a rule set. Error: rules, at the place that names it.
[[nodiscard]] Result<RuleSet> expected_set(const Order& order, const Item& item);

/// The names of tags that an order may ask for.
[[nodiscard]] std::span<const std::string_view> tag_names();

}  // namespace sendworthy::delivery
